# Benchmarks: each tests/bench/*.c is one program; they are built, not run by ctest.
file(GLOB bench_programs CONFIGURE_DEPENDS ${CMAKE_CURRENT_LIST_DIR}/*.c)
foreach(file IN LISTS bench_programs)
  get_filename_component(name ${file} NAME_WE)
  add_executable(${name} ${file})
  target_link_libraries(${name} PRIVATE lu)
endforeach()
