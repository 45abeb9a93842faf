/*
** cage.c -- the layers of cage.h, one after another.
*/
#include "runner/cage.h"
#include <errno.h>
#include <grp.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#ifdef __linux__
#include <linux/capability.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#endif
#ifdef AMPSTEAD_SECCOMP
#include <sched.h>
#include <seccomp.h>
#endif

/* A sanitizer maps far more than the script asks for, and asks the system
** for what a filter would not let through. */
#if defined(__SANITIZE_ADDRESS__)
#define CHECKED_BUILD 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define CHECKED_BUILD 1
#endif
#endif
#ifndef CHECKED_BUILD
#define CHECKED_BUILD 0
#endif

static void tell (cage_report *r, cage_layer k, bool held, const char *why) {
  if (r == NULL)
    return;
  r->held[k] = held;
  snprintf(r->why[k], sizeof r->why[k], "%s", why);
}

/* ---- user ---- */

#ifdef __linux__
/* May this process change its user, and will a parent like it still be able
** to end it afterwards? */
static bool may_leave_root (void) {
  struct __user_cap_header_struct head = {_LINUX_CAPABILITY_VERSION_3, 0};
  struct __user_cap_data_struct caps[2];
  unsigned wanted = 1u << CAP_SETUID | 1u << CAP_SETGID | 1u << CAP_KILL;
  return syscall(SYS_capget, &head, caps) == 0 &&
         (caps[0].effective & wanted) == wanted;
}

static void leave_root (cage_report *r) {
  enum { NOBODY = 65534 };
  if (geteuid() != 0)
    tell(r, CAGE_USER, true, "runs as you do, and gains nothing");
  else if (may_leave_root() && setgroups(0, NULL) == 0 &&
           setresgid(NOBODY, NOBODY, NOBODY) == 0 &&
           setresuid(NOBODY, NOBODY, NOBODY) == 0)
    tell(r, CAGE_USER, true, "runs as nobody instead of root");
  else
    tell(r, CAGE_USER, false, "stays root: it cannot change its user here");
}
#else
static void leave_root (cage_report *r) {
  bool root = geteuid() == 0;
  tell(r, CAGE_USER, !root, root ? "stays root" : "runs as you do");
}
#endif

/* ---- orphan ---- */

/* After the change of user, which would clear it. A parent that died before
** this line is told by another one standing in its place. */
static void die_with (pid_t parent, cage_report *r) {
#ifdef __linux__
  bool held = prctl(PR_SET_PDEATHSIG, SIGKILL) == 0;
  if (getppid() != parent)
    _exit(EXIT_INTERNAL);
  tell(r, CAGE_ORPHAN, held, held ? "ends with its parent" : strerror(errno));
#else
  (void)parent;
  tell(r, CAGE_ORPHAN, false, "ends when it next asks or prints");
#endif
}

/* ---- limits ---- */

/* setrlimit names its first parameter's type differently from system to
** system: hence a macro */
#define fence(resource, most, last)                                          \
  (setrlimit(resource, &(struct rlimit){(rlim_t)(most), (rlim_t)(last)}) == 0)

static void limit (const runner_options *o, cage_report *r) {
  double jobs = o->jobs, cpu = ceil(o->time + 2.0) * jobs;
  bool held = fence(RLIMIT_CORE, 0, 0) && fence(RLIMIT_FSIZE, 0, 0) &&
              fence(RLIMIT_CPU, cpu, cpu + 1.0);
  if (CHECKED_BUILD) {
    tell(r, CAGE_LIMITS, false, "not for memory: built for checking");
    return;
  }
  /* besides the script's: stacks of the threads, the C library's arenas */
  held = held && fence(RLIMIT_DATA, (o->memory + 96.0 + 24.0 * jobs) * 0x1p20,
                       (o->memory + 96.0 + 24.0 * jobs) * 0x1p20);
  held = held && fence(RLIMIT_NOFILE, 4, 4); /* 0..3 are open: no more */
  tell(r, CAGE_LIMITS, held,
       held ? "processor time, memory, no files" : strerror(errno));
}

/* ---- files: Landlock ---- */

#if defined(__linux__) && defined(__NR_landlock_create_ruleset)
/* As in linux/landlock.h, whose copy here may be older than the kernel: each
** version of the interface knows more kinds of access. */
typedef struct ruleset {
  uint64_t fs, net, scoped;
} ruleset;

static uint64_t first_bits (int n) {
  return ((uint64_t)1 << n) - 1;
}

/* All kinds that this version knows (kernel documentation, "Landlock:
** unprivileged access control", previous limitations): 2 moving between
** folders, 3 truncating, 4 binding and connecting TCP, 5 ioctl of devices,
** 6 abstract sockets and signals to others. */
static ruleset all_of (int version) {
  ruleset s = {0, 0, 0};
  s.fs = first_bits(version >= 5 ? 16 : 12 + (version < 3 ? version : 3));
  s.net = version >= 4 ? first_bits(2) : 0;
  s.scoped = version >= 6 ? first_bits(2) : 0;
  return s;
}

