# Writes OUT, a C source with the files of DIR: cmake -DDIR=... -DOUT=... -P embed.cmake
file(GLOB files ${DIR}/*.pattern)
list(SORT files)
set(arrays "")
set(rows "")
foreach(file IN LISTS files)
  get_filename_component(name ${file} NAME_WE)
  string(REPLACE "-" "_" id ${name})
  file(READ ${file} hex HEX)
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
  string(APPEND arrays "static const uint8_t text_${id}[] = {${bytes}};\n")
  string(APPEND rows "  {\"${name}\", {text_${id}, sizeof text_${id}}},\n")
endforeach()
file(WRITE ${OUT} "/* Made from patterns/ by src/pattern/embed.cmake. */
#include \"pattern/builtin.h\"

${arrays}
const lu_pattern_file lu_pattern_files[] = {
${rows}};
const size_t lu_pattern_file_count = sizeof lu_pattern_files / sizeof lu_pattern_files[0];
")
