# The reader's protocol: the host's side against the firmware's core, in simulated time.
set(link_dir ${CMAKE_CURRENT_LIST_DIR})
add_executable(test_reader ${link_dir}/test_reader.c ${link_dir}/simpeer.c
  ${PROJECT_SOURCE_DIR}/src/firmware/core.c)
target_link_libraries(test_reader PRIVATE lu PkgConfig::CMOCKA)
add_test(NAME test_reader COMMAND test_reader)
