# The helper of the script tests and benchmarks of netlists.
add_executable(netlist_dump ${CMAKE_CURRENT_LIST_DIR}/netlist_dump.c)
target_link_libraries(netlist_dump PRIVATE lu)
