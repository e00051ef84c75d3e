#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Manual pages through mandoc's checks; completions in the shells themselves, as far as they are here.
set -u
export LC_ALL=C
L=${LU_PROGRAM:?}
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
bad() { echo "FAILED: $*"; failed=1; }
ln -s "$L" "$dir/lineup" && PATH=$dir:$PATH

for command in '' $("$L" papers commands); do
  page=$dir/lineup${command:+-$command}.1
  # shellcheck disable=SC2086 # empty: the page of the program
  "$L" papers manual $command >"$page" || bad "manual $command: status $?"
  [ -z "$command" ] || for option in $("$L" "$command" --help | grep -oE '^ +(-., )?--[a-z0-9-]+' | grep -oE -- '--.*'); do
    sed 's/\\-/-/g' "$page" | grep -qF -- "$option" || bad "manual of $command is without $option"
  done
  if command -v mandoc >/dev/null; then
    mandoc -Tlint -W warning "$page" || bad "mandoc finds something in the page of '$command'"
  else
    echo "left out: mandoc is not here"
  fi
done

"$L" papers completion bash >"$dir/bash" || bad "completion bash"
complete_bash() { # WORD...: what bash offers behind these words
  bash --norc -c '. "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _lineup; printf "%s\n" "${COMPREPLY[@]}"' - "$dir/bash" "$@"
}
[ "$(complete_bash lineup deco)" = decode ] || bad "bash: lineup deco"
[ "$(complete_bash lineup decode --expe)" = --expect ] || bad "bash: decode --expe"
[ "$(complete_bash lineup decode --color al)" = always ] || bad "bash: --color al"
[ "$(complete_bash lineup pattern sh)" = show ] || bad "bash: pattern sh"
[ "$(cd "$LU_TOP/docs/demo" && complete_bash lineup decode --board tide.y)" = tide.yaml ] || bad "bash: a file"
if command -v zsh >/dev/null; then
  "$L" papers completion zsh >"$dir/_lineup" && zsh -n "$dir/_lineup" || bad "zsh cannot read its completion"
  # _arguments gets its rows: each must have the form that it documents, seen by a stand-in.
  zsh -fc '_arguments() { for r in "$@[2,-1]"; do [[ $r == (\*-*\[*\]*|[1*]:*:*) ]] || { print -r "bad row: $r"; exit 1 }; done; print -l -- "$@" }
    words=(lineup decode x) CURRENT=3; . "$1"' - "$dir/_lineup" >"$dir/rows" || bad "zsh: $(cat "$dir/rows")"
  grep -q '^\*--expect\[.*\]:WHAT:_files$' "$dir/rows" || bad "zsh: no row for --expect"
else
  echo "left out: zsh is not here"
fi
if command -v fish >/dev/null; then
  "$L" papers completion fish >"$dir/fish" || bad "completion fish"
  offers() { HOME=$dir XDG_CONFIG_HOME=$dir fish --no-config -c "source $dir/fish; complete -C '$1'" 2>&1; }
  offers 'lineup deco' | grep -q '^decode	' || bad "fish: lineup deco: $(offers 'lineup deco')"
  offers 'lineup decode --expe' | grep -q '^--expect	' || bad "fish: decode --expe: $(offers 'lineup decode --expe')"
  offers 'lineup pattern sh' | grep -q '^show' || bad "fish: pattern sh: $(offers 'lineup pattern sh')"
else
  echo "left out: fish is not here"
fi
exit $failed
