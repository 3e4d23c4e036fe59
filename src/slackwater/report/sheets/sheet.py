"""A sheet as a value: words only, in the order in which they are read. Both PDF and HTML are set from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from slackwater.assessment.cautions import Caution


@dataclass(frozen=True)
class Fact:
    """A label and what is known of it; `mark` (a sign, never a tone) where it asks to be looked at.

    blank: a line to write on stands beside it.
    """

    label: str
    text: str
    mark: str = ""
    blank: bool = False

    kind = "fact"


@dataclass(frozen=True)
class Facts:
    rows: tuple[Fact, ...]

    kind = "facts"


@dataclass(frozen=True)
class Words:
    """Sentences, one a paragraph; `strong` ones are boxed."""

    lines: tuple[str, ...]
    strong: bool = False

    kind = "words"


@dataclass(frozen=True)
class Bullets:
    lines: tuple[str, ...]

    kind = "bullets"


@dataclass(frozen=True)
class Table:
    """`head` names the columns; `wide`: how much room each takes, as parts of the whole. `says`: what it is.

    form: with lines between the columns, to be filled in by hand.
    """

    says: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: tuple[int, ...]
    form: bool = False

    kind = "table"


@dataclass(frozen=True)
class Picture:
    """A drawing, and the sentence that says the same to whoever cannot see it."""

    svg: str
    says: str

    kind = "picture"


@dataclass(frozen=True)
class Blanks:
    """To be written by hand: each label with a line after it. `lines`: how many for each; 0: all side by side."""

    labels: tuple[str, ...]
    lines: int = 1

    kind = "blanks"


@dataclass(frozen=True)
class Boxes:
    """To be ticked by hand."""

    lines: tuple[str, ...]

    kind = "boxes"


Part = Facts | Words | Bullets | Table | Picture | Blanks | Boxes


@dataclass(frozen=True)
class Section:
    """A head, and what stands under it; `fresh`: on a new page."""

    head: str
    parts: tuple[Part, ...]
    fresh: bool = False


@dataclass(frozen=True)
class Frame:
    """What stands on every page. `every`: cautions of each page; `first`: those of the first one alone."""

    drain: str
    place: str  # ward and bed; '' where nobody asks
    data: str
    rule: str
    status: str  # of the rule, where it is not approved; else ''
    every: tuple[Caution, ...]
    first: tuple[Caution, ...]
    short: str = ""  # the drain for the head of a page, where a long label has to be shortened
    others: str = ""  # the patient's other drains


@dataclass(frozen=True)
class Sheet:
    """One sheet of one drain. `large`: large print, for a patient. `doubtful`: something in it cannot be told.

    warned: what whoever asks for it should know before it is printed; else ''.
    """

    name: str
    title: str
    frame: Frame
    sections: tuple[Section, ...]
    large: bool = False
    doubtful: bool = False
    warned: str = ""


@dataclass(frozen=True)
class Print:
    """What is printed in one go: one sheet, or those of many drains, several to a page (`many`)."""

    title: str
    printed: str
    sheets: tuple[Sheet, ...]
    made_by: str
    many: bool = False
    note: str = ""  # what this print could not show


def as_data(of: Print) -> dict[str, Any]:
    """The print as plain dictionaries and lists, for the templates."""
    return {
        "title": of.title, "printed": of.printed, "made_by": of.made_by, "many": of.many, "note": of.note,
        "large": any(one.large for one in of.sheets), "sheets": [_sheet(one) for one in of.sheets],
    }  # fmt: skip


def _sheet(of: Sheet) -> dict[str, Any]:
    frame = of.frame
    return {
        "name": of.name, "title": of.title, "large": of.large,
        "frame": {
            "drain": frame.drain, "place": frame.place, "data": frame.data, "rule": frame.rule, "status": frame.status,
            "brief": brief(frame.short or frame.drain, 180), "brief_place": brief(frame.place, 90),
            "others": frame.others, "brief_rule": brief(frame.rule, 100),
            "every": [{"id": one.id, "text": brief(one.text, 320)} for one in frame.every],
            "first": [vars(one) for one in frame.first],
        },
        "sections": [
            {"head": part.head, "fresh": part.fresh, "parts": [_part(inner) for inner in part.parts]}
            for part in of.sections
        ],
    }  # fmt: skip


def brief(text: str, most: int) -> str:
    """What has no more room on every page; the sheet's own text has it whole."""
    return text if len(text) <= most else text[:most].rstrip() + " … (cut here)"


def _part(part: Part) -> dict[str, Any]:
    told = {name: list(value) if isinstance(value, tuple) else value for name, value in vars(part).items()}
    if isinstance(part, Facts):
        told["rows"] = [vars(row) for row in part.rows]
    return {"kind": part.kind, **told}
