# The reader's firmware, when a compiler for the AVR is there. Not part of the program.
find_program(LU_AVR_GCC avr-gcc)
find_program(LU_AVR_OBJCOPY avr-objcopy)
find_program(LU_AVR_SIZE avr-size)
if(LU_AVR_GCC AND LU_AVR_OBJCOPY AND LU_AVR_SIZE)
  set(firmware ${PROJECT_BINARY_DIR}/lineup-reader-2560)
  set(firmware_sources ${PROJECT_SOURCE_DIR}/src/firmware/core.c ${PROJECT_SOURCE_DIR}/src/firmware/hw_2560.c)
  add_custom_command(OUTPUT ${firmware}.elf ${firmware}.hex
    COMMAND ${LU_AVR_GCC} -mmcu=atmega2560 -std=gnu11 -O2 -Wall -Wextra -Wno-main $<$<BOOL:${LU_WERROR}>:-Werror>
      -ffunction-sections -fdata-sections -fshort-enums -flto -Wl,--gc-sections -o ${firmware}.elf ${firmware_sources}
    COMMAND ${LU_AVR_OBJCOPY} -O ihex -R .eeprom ${firmware}.elf ${firmware}.hex
    COMMAND ${LU_AVR_SIZE} ${firmware}.elf
    DEPENDS ${firmware_sources} ${PROJECT_SOURCE_DIR}/src/firmware/core.h ${PROJECT_SOURCE_DIR}/src/link/wire.h
    COMMENT "Reader firmware for the ATmega2560" COMMAND_EXPAND_LISTS VERBATIM)
  add_custom_target(reader_firmware ALL DEPENDS ${firmware}.elf ${firmware}.hex)
  install(FILES ${firmware}.hex DESTINATION ${CMAKE_INSTALL_DATADIR}/lineup/firmware)
  set(LU_FIRMWARE_ELF ${firmware}.elf)
else()
  message(STATUS "avr-gcc is not here: the reader's firmware is not built (Debian: gcc-avr avr-libc binutils-avr)")
endif()
