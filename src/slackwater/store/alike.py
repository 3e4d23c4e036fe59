"""Serial numbers and lots as people write them: which spellings are the same one, and which may stand in the record."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches

OF_SERIALS = " -_./#"  # beside letters and digits
FORMULA = ("=", "+", "-", "@", "\t")  # a table program takes a cell that begins so for a formula


def lot_form(text: str) -> str:
    """The form in which two spellings of one lot are equal: its letters and digits alone. Two lots that hyphens alone
    tell apart are then taken for one, so that a recall rather meets too much."""
    return folded(text).replace("-", "")


def folded(text: str) -> str:
    """The form in which two spellings of one serial number are equal: case, width, blanks, kinds of hyphen."""
    shown = (c for c in unicodedata.normalize("NFKC", text).casefold() if unicodedata.category(c) != "Cf")
    spaced = "".join(" " if unicodedata.category(c) == "Pd" or c in "\u2212-" else c for c in shown)
    return "-".join(spaced.split())


def near(text: str, known: Iterable[str]) -> str | None:
    """One of `known` that is the same but for its spelling; None also where `text` itself is known."""
    known = list(known)
    return None if text in known else next((one for one in known if folded(one) == folded(text)), None)


def near_lots(lot: str, known: Iterable[str]) -> tuple[str, ...]:
    """Lots that `lot` may have been meant for, the likest first; up to three (ours)."""
    by_form = {lot_form(one): one for one in sorted(known)}
    return tuple(by_form[one] for one in get_close_matches(lot_form(lot), list(by_form), n=3, cutoff=0.6))


def serial_fault(serial: str) -> tuple[str, str] | None:
    """What is wrong with a serial number that is new here, and how to mend it."""
    if serial.startswith(FORMULA) or not all(c.isalnum() or c in OF_SERIALS for c in serial):
        return "is no serial number", f"Letters, digits, blanks and {OF_SERIALS.strip()}; a letter or digit first."
    return None
