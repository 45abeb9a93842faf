/*
** Each layer of the cage by itself and all together: what a fault that lets
** a script run machine code would try. Every attempt is made by a child that
** closed the cage around itself; it has to fail, or to end the child.
*/
#include "runner/cage.h"
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/ptrace.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>
#include <cmocka.h>

static const runner_options plain = {.time = 2.0, .memory = 64.0, .jobs = 2};

enum { NOT_HELD = 77, DID_IT = 1, FAILED = 2 };

/* How a child ended that closed 'layers' and then tried: DID_IT, FAILED,
** NOT_HELD (this machine does not have the layer), or 128 + signal. */
static int ends (unsigned layers, cage_layer needed, bool (*attempt)(void)) {
  pid_t me = getpid(), child = fork();
  int st;
  if (child == 0) {
    cage_report r;
    cage_close(&plain, me, layers, &r);
    if (!r.held[needed])
      _exit(NOT_HELD);
    _exit(attempt() ? DID_IT : FAILED);
  }
  assert_true(child > 0);
  assert_int_equal(waitpid(child, &st, 0), child);
  return WIFSIGNALED(st) ? 128 + WTERMSIG(st) : WEXITSTATUS(st);
}

/* 'want' or not held: that is told, not counted as shown. */
static void expect (int got, int want) {
  if (got == NOT_HELD) {
    print_message("not on this machine, or built for checking\n");
    skip();
  }
  assert_int_equal(got, want);
}

static bool succeed (void) {
  return true;
}

/* ---- other kernels ---- */

/* What 'syscall' answers here goes through the test (linked with
** --wrap=syscall): it can stand in for a kernel with an older Landlock, or
** with none. 0: this machine's own. */
static int landlock_version, landlock_missing; /* version; errno */

long __real_syscall (long call, long a, long b, long c);
long __wrap_syscall (long call, long a, long b, long c);

#ifdef __NR_landlock_create_ruleset
/* How many rights of files, of the network and of scope each version knows,
** and how many bytes its structure has (kernel documentation, "Landlock:
** unprivileged access control", and include/uapi/linux/landlock.h). */
static const struct {
  int fs, net, scoped;
  long size;
} versions[] = {{0, 0, 0, 0},   {13, 0, 0, 8},  {14, 0, 0, 8}, {15, 0, 0, 8},
                {15, 2, 0, 16}, {16, 2, 0, 16}, {16, 2, 2, 24}};

/* As an older kernel checks it: unknown rights are refused, and bytes past
** its structure have to be 0. */
static int refusal (const uint64_t *rules, long size) {
  const uint64_t known[] = {
      ((uint64_t)1 << versions[landlock_version].fs) - 1,
      ((uint64_t)1 << versions[landlock_version].net) - 1,
      ((uint64_t)1 << versions[landlock_version].scoped) - 1};
  for (long k = 0; 8 * k < size; k++) {
    if (8 * k >= versions[landlock_version].size && rules[k] != 0)
      return E2BIG;
    if ((rules[k] & ~known[k]) != 0)
      return EINVAL;
  }
  return 0;
}

static int asked_of_landlock (long rules, long size) {
  if (landlock_missing != 0)
    return landlock_missing;
  return rules != 0 ? refusal((const uint64_t *)(uintptr_t)rules, size) : 0;
}

long __wrap_syscall (long call, long a, long b, long c) {
  bool stands_in = landlock_version != 0 || landlock_missing != 0;
  if (call == __NR_landlock_create_ruleset && stands_in) {
    if ((errno = asked_of_landlock(a, b)) != 0)
      return -1;
    if (a == 0)
      return landlock_version;
  }
  return __real_syscall(call, a, b, c);
}

static int own_version (void) {
  return (int)__real_syscall(__NR_landlock_create_ruleset, 0, 0, 1);
}
#else
long __wrap_syscall (long call, long a, long b, long c) {
  return __real_syscall(call, a, b, c);
}
static int own_version (void) {
  return 0;
}
#endif

/* ---- files ---- */

static bool read_file (void) {
  return open("/etc/passwd", O_RDONLY) >= 0;
}
static bool read_folder (void) {
  return open("/", O_RDONLY | O_DIRECTORY) >= 0;
}
static bool write_file (void) {
  return open("/tmp/ampstead-cage-test", O_WRONLY | O_CREAT, 0600) >= 0;
}
static bool make_folder (void) {
  return mkdir("/tmp/ampstead-cage-test.d", 0700) == 0;
}
static bool run_program (void) {
  execl("/bin/true", "true", (char *)NULL);
  return false; /* else /bin/true ends with 0, neither of ours */
}

