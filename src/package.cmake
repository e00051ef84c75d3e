# What is installed beside the program and the library (src/api/room.cmake), and the Debian packages lineup,
# liblineup0 and liblineup-dev: cmake --build DIR --target package.
install(DIRECTORY docs/demo/ DESTINATION ${CMAKE_INSTALL_DOCDIR}/demo)
file(GLOB doc_pages ${PROJECT_SOURCE_DIR}/docs/*.md)
install(FILES ${doc_pages} DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES README.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
if(EXISTS ${PROJECT_SOURCE_DIR}/docs/schema)
  install(DIRECTORY docs/schema DESTINATION ${CMAKE_INSTALL_DOCDIR})
endif()
install(FILES src/debian/copyright DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES src/debian/copyright DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/liblineup${LU_SOVERSION} COMPONENT library)
install(FILES src/debian/copyright DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/liblineup-dev COMPONENT development)
find_program(LU_GZIP gzip)
if(LU_GZIP)
  add_custom_command(OUTPUT ${PROJECT_BINARY_DIR}/changelog.gz
    COMMAND ${LU_GZIP} -9nc ${PROJECT_SOURCE_DIR}/src/debian/changelog > ${PROJECT_BINARY_DIR}/changelog.gz
    DEPENDS ${PROJECT_SOURCE_DIR}/src/debian/changelog VERBATIM)
  add_custom_target(changelog ALL DEPENDS ${PROJECT_BINARY_DIR}/changelog.gz)
  install(FILES ${PROJECT_BINARY_DIR}/changelog.gz DESTINATION ${CMAKE_INSTALL_DOCDIR})
  install(FILES ${PROJECT_BINARY_DIR}/changelog.gz DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/liblineup${LU_SOVERSION} COMPONENT library)
  install(FILES ${PROJECT_BINARY_DIR}/changelog.gz DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/liblineup-dev COMPONENT development)
endif()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME lineup)
set(CPACK_PACKAGE_CONTACT "lineup maintainers <maintainers@lineup.example>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "from a failed memory test to suspect nets and pins")
set(CPACK_PACKAGE_DESCRIPTION "Reads dumps and logic captures of a failing old computer board, works out which
electrical faults would give exactly what was read, and names the nets and chip
pins to measure. Knows boards from KiCad, EDIF and IPC-D-356A netlists or from
nets typed in by hand.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_COMPONENTS_ALL program library development)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME lineup)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION electronics)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_LIBRARY_PACKAGE_NAME liblineup${LU_SOVERSION})
set(CPACK_DEBIAN_LIBRARY_PACKAGE_SECTION libs)
set(CPACK_DEBIAN_LIBRARY_PACKAGE_SHLIBDEPS ON)
# Written here, as CPack 3.25 makes neither for one component alone.
file(WRITE ${PROJECT_BINARY_DIR}/debian/shlibs "liblineup ${LU_SOVERSION} liblineup${LU_SOVERSION} (>= ${PROJECT_VERSION})\n")
file(WRITE ${PROJECT_BINARY_DIR}/debian/triggers "activate-noawait ldconfig\n")
set(CPACK_DEBIAN_LIBRARY_PACKAGE_CONTROL_EXTRA ${PROJECT_BINARY_DIR}/debian/shlibs ${PROJECT_BINARY_DIR}/debian/triggers)
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION "${CPACK_PACKAGE_DESCRIPTION}")
set(CPACK_COMPONENT_LIBRARY_DESCRIPTION "shared library of lineup, decoding for other programs
Decodes memory dumps of a failing board from another program: which nets and
chip pins would give exactly what was read.")
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME liblineup-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS "liblineup${LU_SOVERSION} (= ${PROJECT_VERSION}), libyaml-dev")
set(CPACK_COMPONENT_DEVELOPMENT_DESCRIPTION "header, static library and example of liblineup
To build programs that decode memory dumps of a failing board.")
# These are loaded by the program when a link or a job is opened or a picture written, so shlibdeps cannot see them.
set(CPACK_DEBIAN_PROGRAM_PACKAGE_RECOMMENDS "libserialport0, libftdi1-2, libsqlite3-0, libpng16-16")
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS
  OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
include(CPack)
