"""The text of a file that a person typed: UTF-8, a mark at its start tolerated, nothing invisible in it."""

from __future__ import annotations

import re

from slackwater.errors import RefusedInput, refuse_packed

_LARGEST = 16 * 1024 * 1024  # bytes; a chart of a year is far below
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x85\u2028\u2029]")


def plain_text(data: bytes, name: str, refuse: type[RefusedInput]) -> str:
    """Decode strictly, or raise `refuse` naming the line that cannot be read."""
    if len(data) > _LARGEST:
        limit = f"{_LARGEST // 1024 // 1024} MB"
        raise refuse(f"is larger than {limit}", where=name, mend="Give the file of one patient.")
    refuse_packed(data, name, refuse)
    if data.startswith(_UTF16):
        raise refuse("is written in UTF-16", where=name, mend="Save it as UTF-8.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = data[error.start]
        raise refuse(
            f"byte 0x{byte:02x} is not UTF-8", where=f"{name}, line {line}", mend="Save the file as UTF-8."
        ) from error
    bad = _CONTROL.search(text)
    if bad:
        line = text.count("\n", 0, bad.start()) + 1
        raise refuse(
            f"holds the invisible character U+{ord(bad[0]):04X}",
            where=f"{name}, line {line}",
            mend="Delete it, or save the file again as plain text.",
        )
    return text