static void test_files_alone (void **state) {
  static bool (*const attempt[])(void) = {read_file, read_folder, write_file,
                                          make_folder, run_program};
  (void)state;
  for (size_t k = 0; k < sizeof attempt / sizeof *attempt; k++)
    expect(ends(1u << CAGE_FILES, CAGE_FILES, attempt[k]), FAILED);
}

/* With each interface up to this kernel's own, the files stay shut. */
static void test_files_on_older_kernels (void **state) {
  static bool (*const attempt[])(void) = {read_file, write_file, make_folder};
  int most = own_version();
  (void)state;
  for (int v = 1; v <= 6 && v <= most; v++)
    for (size_t k = 0; k < sizeof attempt / sizeof *attempt; k++) {
      landlock_version = v;
      int got = ends(1u << CAGE_FILES, CAGE_FILES, attempt[k]);
      landlock_version = 0;
      assert_int_equal(got, FAILED);
    }
  if (most < 1)
    skip();
}

/* Where the kernel has no Landlock the report says so, and the filter of
** calls keeps the files shut by itself. */
static void test_files_without_landlock (void **state) {
  static const int missing[] = {ENOSYS, EOPNOTSUPP};
  (void)state;
  for (int k = 0; k < 2; k++) {
    landlock_missing = missing[k];
    int files = ends(CAGE_ALL, CAGE_FILES, read_file);
    int calls = ends(CAGE_ALL, CAGE_CALLS, read_file);
    landlock_missing = 0;
    assert_int_equal(files, NOT_HELD);
    expect(calls, FAILED);
  }
}

/* ---- limits ---- */

static bool open_more (void) {
  return fcntl(1, F_DUPFD, 4) >= 0;
}
/* By the system's call: a compiler may leave out an allocation nobody reads. */
static bool take_memory (void) {
  return mmap(NULL, (size_t)1 << 30, PROT_READ | PROT_WRITE,
              MAP_PRIVATE | MAP_ANONYMOUS, -1, 0) != MAP_FAILED;
}
static bool dump_core (void) {
  struct rlimit r;
  return getrlimit(RLIMIT_CORE, &r) != 0 || r.rlim_max != 0;
}

static void test_limits_alone (void **state) {
  (void)state;
  expect(ends(1u << CAGE_LIMITS, CAGE_LIMITS, open_more), FAILED);
  expect(ends(1u << CAGE_LIMITS, CAGE_LIMITS, take_memory), FAILED);
  expect(ends(1u << CAGE_LIMITS, CAGE_LIMITS, dump_core), FAILED);
}

/* ---- calls ---- */

