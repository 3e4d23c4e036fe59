"""Strings that try to become part of a page, and a reader that says whether one did."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

MARK = "zzq"  # no page of ours holds it
SHORT = f"\"><{MARK} on{MARK}=1>'"
WHOLE = (
    f"\"'><{MARK} on{MARK}=1><script>{MARK}()</script><img src=x onerror={MARK}()><svg/onload={MARK}()>"
    f"</textarea></title></script></style>--><!--{MARK}--> {{{{7*7}}}}{MARK}{{{{7*7}}}} ${{7*7}} "
    f"<%={MARK}%> javascript:{MARK} &lt;{MARK}&gt; \u202e{MARK}\u202c\u2066 =cmd|{MARK}!A1"
)  # fmt: skip
CORPUS = (
    SHORT, WHOLE,
    # tags, and ways out of an attribute, a title, a text area, a data block, a comment
    f"<script>{MARK}</script>", f"</script><script>{MARK}</script>", f"<ScRiPt>{MARK}", f"<scr<script>ipt>{MARK}",
    f'" on{MARK}="1', f"' on{MARK}='1", f" on{MARK}=1 ", f'" autofocus onfocus={MARK} x="', f"`on{MARK}=1`",
    f"</title><{MARK}>", f"</textarea><{MARK}>", f"</select><{MARK}>", f"--><{MARK}>", f"]]><{MARK}>",
    f"<img src=x onerror={MARK}>", f"<svg><script>{MARK}</script></svg>", f"<svg/onload={MARK}>",
    f"<math><a xlink:href=javascript:{MARK}>", f"<iframe srcdoc='<{MARK}>'>", f"<base href=//{MARK}.example>",
    f"<meta http-equiv=refresh content='0;url=//{MARK}.example'>", f"<style>@import '//{MARK}'</style>",
    f"<form action=//{MARK}.example><button>", f"<a href=javascript:{MARK}>", f"javascript:{MARK}",
    f"java\tscript:{MARK}",    f"data:text/html,<{MARK}>", f"//{MARK}.example/x", f"\\\\{MARK}.example",
    # entities that must stay entities, templates that must stay text
    f"&lt;{MARK}&gt;", f"&#60;{MARK}&#62;", f"\uff1c{MARK}\uff1e", f"{MARK}{{{{7*7}}}}", f"{MARK}${{7*7}}",
    f"{{% raw %}}{MARK}",
    # letters that turn the writing, that do not show, that end a line for some
    f"\u202e{MARK}", f"\u2066{MARK}\u2069", f"{MARK}\u200b", f"\x00{MARK}", f"{MARK}\x1b[2J",
    f"{MARK}\r\nset-cookie: {MARK}=1",    f"{MARK}\u2028{MARK}", f"{MARK}\x85",
    # cells that a spreadsheet would work out, and what has no end
    f"={MARK}()", f"+{MARK}", f"-{MARK}", f"@{MARK}", f"\t={MARK}", MARK * 20_000, "\u0301" * 500 + MARK,
)  # fmt: skip

FORBIDDEN = {"iframe", "frame", "object", "embed", "applet", "base", "math", "foreignobject", "template"}
ADDRESSES = {"href", "src", "action", "formaction", "xlink:href", "poster", "data", "ping", "srcset"}


class _Reader(HTMLParser):
    """Every element of a page; `faults` tells which of them nobody of ours wrote."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.faults: list[str] = []
        self.links: list[str] = []
        self.forms: list[Form] = []
        self._in = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self._in = f"script {said.get('type', '')}" if tag == "script" and "src" not in said else tag
        if MARK in tag or tag in FORBIDDEN:
            self.faults.append(f"<{tag}>")
        for name, value in attrs:
            if MARK in name or name.startswith("on") or name in ("style", "srcdoc"):
                self.faults.append(f"<{tag} {name}>")
            if name in ADDRESSES and not _ours(value or ""):
                self.faults.append(f"<{tag} {name}={value!r}>")
        if tag == "meta" and "http-equiv" in said and MARK in str(said.get("content")):
            self.faults.append(f"<meta {said}>")
        if tag == "a" and said.get("href"):
            self.links.append(str(said["href"]))
        self._form(tag, said)

    handle_startendtag = handle_starttag

    def _form(self, tag: str, said: dict[str, str | None]) -> None:
        if tag == "form" and (said.get("method") or "get").lower() == "post":
            self.forms.append(Form(said.get("action") or ""))
        elif not self.forms:
            return
        elif tag in ("input", "textarea", "select"):
            self.forms[-1].field(said.get("name") or "", said.get("type") or tag, said.get("value") or "")
        elif tag == "option":
            self.forms[-1].option(said.get("value"))

    def handle_endtag(self, tag: str) -> None:
        self._in = ""
        if MARK in tag:
            self.faults.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        if self._in.startswith("script") or self._in == "style":
            if self._in != "script application/json":
                self.faults.append(f"{self._in}: {data[:40]!r}")
            else:
                json.loads(data)

    def handle_comment(self, data: str) -> None:
        if MARK in data:
            self.faults.append(f"<!--{data[:40]}-->")


class Form:
    """A form as the page has it: what is typed freely, and what goes with it."""

    def __init__(self, action: str) -> None:
        self.action = action
        self.free: list[str] = []
        self.given: dict[str, str] = {}
        self._choice = ""

    def field(self, name: str, kind: str, value: str) -> None:
        if not name or name in ("csrf", "once"):
            return
        if kind in ("input", "text", "search", "textarea", "password"):
            self.free.append(name)
        elif kind == "select":
            self._choice = name
        elif kind == "checkbox":
            self.given[name] = value or "on"
        else:
            self.given.setdefault(name, value)

    def option(self, value: str | None) -> None:
        if value and self._choice:
            self.given.setdefault(self._choice, value)

    @property
    def names(self) -> list[str]:
        """Every field: a choice or a hidden value may be forged as well."""
        return [*self.free, *self.given]


def _ours(address: str) -> bool:
    """An address of this server, or a picture in the page itself."""
    plain = re.sub(r"[\x00-\x20]", "", address)
    return (
        address == ""
        or plain.startswith(("#", "?", "data:image/"))
        or (plain[0] == "/" and plain[1:2] not in ("/", "\\"))
    )


def read(text: str) -> _Reader:
    """The page as a browser would take it apart, with everything wrong about it."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    lower = text.lower()
    if f"<{MARK}" in lower or f"{MARK}49" in lower:
        reader.faults.append("as it was typed")
    reader.faults += [
        f"U+{ord(one):04X}" for one in "\x00\x1b\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069" if one in text
    ]
    return reader
