# The libraries of the links are loaded by the program when a link is opened, never at its start: only
# their headers are needed here. Without a header that kind of link says that it was not built.
target_link_libraries(lu PUBLIC ${CMAKE_DL_LIBS})
pkg_check_modules(SERIALPORT libserialport)
if(SERIALPORT_FOUND)
  target_compile_definitions(lu PRIVATE LU_HAVE_SERIALPORT)
  target_include_directories(lu PRIVATE ${SERIALPORT_INCLUDE_DIRS})
endif()
pkg_check_modules(FTDI libftdi1>=1.5)
if(FTDI_FOUND)
  target_compile_definitions(lu PRIVATE LU_HAVE_FTDI)
  target_include_directories(lu SYSTEM PRIVATE ${FTDI_INCLUDE_DIRS})
endif()
install(FILES ${PROJECT_SOURCE_DIR}/src/link/70-lineup-ftdi.rules
  DESTINATION ${CMAKE_INSTALL_PREFIX}/lib/udev/rules.d)
