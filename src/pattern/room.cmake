# The files of patterns/ become part of the program, and are installed for people to read.
file(GLOB pattern_files CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/patterns/*.pattern)
set(pattern_source ${PROJECT_BINARY_DIR}/pattern_files.c)
add_custom_command(OUTPUT ${pattern_source}
  COMMAND ${CMAKE_COMMAND} -DDIR=${PROJECT_SOURCE_DIR}/patterns -DOUT=${pattern_source}
          -P ${PROJECT_SOURCE_DIR}/src/pattern/embed.cmake
  DEPENDS ${pattern_files} ${PROJECT_SOURCE_DIR}/src/pattern/embed.cmake
  VERBATIM)
target_sources(lu PRIVATE ${pattern_source})
target_compile_definitions(lu PRIVATE
  LU_PATTERNS_INSTALLED="${CMAKE_INSTALL_FULL_DATADIR}/lineup/patterns")
install(DIRECTORY ${PROJECT_SOURCE_DIR}/patterns/
  DESTINATION ${CMAKE_INSTALL_DATADIR}/lineup/patterns FILES_MATCHING PATTERN "*.pattern")
