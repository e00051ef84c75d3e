add_executable(places_dump ${CMAKE_CURRENT_SOURCE_DIR}/boards/places_dump.c)
target_link_libraries(places_dump PRIVATE lu)
