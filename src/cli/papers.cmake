# Manual pages and completions: the built program writes them from its own tables.
file(STRINGS ${PROJECT_SOURCE_DIR}/src/cli/commands.def rows REGEX "^LU_COMMAND")
set(papers ${PROJECT_BINARY_DIR}/papers)
file(MAKE_DIRECTORY ${papers})
set(pages lineup.1)
set(write_papers COMMAND lineup papers manual > ${papers}/lineup.1)
foreach(row IN LISTS rows)
  string(REGEX REPLACE "LU_COMMAND\\(([a-z]+)\\).*" "\\1" name ${row})
  if(NOT name STREQUAL papers) # the one command that is not shown
    list(APPEND pages lineup-${name}.1)
    list(APPEND write_papers COMMAND lineup papers manual ${name} > ${papers}/lineup-${name}.1)
  endif()
endforeach()
list(TRANSFORM pages PREPEND ${papers}/ OUTPUT_VARIABLE page_files)
add_custom_command(OUTPUT ${page_files} ${papers}/lineup.bash ${papers}/_lineup ${papers}/lineup.fish
  ${write_papers}
  COMMAND lineup papers completion bash > ${papers}/lineup.bash
  COMMAND lineup papers completion zsh > ${papers}/_lineup
  COMMAND lineup papers completion fish > ${papers}/lineup.fish
  DEPENDS lineup VERBATIM COMMENT "Manual pages and completions")
add_custom_target(papers ALL DEPENDS ${page_files})

# Pages are installed compressed, without name or time in them, as Debian's policy asks.
find_program(LU_GZIP gzip)
set(man_dir ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES ${page_files} DESTINATION ${man_dir})
install(FILES ${papers}/lineup.bash DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME lineup)
install(FILES ${papers}/_lineup DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions)
install(FILES ${papers}/lineup.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
if(LU_GZIP)
  # install(CODE) sees DESTDIR through its own variables only.
  install(CODE "
    file(GLOB pages \"\$ENV{DESTDIR}\${CMAKE_INSTALL_PREFIX}/${man_dir}/lineup*.1\")
    foreach(page IN LISTS pages)
      execute_process(COMMAND \"${LU_GZIP}\" -9nf \"\${page}\" COMMAND_ERROR_IS_FATAL ANY)
    endforeach()")
endif()
