# Pictures: libpng is loaded when a picture is written, never at the program's start: only its header is needed
# here. Without it the page has no picture, and --png says why.
pkg_check_modules(PNG libpng)
if(PNG_FOUND)
  target_compile_definitions(lu PRIVATE LU_HAVE_PNG)
  target_include_directories(lu SYSTEM PRIVATE ${PNG_INCLUDE_DIRS})
  target_link_libraries(lu PUBLIC ${CMAKE_DL_LIBS})
endif()
