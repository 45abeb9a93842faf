# cmake -DOUT=embedded.c "-DFILES=a.lua;b.lua" -P embed.cmake
# Writes the Lua half of the module as C arrays, so that one file carries it.
cmake_policy(SET CMP0007 NEW)
set(arrays "")
set(rows "")
set(k 0)
foreach(file ${FILES})
  get_filename_component(name ${file} NAME_WE)
  file(SIZE ${file} size)
  file(READ ${file} hex HEX)
  string(REGEX REPLACE "(................................)" "\\1\n" hex "${hex}")
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
  string(APPEND arrays
    "static const unsigned char text_${k}[] = {\n${bytes}0x00};\n")
  string(APPEND rows
    "  {\"${name}\", (const char *)text_${k}, ${size}},\n")
  math(EXPR k "${k} + 1")
endforeach()
set(head "/* made by scripts/dev/embed.cmake: the Lua half, as it is shipped */")
file(WRITE ${OUT}.new "${head}
#include <stddef.h>

struct ampstead_chunk {
  const char *name;
  const char *text;
  size_t n;
};
extern const struct ampstead_chunk ampstead_chunks[];

${arrays}
const struct ampstead_chunk ampstead_chunks[] = {
${rows}  {NULL, NULL, 0}
};
")
file(RENAME ${OUT}.new ${OUT})
