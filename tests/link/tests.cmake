# The reader's protocol: the host's side against the firmware's core, in simulated time.
set(link_dir ${CMAKE_CURRENT_LIST_DIR})
add_executable(test_reader ${link_dir}/test_reader.c ${link_dir}/simpeer.c
  ${PROJECT_SOURCE_DIR}/src/firmware/core.c)
target_link_libraries(test_reader PRIVATE lu PkgConfig::CMOCKA)
target_compile_definitions(test_reader PRIVATE LU_TOP="${PROJECT_SOURCE_DIR}")
add_test(NAME test_reader COMMAND test_reader)

# The built firmware under a simulated ATmega2560. libsimavr is GPL-3+, so only tests link it.
find_path(SIMAVR_DIR sim_avr.h PATH_SUFFIXES simavr)
find_library(SIMAVR_LIB simavr)
find_library(ELF_LIB elf)
if(LU_FIRMWARE_ELF AND SIMAVR_DIR AND SIMAVR_LIB AND ELF_LIB)
  add_library(avrbed STATIC ${link_dir}/avrbed.c)
  target_link_libraries(avrbed PUBLIC lu ${SIMAVR_LIB} ${ELF_LIB})
  target_include_directories(avrbed SYSTEM PRIVATE ${SIMAVR_DIR})
  target_compile_options(avrbed PRIVATE -Wno-strict-prototypes -Wno-pedantic)
  add_executable(sock_bed ${link_dir}/sock_bed.c)
  target_link_libraries(sock_bed PRIVATE avrbed)
  add_executable(test_firmware ${link_dir}/test_firmware.c)
  target_link_libraries(test_firmware PRIVATE avrbed PkgConfig::CMOCKA)
  target_compile_definitions(test_firmware PRIVATE LU_FIRMWARE="${LU_FIRMWARE_ELF}")
  add_dependencies(test_firmware reader_firmware)
  add_test(NAME test_firmware COMMAND test_firmware)
  # libsimavr keeps what it loaded
  set_tests_properties(test_firmware PROPERTIES ENVIRONMENT ASAN_OPTIONS=detect_leaks=0)
else()
  message(STATUS "test_firmware is left out: it needs gcc-avr avr-libc binutils-avr libsimavr-dev libelf-dev")
endif()

# Commands on an emulated serial port, and on an emulated USB chip.
pkg_check_modules(UMOCKDEV IMPORTED_TARGET umockdev-1.0)
if(UMOCKDEV_FOUND)
  add_executable(tty_bed ${link_dir}/tty_bed.c)
  target_link_libraries(tty_bed PRIVATE lu PkgConfig::UMOCKDEV)
  if(TARGET avrbed)
    target_link_libraries(tty_bed PRIVATE avrbed)
    target_compile_definitions(tty_bed PRIVATE WITH_AVR)
  endif()
  add_executable(usb_bed ${link_dir}/usb_bed.c ${link_dir}/simpeer.c ${PROJECT_SOURCE_DIR}/src/firmware/core.c)
  target_link_libraries(usb_bed PRIVATE lu PkgConfig::UMOCKDEV)
else()
  message(STATUS "tests of libserialport and libftdi1 are skipped: they need umockdev and libumockdev-dev")
endif()

add_executable(test_verify ${link_dir}/test_verify.c ${link_dir}/simpeer.c
  ${PROJECT_SOURCE_DIR}/src/firmware/core.c)
target_link_libraries(test_verify PRIVATE lu PkgConfig::CMOCKA)
add_test(NAME test_verify COMMAND test_verify)
