# SPDX-License-Identifier: MIT
# Sourced by tests that use tools from npm: node_modules below the build folder, or where LU_NPM says.
# lu_npm NAME@VERSION...: installs what is missing; sets LU_NPM. Status 1, with a reason, when that cannot be done.
lu_npm() {
  LU_NPM=${LU_NPM:-${LU_BUILD:?}/npm}
  local missing=() one name
  command -v node >/dev/null && command -v npm >/dev/null || { echo "no node and npm"; return 1; }
  for one; do
    name=${one%@*}
    [ -f "$LU_NPM/node_modules/$name/package.json" ] || missing+=("$one")
  done
  [ ${#missing[@]} = 0 ] && return 0
  mkdir -p "$LU_NPM" || return 1
  # One installs, others wait for it: tests run side by side.
  (
    flock 9 || exit 1
    timeout 240 npm install --prefix "$LU_NPM" --no-audit --no-fund --no-save --ignore-scripts --silent "$@" >"$LU_NPM/log" 2>&1 </dev/null
  ) 9>"$LU_NPM/lock" || { echo "npm could not install ${missing[*]}: $(tail -n 1 "$LU_NPM/log")"; return 1; }
}