static bool restrict_to (const ruleset *s) {
  int fd = (int)syscall(__NR_landlock_create_ruleset, s, sizeof *s, 0);
  bool held = fd >= 0 && syscall(__NR_landlock_restrict_self, fd, 0) == 0;
  int e = errno;
  if (fd >= 0)
    close(fd);
  errno = e;
  return held;
}

/* A ruleset without a rule: nothing of what it handles is allowed. */
static void close_files (cage_report *r) {
  char text[80];
  int version = (int)syscall(__NR_landlock_create_ruleset, NULL, 0, 1);
  ruleset s;
  if (version < 1) {
    tell(r, CAGE_FILES, false,
         errno == EOPNOTSUPP ? "Landlock is switched off in this kernel"
         : errno == ENOSYS   ? "this kernel has no Landlock"
                             : strerror(errno));
    return;
  }
  s = all_of(version);
  if (!restrict_to(&s)) {
    tell(r, CAGE_FILES, false, strerror(errno));
    return;
  }
  snprintf(text, sizeof text, "none opens%s (Landlock, version %d)",
           s.net != 0 ? ", nothing connects" : "", version);
  tell(r, CAGE_FILES, true, text);
}
#else
static void close_files (cage_report *r) {
  tell(r, CAGE_FILES, false, "this system has no Landlock");
}
#endif

/* ---- calls: libseccomp ---- */

#ifdef AMPSTEAD_SECCOMP
/* Without a condition: memory that is given back, threads and locks, time,
** the end. sched_getaffinity and sysinfo: malloc and qsort of glibc size
** themselves by them; getrandom, getpid, gettid: harmless, asked by C
** libraries on their way; rt_sigaction: the first thread sets a handler. */
static const int allowed[] = {SCMP_SYS(futex),
                              SCMP_SYS(munmap),
                              SCMP_SYS(mremap),
                              SCMP_SYS(madvise),
                              SCMP_SYS(brk),
                              SCMP_SYS(rt_sigreturn),
                              SCMP_SYS(clock_gettime),
                              SCMP_SYS(rt_sigprocmask),
                              SCMP_SYS(gettimeofday),
                              SCMP_SYS(time),
                              SCMP_SYS(exit_group),
                              SCMP_SYS(exit),
                              SCMP_SYS(rseq),
                              SCMP_SYS(set_robust_list),
                              SCMP_SYS(sched_yield),
                              SCMP_SYS(sched_getaffinity),
                              SCMP_SYS(sysinfo),
                              SCMP_SYS(getrandom),
                              SCMP_SYS(getpid),
                              SCMP_SYS(gettid),
                              SCMP_SYS(restart_syscall),
                              SCMP_SYS(rt_sigaction)};

/* Answered with an error instead of an end, because a C library tries them
** and goes on without: looking for a file, naming memory, clone3 (whose
** flags lie in memory, where a filter cannot see them; clone follows). */
static const int declined[] = {
    SCMP_SYS(open),       SCMP_SYS(openat),   SCMP_SYS(access),
    SCMP_SYS(faccessat),  SCMP_SYS(readlink), SCMP_SYS(readlinkat),
    SCMP_SYS(newfstatat), SCMP_SYS(stat),     SCMP_SYS(lstat),
    SCMP_SYS(fstat),      SCMP_SYS(prctl)};

/* Calls with a condition on their arguments. Memory is never to be both
** written and run: no mapping asks for PROT_EXEC, none maps a file. What is
** cloned is a thread of this process, in no namespace of its own. */
enum { SOME = 6 };

static int allow_some (scmp_filter_ctx f) {
  const uint64_t thread = CLONE_VM | CLONE_THREAD | CLONE_SIGHAND;
  const uint64_t detached = 0x400000; /* no longer means anything */
  const uint64_t besides = CLONE_FS | CLONE_FILES | CLONE_SYSVSEM |
                           CLONE_SETTLS | CLONE_PARENT_SETTID |
                           CLONE_CHILD_CLEARTID | detached;
  int bad = 0;
  for (unsigned fd = 1; fd <= 2; fd++)
    bad |= seccomp_rule_add(f, SCMP_ACT_ALLOW, SCMP_SYS(write), 1,
                            SCMP_A0(SCMP_CMP_EQ, fd, 0));
  bad |= seccomp_rule_add(f, SCMP_ACT_ALLOW, SCMP_SYS(read), 1,
                          SCMP_A0(SCMP_CMP_EQ, 3, 0));
  bad |= seccomp_rule_add(f, SCMP_ACT_ALLOW, SCMP_SYS(sendto), 2,
                          SCMP_A0(SCMP_CMP_EQ, 3, 0),
                          SCMP_A4(SCMP_CMP_EQ, 0, 0));
  bad |= seccomp_rule_add(
      f, SCMP_ACT_ALLOW, SCMP_SYS(mmap), 2,
      SCMP_A2(SCMP_CMP_MASKED_EQ, PROT_EXEC, 0),
      SCMP_A3(SCMP_CMP_MASKED_EQ, MAP_ANONYMOUS, MAP_ANONYMOUS));
  bad |= seccomp_rule_add(f, SCMP_ACT_ALLOW, SCMP_SYS(mprotect), 1,
                          SCMP_A2(SCMP_CMP_MASKED_EQ, PROT_EXEC, 0));
  bad |= seccomp_rule_add(f, SCMP_ACT_ALLOW, SCMP_SYS(clone), 1,
                          SCMP_A0(SCMP_CMP_MASKED_EQ, ~besides, thread));
  return bad;
}