static bool make_socket (void) {
  return socket(AF_INET, SOCK_STREAM, 0) >= 0;
}
static bool fork_again (void) {
  return fork() >= 0;
}
static bool map_code (void) {
  return mmap(NULL, 4096, PROT_READ | PROT_EXEC, MAP_PRIVATE | MAP_ANONYMOUS,
              -1, 0) != MAP_FAILED;
}
static bool turn_into_code (void) {
  void *p = mmap(NULL, 4096, PROT_READ | PROT_WRITE,
                 MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
  return mprotect(p, 4096, PROT_READ | PROT_EXEC) == 0;
}
static bool map_file (void) {
  return mmap(NULL, 4096, PROT_READ, MAP_PRIVATE, 0, 0) != MAP_FAILED;
}
static bool signal_parent (void) {
  return kill(getppid(), SIGTERM) == 0;
}
static bool signal_itself (void) {
  return kill(getpid(), SIGCONT) == 0;
}
static bool trace (void) {
  return ptrace(PTRACE_TRACEME, 0, NULL, NULL) == 0;
}
static bool read_stdin (void) {
  char c;
  return read(0, &c, 1) == 0;
}
static bool write_elsewhere (void) {
  return write(5, "x", 1) == 1;
}
static bool new_namespace (void) {
  return syscall(SYS_clone, 0x10000000 /* CLONE_NEWUSER */, 0, 0, 0, 0) >= 0;
}
static bool old_interface (void) { /* of 32 bits: other numbers */
#ifdef __x86_64__
  long got;
  __asm__ volatile("int $0x80" : "=a"(got) : "a"(20L) : "memory");
  return got > 0;
#else
  return syscall(SYS_ptrace, 0, 0, 0, 0) == 0;
#endif
}

static void test_calls_end_it (void **state) {
  static bool (*const attempt[])(void) = {
      make_socket,     fork_again,    run_program,   map_code,     map_file,
      turn_into_code,  signal_parent, signal_itself, trace,        read_stdin,
      write_elsewhere, make_folder,   new_namespace, old_interface};
  (void)state;
  for (size_t k = 0; k < sizeof attempt / sizeof *attempt; k++)
    expect(ends(1u << CAGE_CALLS, CAGE_CALLS, attempt[k]), 128 + SIGSYS);
}

static void test_calls_decline_files (void **state) {
  (void)state;
  expect(ends(1u << CAGE_CALLS, CAGE_CALLS, read_file), FAILED);
  expect(ends(1u << CAGE_CALLS, CAGE_CALLS, write_file), FAILED);
}

/* ---- what the worker needs ---- */

static void *work (void *arg) {
  int *done = arg;
  void *p = malloc(100000);
  *done = p != NULL;
  free(p);
  return NULL;
}

static int by_value (const void *a, const void *b) {
  return (*(const int *)a > *(const int *)b) -
         (*(const int *)a < *(const int *)b);
}

static bool threads_and_memory (void) {
  enum { N = 50000 };
  int done[3] = {0, 0, 0}, *v = malloc(N * sizeof *v);
  pthread_t t[3];
  for (int k = 0; k < 3; k++)
    if (pthread_create(&t[k], NULL, work, &done[k]) != 0)
      return false;
  for (int k = 0; k < 3; k++)
    pthread_join(t[k], NULL);
  for (int k = 0; k < N; k++)
    v[k] = (k * 7919) % N;
  qsort(v, N, sizeof *v, by_value);
  return done[0] && done[1] && done[2] && v[1] == 1 && time(NULL) != 0 &&
         write(2, "", 0) == 0 && (v = realloc(v, 8 << 20)) != NULL;
}

static void test_worker_can_work (void **state) {
  (void)state;
  expect(ends(CAGE_ALL, CAGE_CALLS, threads_and_memory), DID_IT);
}

/* ---- orphan, user ---- */

/* A parent that is not there any more: the child ends itself at once. */
static void test_orphan_ends (void **state) {
  pid_t child = fork();
  int st;
  (void)state;
  if (child == 0) {
    cage_close(&plain, 1, 1u << CAGE_ORPHAN, NULL); /* not our parent */
    _exit(DID_IT);
  }
  assert_int_equal(waitpid(child, &st, 0), child);
#ifdef __linux__
  assert_true(WIFEXITED(st));
  assert_int_equal(WEXITSTATUS(st), EXIT_INTERNAL);
#endif
}

static bool is_root (void) {
  return geteuid() == 0 || getuid() == 0 || setuid(0) == 0;
}

static void test_user_is_not_root (void **state) {
  (void)state;
  expect(ends(1u << CAGE_USER, CAGE_USER, is_root), FAILED);
}

/* The layers are independent: with all of them the report names each. */
static void test_report_names_all (void **state) {
  int link[2];
  cage_report r;
  pid_t me = getpid(), child;
  (void)state;
  assert_int_equal(pipe(link), 0);
  child = fork();
  if (child == 0) {
    dup2(link[1], 2);
    cage_close(&plain, me, CAGE_ALL, &r);
    _exit(write(2, &r, sizeof r) == (ssize_t)sizeof r ? 0 : 1);
  }
  close(link[1]);
  assert_int_equal(read(link[0], &r, sizeof r), (int)sizeof r);
  close(link[0]);
  waitpid(child, NULL, 0);
  for (int k = 0; k < CAGE_LAYERS; k++)
    assert_true(r.why[k][0] != '\0');
  assert_int_equal(ends(CAGE_ALL, CAGE_ORPHAN, succeed), DID_IT);
}

int main (void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_files_alone),
      cmocka_unit_test(test_files_on_older_kernels),
      cmocka_unit_test(test_files_without_landlock),
      cmocka_unit_test(test_limits_alone),
      cmocka_unit_test(test_calls_end_it),
      cmocka_unit_test(test_calls_decline_files),
      cmocka_unit_test(test_worker_can_work),
      cmocka_unit_test(test_orphan_ends),
      cmocka_unit_test(test_user_is_not_root),
      cmocka_unit_test(test_report_names_all),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
