"""Which sheets there are, and a print of one drain's or of many."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import tzinfo

from slackwater import __version__
from slackwater.report.sheets.checklist import checklist
from slackwater.report.sheets.handover import handover
from slackwater.report.sheets.incident import incident
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.patient import explain, home
from slackwater.report.sheets.removal import removal
from slackwater.report.sheets.sheet import Print, Sheet
from slackwater.report.sheets.summary import summary
from slackwater.report.sheets.transfer import transfer
from slackwater.report.times import dated

KINDS: dict[str, tuple[str, Callable[[Material], Sheet]]] = {
    "handover": ("Handover: what changed, what is open, what is not recorded", handover),
    "summary": ("Drain summary: the whole course on one page, its evidence on the next", summary),
    "removal": ("Removal record", removal),
    "transfer": ("Trip: suction, charge, and what to do if suction is lost", transfer),
    "home": ("Home with a drain, for the patient", home),
    "incident": ("Incident timeline: two hours either side of a moment", incident),
    "explain": ("Explanation for the patient, in large print", explain),
}
"""Name -> (what it is, how it is made). The checklist is made of nothing: `print_checklist`."""


def sheet(name: str, of: Material) -> Sheet:
    return KINDS[name][1](of)


def print_one(one: Sheet, printed_ms: int, zone: tzinfo) -> Print:
    return Print(f"{one.title}, {one.frame.drain}", dated(printed_ms, zone), (one,), made_by())


def print_many(title: str, sheets: Sequence[Sheet], printed_ms: int, zone: tzinfo) -> Print:
    """Several drains to a page, each under its own name."""
    return Print(title, dated(printed_ms, zone), tuple(sheets), made_by(), many=True)


def print_checklist(printed_ms: int, zone: tzinfo) -> Print:
    one = checklist()
    return Print(one.title, dated(printed_ms, zone), (one,), made_by())


def made_by() -> str:
    return f"slackwater {__version__}"
