"""A print as PDF, set by typst: tagged (PDF/UA-1), fonts of our own, the same bytes for the same words.

Words reach the template as JSON data alone, so that none of them can become markup.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Any

from slackwater.errors import MissingPart
from slackwater.report.page import UNSEEN
from slackwater.report.sheets.sheet import Print, as_data

if TYPE_CHECKING:
    from typst import Fonts

_TEMPLATE = "sheet.typ"
_LACKING = re.compile(r"the text `\"(.+?)\"` could not be displayed", re.DOTALL)
_LONG = re.compile(r"\S{31,}")
TRIES = 4  # each names letters that the fonts lack; then the print goes out as it is


@dataclass(frozen=True)
class Set:
    """The PDF. tagged: it keeps PDF/UA-1. lacking: letters that the fonts do not have, shown by number."""

    data: bytes
    tagged: bool
    lacking: tuple[str, ...]


def pdf(of: Print) -> Set:
    """Set it. A print never fails for want of a letter: it says which, and shows them as [U+4E2D]."""
    import_typst()
    told, lacking = as_data(of), dict[str, None]()
    for _ in range(TRIES):
        try:
            return Set(_compiled(_without(told, lacking), "ua-1"), True, tuple(lacking))
        except Exception as error:  # typst's own error; others go on
            found = _LACKING.findall(str(getattr(error, "diagnostic", "")) or str(error))
            new = [letter for text in found for letter in text if letter not in lacking and ord(letter) > 127]
            if not new:
                if not _is_typsts(error):
                    raise
                break
            lacking |= dict.fromkeys(new)
    return Set(_compiled(_without(told, lacking, untagged=True), None), False, tuple(lacking))


def import_typst() -> Any:
    """MissingPart without the extra `sheet`."""
    try:
        import typst
    except ImportError as error:
        raise MissingPart(
            "sheets as PDF need the extra 'sheet'",
            mend="Install it: pip install 'slackwater[sheet]'; or give an .html.",
        ) from error
    return typst


def shown(text: str) -> str:
    """No letter that turns the writing around, and none that is not seen."""
    return text.translate(UNSEEN)


def _is_typsts(error: Exception) -> bool:
    return isinstance(error, import_typst().TypstError)


@cache
def _fonts() -> Fonts:
    with as_file(files("slackwater.report").joinpath("assets", "fonts")) as folder:
        found: Fonts = import_typst().Fonts(
            include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(folder)]
        )
    return found


@cache
def _template() -> bytes:
    return files("slackwater.report").joinpath("templates", _TEMPLATE).read_bytes()


def _compiled(told: Mapping[str, Any], standard: str | None) -> bytes:
    found: bytes = import_typst().compile(
        _template(), font_paths=_fonts(), ignore_system_fonts=True, pdf_standards=[standard] if standard else [],
        sys_inputs={"print": json.dumps(told, ensure_ascii=False, allow_nan=False)},
    )  # fmt: skip
    return found


def _without(told: dict[str, Any], lacking: Mapping[str, None], *, untagged: bool = False) -> dict[str, Any]:
    """The same words, letters that no font has by their number, with a note that says so."""
    table = UNSEEN | {ord(letter): f"[U+{ord(letter):04X}]" for letter in lacking}
    said: dict[str, Any] = _translated(told, table)
    notes = [told["note"]] if told["note"] else []
    if lacking:
        notes.append(
            f"Letters that cannot be printed here ({len(lacking)}) stand as their numbers, such as "
            f"[U+{ord(next(iter(lacking))):04X}]: take the words from the record or the wristband."
        )
    if untagged:
        notes.append("This print is not tagged for readers by ear.")
    return said | {"note": " ".join(notes)}


def _broken(word: re.Match[str]) -> str:
    """Where a word without spaces may be broken, so that it stays on the paper."""
    text = word[0]
    return "\u200b".join(text[at : at + 16] for at in range(0, len(text), 16))


def _translated(value: Any, table: Mapping[int, str]) -> Any:
    if isinstance(value, str):
        return _LONG.sub(_broken, value.translate(table))
    if isinstance(value, dict):
        return {name: one if name == "svg" else _translated(one, table) for name, one in value.items()}
    return [_translated(one, table) for one in value] if isinstance(value, list | tuple) else value
