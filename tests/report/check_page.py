#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Checks a report page: check_page.py FILE [PART...]; prints what is wrong, status 1 if anything is.

Sources: HTML Standard (void elements, unique ids); WCAG 2.1 success criteria 1.1.1 (alt texts), 1.3.1 (headings,
table headers), 1.4.3 (contrast, by its formula of relative luminance), 2.4.1 (landmarks), 3.1.1 (lang); Content
Security Policy 3 (hash of a script). PARTs are ids that the page must have.
"""
import base64
import hashlib
import re
import sys
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "img", "hr", "input", "wbr", "col"}


class Page(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.wrong, self.ids, self.hrefs, self.heads, self.tags = [], [], [], [], [], []
        self.text = {}
        self.scripts, self.styles, self.policy = [], [], ""

    def bad(self, what):
        self.wrong.append(f"line {self.getpos()[0]}: {what}")

    def handle_starttag(self, tag, attrs, closed=False):
        a = dict(attrs)
        if len(a) != len(attrs):
            self.bad(f"<{tag}> has an attribute twice")
        self.tags.append((tag, a))
        for name, value in attrs:
            if name.startswith("on"):
                self.bad(f"<{tag}> has {name}")
            if name in ("src", "href", "action", "data", "xlink:href") and not (value.startswith("#") or value.startswith("data:image/png;")):
                self.bad(f"<{tag}> leads outside: {value[:60]}")
        if "id" in a:
            self.ids.append(a["id"])
        if "aria-labelledby" in a:
            self.hrefs.append(a["aria-labelledby"])
        if a.get("href", "").startswith("#"):
            self.hrefs.append(a["href"][1:])
        if re.fullmatch("h[1-6]", tag):
            self.heads.append(int(tag[1]))
        if tag == "img" and not a.get("alt"):
            self.bad("<img> without alt")
        if tag == "th" and a.get("scope") not in ("col", "row"):
            self.bad("<th> without scope")
        if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy":
            self.policy = a["content"]
        if tag == "svg" and a.get("aria-hidden") != "true":
            self.untitled = self.getpos()
            if a.get("role") != "img":
                self.bad("<svg> without role")
        if tag not in VOID and not closed:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs, closed=True)

    def handle_endtag(self, tag):
        if tag in VOID:
            return self.bad(f"</{tag}>")
        if not self.open or self.open[-1] != tag:
            return self.bad(f"</{tag}> closes <{self.open[-1] if self.open else 'nothing'}>")
        self.open.pop()

    def handle_data(self, data):
        at = self.open[-1] if self.open else ""
        self.text[at] = self.text.get(at, "") + data
        if at == "script":
            self.scripts.append(data)
        if at == "style":
            self.styles.append(data)


def luminance(color):
    c = [int(color[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    c = [x / 12.92 if x <= 0.03928 else ((x + 0.055) / 1.055) ** 2.4 for x in c]
    return 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2]


def contrast(a, b):
    x, y = sorted((luminance(a), luminance(b)), reverse=True)
    return (x + 0.05) / (y + 0.05)


def check_style(p, style):
    schemes = [dict(re.findall(r"--(\w+):(#[0-9a-f]{3,6})", s)) for s in re.findall(r":root\{([^}]*)\}", style)]
    if len(schemes) < 3 or "prefers-color-scheme:dark" not in style or "@media print" not in style:
        p.bad("light, dark and print are expected")
    for s in schemes:
        s = {k: "#" + "".join(2 * d for d in v[1:]) if len(v) == 4 else v for k, v in s.items()}
        for ink in ("ink", "soft", "strong", "warn"):
            for ground in ("ground", "raised"):
                if contrast(s[ink], s[ground]) < 4.5:
                    p.bad(f"contrast of {ink} on {ground}: {contrast(s[ink], s[ground]):.2f}")
    both = {**schemes[0], **schemes[1]}
    if contrast(both["markink"], both["mark"]) < 4.5 or contrast(schemes[0]["markink"], schemes[0]["mark"]) < 4.5:
        p.bad("contrast of a marked net")


def main():
    raw = open(sys.argv[1], "rb").read()
    p = Page()
    page = raw.decode("utf-8", errors="replace")
    if "\ufffd" in page:
        p.bad("not UTF-8")
    if re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", page):
        p.bad("control characters")
    p.feed(page)
    p.close()
    if p.open:
        p.bad(f"still open: {p.open}")
    for x in sorted({i for i in p.ids if p.ids.count(i) > 1}):
        p.bad(f"id {x} twice")
    for x in sorted(set(p.hrefs) - set(p.ids)):
        p.bad(f"nothing has the id {x}")
    for x in sys.argv[2:]:
        if x not in p.ids:
            p.bad(f"part {x} is missing")
    if p.heads.count(1) != 1 or any(b > a + 1 for a, b in zip(p.heads, p.heads[1:])):
        p.bad(f"headings: {p.heads}")
    names = [t for t, _ in p.tags]
    for one in ("html", "head", "body", "title", "header", "main", "footer"):
        if names.count(one) < 1 or (one != "title" and names.count(one) > 1):
            p.bad(f"<{one}>: {names.count(one)} times")
    if ("html", {"lang": "en"}) not in p.tags:
        p.bad("no lang")
    if len(p.scripts) > 1:
        p.bad("more than one script")
    for s in p.scripts:
        if f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" not in p.policy:
            p.bad("the policy does not know the script")
    if "default-src 'none'" not in p.policy or "'unsafe-inline'; script" in p.policy.split("style-src")[0]:
        p.bad("policy")
    check_style(p, "".join(p.styles))
    print("\n".join(p.wrong[:20]), end="\n" if p.wrong else "")
    return 1 if p.wrong else 0


sys.exit(main())
