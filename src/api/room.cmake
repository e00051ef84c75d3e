# liblineup, the public library: lineup.h, a shared and a static library, lineup.pc. Only names that begin
# with lineup_ are visible.
set(LU_SOVERSION 0) # raised when a program built against the library before would break
set_target_properties(lu PROPERTIES POSITION_INDEPENDENT_CODE ON C_VISIBILITY_PRESET hidden)

add_library(lineup_shared SHARED ${PROJECT_SOURCE_DIR}/src/api/lineup.c)
set_target_properties(lineup_shared PROPERTIES OUTPUT_NAME lineup VERSION ${PROJECT_VERSION} SOVERSION ${LU_SOVERSION}
  C_VISIBILITY_PRESET hidden)
target_link_libraries(lineup_shared PRIVATE lu)
target_link_options(lineup_shared PRIVATE LINKER:--exclude-libs,ALL LINKER:--as-needed)

# The static one is a single object, so that no name of the inside meets one of the program that links it.
add_library(lineup_object OBJECT ${PROJECT_SOURCE_DIR}/src/api/lineup.c)
set_target_properties(lineup_object PROPERTIES POSITION_INDEPENDENT_CODE ON C_VISIBILITY_PRESET hidden)
target_link_libraries(lineup_object PRIVATE lu_flags)
set(lu_whole ${PROJECT_BINARY_DIR}/lineup-whole.o)
set(lu_static ${PROJECT_BINARY_DIR}/static/liblineup.a)
add_custom_command(OUTPUT ${lu_static}
  COMMAND ${CMAKE_LINKER} -r -o ${lu_whole} $<TARGET_OBJECTS:lineup_object> $<TARGET_FILE:lu>
  COMMAND ${CMAKE_OBJCOPY} --localize-hidden ${lu_whole}
  COMMAND ${CMAKE_COMMAND} -E make_directory ${PROJECT_BINARY_DIR}/static
  COMMAND ${CMAKE_COMMAND} -E rm -f ${lu_static}
  COMMAND ${CMAKE_AR} rcs ${lu_static} ${lu_whole}
  DEPENDS lineup_object lu $<TARGET_OBJECTS:lineup_object> VERBATIM COMMAND_EXPAND_LISTS)
add_custom_target(lineup_static ALL DEPENDS ${lu_static})

# The prefix is told from where lineup.pc stands, so that the tree may be moved.
file(RELATIVE_PATH lu_pc_up /${CMAKE_INSTALL_LIBDIR}/pkgconfig /)
string(REGEX REPLACE "/$" "" lu_pc_up "${lu_pc_up}")
configure_file(${PROJECT_SOURCE_DIR}/src/api/lineup.pc.in ${PROJECT_BINARY_DIR}/lineup.pc @ONLY)
install(TARGETS lineup_shared
  LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT library NAMELINK_COMPONENT development)
install(FILES ${lu_static} DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT development)
install(FILES ${PROJECT_SOURCE_DIR}/src/api/lineup.h DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} COMPONENT development)
install(FILES ${PROJECT_BINARY_DIR}/lineup.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig COMPONENT development)
install(FILES ${PROJECT_SOURCE_DIR}/docs/example.c DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/liblineup-dev COMPONENT development)