/* A call that this processor does not have cannot be named: no fault. */
static int add_rule (scmp_filter_ctx f, uint32_t action, int call) {
  int bad = seccomp_rule_add(f, action, call, 0);
  return bad == -EDOM || call < 0 ? 0 : bad;
}

static int fill_filter (scmp_filter_ctx f) {
  int bad = allow_some(f);
  for (size_t k = 0; k < sizeof allowed / sizeof *allowed; k++)
    bad |= add_rule(f, SCMP_ACT_ALLOW, allowed[k]);
  for (size_t k = 0; k < sizeof declined / sizeof *declined; k++)
    bad |= add_rule(f, SCMP_ACT_ERRNO(EACCES), declined[k]);
  bad |= add_rule(f, SCMP_ACT_ERRNO(ENOSYS), SCMP_SYS(clone3));
  return bad;
}

static void close_calls (cage_report *r) {
  const struct scmp_version *v = seccomp_version();
  scmp_filter_ctx f;
  char text[80];
  int bad;
  if (CHECKED_BUILD) {
    tell(r, CAGE_CALLS, false, "no filter: built for checking");
    return;
  }
  f = seccomp_init(SCMP_ACT_KILL_PROCESS);
  bad = f == NULL;
  if (f != NULL) {
    bad = seccomp_attr_set(f, SCMP_FLTATR_ACT_BADARCH, SCMP_ACT_KILL_PROCESS);
    bad = bad != 0 ? bad : fill_filter(f);
    bad = bad != 0 ? bad : seccomp_load(f);
    seccomp_release(f);
  }
  snprintf(text, sizeof text,
           "%d kinds, any other ends it (libseccomp %u.%u.%u)",
           (int)(sizeof allowed / sizeof *allowed) + SOME, v->major, v->minor,
           v->micro);
  tell(r, CAGE_CALLS, bad == 0,
       bad == 0 ? text : "the kernel takes no filter here");
}
#else
static void close_calls (cage_report *r) {
  tell(r, CAGE_CALLS, false, "no filter: built without libseccomp");
}
#endif

/* ---- all of it ---- */

/* What is done without a choice, as it costs nothing: no program with more
** rights, no debugger of the same user. */
static void no_way_up (void) {
#ifdef __linux__
  prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
  prctl(PR_SET_DUMPABLE, 0);
#endif
}

static bool wanted (unsigned layers, cage_layer k) {
  return (layers >> k & 1u) != 0;
}

void cage_close (const runner_options *o, pid_t parent, unsigned layers,
                 cage_report *r) {
  cage_report mine;
  if (r == NULL)
    r = &mine;
  memset(r, 0, sizeof *r);
  if (wanted(layers, CAGE_USER))
    leave_root(r);
  if (wanted(layers, CAGE_ORPHAN))
    die_with(parent, r);
  if (layers != CAGE_TRUSTED)
    no_way_up();
  if (wanted(layers, CAGE_FILES)) /* needs a descriptor for a moment */
    close_files(r);
  if (wanted(layers, CAGE_LIMITS))
    limit(o, r);
  if (wanted(layers, CAGE_CALLS)) {
    close_calls(r);
    /* then no filter stands between it and another process: forbid these,
    ** its own threads with them */
    if (!r->held[CAGE_CALLS] && !CHECKED_BUILD)
      (void)!fence(RLIMIT_NPROC, 0, 0);
  }
}

/* The report of a child that closed the cage around itself. */
static bool try_cage (const runner_options *o, cage_report *r) {
  int link[2];
  pid_t me = getpid(), child;
  bool whole;
  if (pipe(link) != 0)
    return false;
  fflush(NULL);
  child = fork();
  if (child == 0) {
    if (dup2(link[1], STDERR_FILENO) < 0)
      _exit(EXIT_INTERNAL);
    cage_close(o, me, CAGE_ALL, r);
    _exit(write(STDERR_FILENO, r, sizeof *r) == (ssize_t)sizeof *r ? 0 : 1);
  }
  close(link[1]);
  whole = child > 0 && link_receive(link[0], r, sizeof *r);
  close(link[0]);
  if (child > 0)
    waitpid(child, NULL, 0);
  return whole;
}

void cage_describe (const runner_options *o) {
  static const char *const names[CAGE_LAYERS] = {"user", "orphan", "limits",
                                                 "files", "calls"};
  cage_report r;
  if (!try_cage(o, &r)) {
    puts("The cage could not be tried.");
    return;
  }
  puts("Around that process, tried just now:");
  for (int k = 0; k < CAGE_LAYERS; k++)
    printf("  %-7s %-8s %s\n", names[k], r.held[k] ? "" : "MISSING",
           r.why[k]);
}
