"""What papers call a prolonged air leak: their definitions as data, and one leak held against one of them.

They differ (five days, seven days, with a cap), so a definition travels with every rate, and leaks judged by two of
them are never pooled.
"""

from __future__ import annotations

from dataclasses import dataclass

_MS_PER_H = 3_600_000


@dataclass(frozen=True)
class Definition:
    """One paper's meaning of 'prolonged'.

    The papers count postoperative days; that the clock starts when the operation ends, and not at a log's first row,
    is our reading of that.
    """

    text: str
    limit_h: float | None  # None: not seen
    source: str
    clock_from: str = "end of operation"
    at_least: bool = False  # True: the limit itself counts
    also: str = ""  # what must hold besides, and hours alone do not show
    capped_h: float | None = None  # a leak still there at the limit is reported as so many hours


OVER_5_DAYS = Definition(
    "air leak longer than 5 days (>5 days)", 5 * 24,
    "Society of Thoracic Surgeons' database, as Attaar, Ann Surg 2021;273:163-172 states it (read)",
)  # fmt: skip
OVER_7_DAYS = Definition(
    "air leak longer than 7 days (>7 days)", 7 * 24,
    "Rivera, Ann Thorac Surg 2011;92:1062-8, doi 10.1016/j.athoracsur.2011.04.033 (abstract read)",
)  # fmt: skip
OVER_7_DAYS_IN_HOSPITAL = Definition(
    "air leak longer than 7 days (>7 days) that needs the hospital", 7 * 24,
    "Gilbert, Ann Thorac Surg 2016;102:1674-9, doi 10.1016/j.athoracsur.2016.05.035 (abstract read)",
    also="needs the hospital",
)  # fmt: skip
OVER_168_H_CAPPED = Definition(
    "air leak longer than 168 h, reported as 192 h", 168,
    "Brunelli, Eur J Cardiothorac Surg 2013;43:899-904, doi 10.1093/ejcts/ezs518 (read)",
    capped_h=192,
)  # fmt: skip
FIVE_DAYS_ABOVE_20 = Definition(
    "air leak above 20 mL/min for at least 5 days", 5 * 24,
    "Takamochi, Ann Thorac Surg 2017 (read in part)",
    at_least=True,
)  # fmt: skip
DAYS_NOT_SEEN = Definition(
    "prolonged air leak; over how many days was not seen", None,
    "Lee, J Am Coll Surg 2011 (abstract read; it does not say)",
)  # fmt: skip

DEFINITIONS = (
    OVER_5_DAYS, OVER_7_DAYS, OVER_7_DAYS_IN_HOSPITAL, OVER_168_H_CAPPED, FIVE_DAYS_ABOVE_20, DAYS_NOT_SEEN,
)  # fmt: skip


@dataclass(frozen=True)
class Lasted:
    """How long a leak lasted by one definition. `prolonged` None: cannot tell."""

    definition: Definition
    hours: float | None
    prolonged: bool | None
    reported_h: float | None
    censored: bool  # True: the leak outlasted what is reported


def hours_after_operation(operation_end_ms: int | None, until_ms: int | None) -> float | None:
    """Hours from the end of the operation to a later instant (UTC ms); None if either is not known. [h]

    >>> hours_after_operation(0, 119 * 3_600_000)
    119.0
    >>> hours_after_operation(None, 119 * 3_600_000) is None
    True
    """
    if operation_end_ms is None or until_ms is None:
        return None
    return (until_ms - operation_end_ms) / _MS_PER_H


def lasted(hours: float | None, definition: Definition, *, ended: bool) -> Lasted:
    """Hold a leak, seen for so many hours from the end of the operation, against a definition.

    `ended` False: it still leaked when last looked at (or left with a drain, or died), so the hours are a lower bound.

    >>> lasted(121, OVER_5_DAYS, ended=True).prolonged, lasted(121, OVER_7_DAYS, ended=True).prolonged
    (True, False)
    >>> lasted(100, OVER_5_DAYS, ended=False).prolonged is None
    True
    >>> still = lasted(168, OVER_168_H_CAPPED, ended=False)
    >>> still.reported_h, still.censored
    (192, True)
    """
    limit = definition.limit_h
    if hours is None or limit is None:
        return Lasted(definition, hours, None, hours, not ended)
    over = hours > limit or (hours == limit and (definition.at_least or not ended))
    if over and definition.capped_h is not None:
        return Lasted(definition, hours, True, definition.capped_h, True)
    if over:
        prolonged = None if definition.also else True
    else:
        prolonged = False if ended else None
    return Lasted(definition, hours, prolonged, hours, not ended)
