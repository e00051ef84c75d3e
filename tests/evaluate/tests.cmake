# How often the reasoning names the right nets: a small run in ctest, all of it by hand (docs/accuracy.md).
add_executable(evaluate ${CMAKE_CURRENT_LIST_DIR}/evaluate.c ${CMAKE_CURRENT_LIST_DIR}/stand.c ${CMAKE_CURRENT_LIST_DIR}/ask.c)
target_link_libraries(evaluate PRIVATE lu)
target_compile_definitions(evaluate PRIVATE LU_TOP="${PROJECT_SOURCE_DIR}")
add_test(NAME evaluate_smoke COMMAND evaluate --smoke)
# How many readings the bench loop takes from the first dump on (docs/bench-loop.md).
add_executable(evaluate_bench ${CMAKE_CURRENT_LIST_DIR}/benchloop.c ${CMAKE_CURRENT_LIST_DIR}/stand.c ${CMAKE_CURRENT_LIST_DIR}/ask.c)
target_link_libraries(evaluate_bench PRIVATE lu)
target_compile_definitions(evaluate_bench PRIVATE LU_TOP="${PROJECT_SOURCE_DIR}")
add_test(NAME evaluate_bench_smoke COMMAND evaluate_bench -n 2 "program ROM")
