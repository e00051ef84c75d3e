/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_HTMLSTYLE_H
#define LU_REPORT_HTMLSTYLE_H
/* The page's style, that on paper, and its one script: constants. */
extern const char lu_html_style[], lu_html_figure_style[], lu_html_print_style[];
/* Marks a net everywhere while one of its names is pointed at or has the focus; a click or tap keeps it. */
extern const char lu_html_script[];
/* Base64 of the script's SHA-256, for the page's content policy (W3C Content Security Policy 3, "script-src"): no
 * other script runs on the page. tests/report checks it. */
#define LU_HTML_SCRIPT_SHA256 "Ehz4vgpwdA2sPnuxmcf5qzB2ZDs9ebInPhLDGkGkwxY="
#endif
