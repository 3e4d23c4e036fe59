"""Bytes to UTF-8 text, strictly: an encoding that does not fit is refused, never patched."""

from __future__ import annotations

import codecs

from slackwater.errors import LogError, refuse_packed
from slackwater.reading.layout import FileShape

MOST_BYTES = 2_000_000_000
_MEND = 'Set log.encoding to what the file is: "utf-8", "utf-16", "latin-1", "cp1252" or "ascii".'


def utf8_text(data: bytes, shape: FileShape, name: str) -> tuple[bytes, int]:
    """The file as UTF-8 that ends with a line end, and where its text begins (after a byte-order mark)."""
    if len(data) > MOST_BYTES:
        raise LogError(f"over {MOST_BYTES // 10**9} GB", where=name, mend="Export a shorter span, or split the file.")
    if not data:
        raise LogError("the file is empty", where=name, mend="Export the log again.")
    refuse_packed(data, name, LogError, "log")
    begins = 0
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) and shape.encoding != "utf-16":
        raise LogError(
            f"begins with the mark of UTF-16, but the layout says {shape.encoding}",
            where=f"{name}, line 1",
            mend='Set log.encoding = "utf-16".',
        )
    if data.startswith(codecs.BOM_UTF8):
        if shape.encoding != "utf-8":
            raise LogError(
                f"begins with the mark of UTF-8, but the layout says {shape.encoding}",
                where=f"{name}, line 1",
                mend='Set log.encoding = "utf-8".',
            )
        begins = len(codecs.BOM_UTF8)
    if shape.encoding == "utf-16":
        text = _decoded(data, utf16_kind(data), name).removeprefix("\ufeff").encode()
    elif data.isascii():
        text = data
    elif shape.encoding == "utf-8":
        _decoded(data, "utf-8", name)  # only to be sure that it is
        text = data
    else:
        text = _decoded(data, shape.encoding, name).encode()
    return (text if text.endswith(b"\n") else text + b"\n"), begins


def utf16_kind(data: bytes) -> str:
    """Which way round UTF-16 is: by its mark, or by where the zero bytes of plain letters stand.

    >>> utf16_kind("a;b".encode("utf-16-be"))
    'utf-16-be'
    """
    if data.startswith(codecs.BOM_UTF16_BE):
        return "utf-16-be"
    if data.startswith(codecs.BOM_UTF16_LE):
        return "utf-16-le"
    head = data[:2000]
    return "utf-16-be" if head[0::2].count(0) > head[1::2].count(0) else "utf-16-le"


def _decoded(data: bytes, encoding: str, name: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        wide = encoding.startswith("utf-16")
        newline = "\n".encode(encoding) if wide else b"\n"
        before = data[: error.start]
        line = before.count(newline) + 1
        column = (error.start - before.rfind(newline) - 1) // (2 if wide else 1) + 1 if line > 1 else error.start + 1
        raise LogError(
            f"not {encoding}: a byte there stands for no character",
            where=f"{name}, line {line}, character {column}",
            mend=_MEND,
        ) from None
