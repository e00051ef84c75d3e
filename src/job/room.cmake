# SQLite is loaded when a job is opened, never at the program's start: only its header is needed here.
pkg_check_modules(SQLITE sqlite3)
if(SQLITE_FOUND)
  target_compile_definitions(lu PRIVATE LU_HAVE_SQLITE)
  target_include_directories(lu SYSTEM PRIVATE ${SQLITE_INCLUDE_DIRS})
endif()
