"""What a page of practice shows, worked out away from the pages: the drain as known at a moment, then its truth.

While an exercise is asked, nothing that the tool concludes is in the picture: no state, no doubt, no run below limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from slackwater.report.marks import RECORD
from slackwater.report.pack import hourly_table, packed, picture_sentence
from slackwater.report.sentences import leak_sentence, rule_sentence
from slackwater.report.times import between, shown
from slackwater.simulate.zone import zone_of
from slackwater.teach.bench import START, Bench, bench
from slackwater.teach.draw import Drawn, draw
from slackwater.teach.exercise import Exercise
from slackwater.teach.told import (
    Asked,
    ChartRow,
    asked_rows,
    charge_says,
    chart_rows,
    rows_first,
    rule_says,
    truth_says,
    whose,
)
from slackwater.web.judges import as_json

CONCLUDED = (2, 6)  # columns of the hourly table that hold what is concluded: state, and why it cannot be told
ASKED = "Not judged here: that is the exercise."
KEPT = 8  # draws that the simulator's process remembers
NO_STATE = "3"  # none of leak.words.STATES: the picture then draws none


_kept: dict[tuple[str, str, int], Drawn] = {}


@dataclass(frozen=True)
class Sheet:
    """Everything of one moment. asked: the charted rows that the question is about, their head first; lately: the
    newest of drain and fluid. picture: JSON for the lanes. hours: table by the hour, its head first.
    """

    moment: int
    moments: int
    at: str
    whose: str
    staff: str
    charge: str
    rule: str
    asked: tuple[tuple[str, ...], ...]
    lately: tuple[tuple[str, ChartRow], ...]
    chart: tuple[tuple[str, ChartRow], ...]
    picture: str
    hours: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Revealed:
    """The same, judged, with the truth and where the trace shows it."""

    sheet: Sheet
    says: str
    truth: str
    why: str
    evidence_ms: tuple[int, int]
    evidence: str
    concluded: tuple[str, ...]


@dataclass(frozen=True)
class BenchSheet:
    """The bench after its deeds."""

    deeds: tuple[str, ...]
    on: frozenset[str]
    minute: int
    left_min: int
    suction: str
    leak: str
    concluded: str
    truth: str
    says: str
    picture: str
    hours: tuple[tuple[str, ...], ...]


def warm() -> None:
    """Load all that an exercise needs, when somebody opens the list: so the first one need not wait."""
    at_bench(START)


def asked(exercise: Exercise, number: int, moment: int) -> Sheet:
    """The drain at that moment, as recorded and not judged."""
    return _sheet(_drawn(exercise, number), moment, judged=False)


def truth_of(exercise: Exercise, number: int, moment: int) -> str:
    return _drawn(exercise, number).truth(moment)


def revealed(exercise: Exercise, number: int, moment: int) -> Revealed:
    """After the answer: the whole story up to the last moment, what the tool concludes, and what was truly so."""
    drawn = _drawn(exercise, number)
    last = len(drawn.moments_ms) - 1
    found, zone = drawn.known_at(last), zone_of(drawn.stay.scenario.zone)
    concluded = [leak_sentence(found, zone)]
    if found.overall is not None:
        concluded.append(rule_sentence(found, zone))
    return Revealed(
        _sheet(drawn, last, judged=True), picture_sentence(found, zone),
        truth_says(drawn.stay, drawn.facts(moment).minute), drawn.case.why, drawn.evidence_ms,
        between(*drawn.evidence_ms, zone), tuple(concluded),
    )  # fmt: skip


def at_bench(deeds: tuple[str, ...]) -> BenchSheet:
    """What the trace does, what is concluded of it, and what is truly so."""
    one = bench(deeds)
    found, zone = one.found(), zone_of(one.stay.scenario.zone)
    return BenchSheet(
        one.deeds, one.on, one.minute, one.left_min, _last(one, "suction:"), _last(one, "leak:"),
        leak_sentence(found, zone), one.truth, picture_sentence(found, zone), as_json(packed(found, zone)),
        hourly_table(found, zone),
    )  # fmt: skip


def _last(one: Bench, deed: str) -> str:
    return next((each.removeprefix(deed) for each in reversed(one.deeds) if each.startswith(deed)), "")


def _drawn(exercise: Exercise, number: int) -> Drawn:
    """The draw, simulated once for its moments, its answer and its truth."""
    key = (exercise.name, exercise.sha256, number)
    if key not in _kept:
        while len(_kept) >= KEPT:
            del _kept[next(iter(_kept))]
        _kept[key] = draw(exercise, number)
    return _kept[key]


def _sheet(drawn: Drawn, moment: int, *, judged: bool) -> Sheet:
    found, zone = drawn.known_at(moment), zone_of(drawn.stay.scenario.zone)
    picture = packed(found, zone)
    rows = chart_rows(found)
    return Sheet(
        moment, len(drawn.moments_ms), shown(drawn.moments_ms[moment], zone), whose(found),
        drawn.case.told[moment] if drawn.case.told else "", charge_says(drawn, moment),
        rule_says(drawn.exercise), _table(asked_rows(rows, drawn.exercise.kind), zone), _timed(rows_first(rows), zone),
        _timed(rows, zone),
        as_json(picture if judged else as_recorded(picture)),
        tuple(row if judged else _recorded_row(row) for row in hourly_table(found, zone)),
    )  # fmt: skip


def _timed(rows: tuple[ChartRow, ...], zone: tzinfo) -> tuple[tuple[str, ChartRow], ...]:
    return tuple((shown(row.time_ms, zone), row) for row in rows)


def _table(told: Asked | None, zone: tzinfo) -> tuple[tuple[str, ...], ...]:
    if told is None:
        return ()
    return (("time", *told.items), *((shown(at, zone), *cells) for at, cells in told.lines))


def as_recorded(picture: dict[str, Any]) -> dict[str, Any]:
    """The picture's data without anything that is concluded."""
    minutes = dict(picture["minutes"])
    minutes |= dict.fromkeys(("low", "mid", "high", "open"))
    minutes |= {"state": NO_STATE * minutes["count"], "reason": "0" * minutes["count"]}
    events = [one for one in picture["events"] if one["kind"] != RECORD]
    return picture | {"minutes": minutes, "events": events, "runs": [], "not_judged": ASKED}


def _recorded_row(row: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(cell for k, cell in enumerate(row) if k not in CONCLUDED)
