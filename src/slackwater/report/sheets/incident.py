"""What happened about one moment: two hours either side of it, and the hashes by which it can be checked.

Looking back on purpose: what came after the moment is in it, and it says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from slackwater.quantities.spans import HOUR_MS, MINUTE_MS, format_span
from slackwater.report.record import record_lines
from slackwater.report.round_facts import signed
from slackwater.report.sheets import picture
from slackwater.report.sheets.frame import frame, moment
from slackwater.report.sheets.lately import Happened, happened_between, leak_between
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import (
    Blanks,
    Bullets,
    Fact,
    Facts,
    Part,
    Picture,
    Section,
    Sheet,
    Table,
    Words,
)
from slackwater.report.sheets.summary import KEY
from slackwater.report.times import exactly, twice
from slackwater.report.words import NOT_RECORDED
from slackwater.store.history import Line

EITHER_SIDE_MS = 2 * HOUR_MS
MOST_NUMBERED = 20
QUARTER_MS = 15 * MINUTE_MS
CHECK = "Check the moment, its day and its zone."
_REPORT = ("What the patient felt and showed", "What was done first", "Harm, by local scale", "Reported by")


def incident(of: Material) -> Sheet:
    """`of.moment_ms`: the moment; `of.as_of_ms`: its end, two hours later, or as far as is recorded."""
    assert of.moment_ms is not None
    first, last = of.moment_ms - EITHER_SIDE_MS, min(of.moment_ms + EITHER_SIDE_MS, of.as_of_ms)
    apart = twice(first, last, of.zone)
    told = together(happened_between(of, first, last))
    says = (
        f"Looking back, on purpose with what came later: {moment(first, of)} to {moment(last, of)}, "
        f"about {moment(of.moment_ms, of)}."
    )
    rows = [
        (str(number), exactly(one.at_ms, of.zone, apart), one.what, one.by or NOT_RECORDED, one.source)
        for number, one in enumerate(told, 1)
    ]
    empty = not rows
    before = sum(one.at_ms < of.moment_ms for one in told)
    rows.insert(before, ("►", exactly(of.moment_ms, of.zone, apart), "The moment that this sheet is about.", "", ""))
    head = ("no.", "when", "what", "by", "from")
    line: Part = Table("In order of time; what nobody wrote is not here.", head, tuple(rows), (1, 4, 14, 3, 2))
    if empty:
        line = Words(("Nothing was written for these hours.",))
    unit = Fact("Suction unit", unit_then(of, first, last))
    files = ("Nothing was read.",) if of.found is None else record_lines(of.found)
    far = beyond(of, first, last)
    if not far and last - of.moment_ms < EITHER_SIDE_MS:
        says += " The two hours after it are not over, or were not asked for: print it again then."
    return Sheet(
        "incident", "Incident timeline", frame(of),
        (
            Section("About", (Words((far, says) if far else (says,), strong=True), Facts((unit,)))),
            Section("Picture", _picture(of, first, last, [one.at_ms for one in told[:MOST_NUMBERED]])),
            Section("What was done, seen, ordered and written", (line,)),
            Section("By the quarter of an hour", (_quarters(of, first, last),)),
            *_ledger(of, first, last),
            Section("Files it rests on", (Bullets(files),)),
            Section("For the report", (Blanks(_REPORT, 2),)),
        ),
        doubtful=of.found is None or of.found.doubtful or bool(far), warned=far,
    )  # fmt: skip


def beyond(of: Material, first: int, last: int) -> str:
    """That the log says nothing of these hours, and where it lies instead; '' where it says something of them."""
    assert of.moment_ms is not None
    found, course = of.found, of.course
    if found is None:
        return ""
    if found.leak_trace is None or found.data_until_ms is None:
        charted_alone = found.chart.read > 0 and (course is None or not course.logged)
        return "" if charted_alone else f"Nothing was logged by then: the log begins later. {CHECK}"
    minutes = found.leak_trace.minutes
    known = np.flatnonzero(np.isfinite(minutes.flow_max) | np.isfinite(minutes.pressure))
    if not len(known):
        return ""
    begin, end = (minutes.start_ms + (int(known[at]) + plus) * MINUTE_MS for at, plus in ((0, 0), (-1, 1)))
    inside = minutes.start_ms + known * MINUTE_MS
    if ((inside + MINUTE_MS > first) & (inside < last)).any():
        return ""
    if of.moment_ms < begin:
        where = f"its first reading is {format_span((begin - of.moment_ms) // 1000)} after it, at {moment(begin, of)}"
    elif of.moment_ms > end:
        where = f"its last reading is {format_span((of.moment_ms - end) // 1000)} before it, at {moment(end, of)}"
    else:
        where = "it has a gap there"
    return f"The log says nothing of these hours: {where}. {CHECK}"


def together(told: Sequence[Happened]) -> tuple[Happened, ...]:
    """What one hand wrote for one minute, as one line."""
    grouped: dict[tuple[int, str, str], list[Happened]] = {}
    for one in told:
        grouped.setdefault((one.at_ms // MINUTE_MS, one.by, one.source), []).append(one)
    return tuple(replace(some[0], what="; ".join(one.what for one in some)) for some in grouped.values())


def unit_then(of: Material, first: int, last: int) -> str:
    """Serial numbers of the units that served this drain in these hours."""
    if of.course is not None:
        mine = [
            of.beside.serials.get(one["unit"], "without a serial number")
            for one in of.course.pairings
            if one["drain"] == of.course.drain.key
            and one["from_ms"] <= last
            and (one["to_ms"] is None or one["to_ms"] >= first)
        ]
        return ", ".join(dict.fromkeys(mine)) or NOT_RECORDED
    trace = None if of.found is None else of.found.trace
    serials = [serial for log in (trace.logs if trace is not None else ()) for serial in log.serials]
    return ", ".join(dict.fromkeys(serials)) or NOT_RECORDED


def _picture(of: Material, first: int, last: int, numbered: list[int]) -> tuple[Part, ...]:
    if of.found is None:
        return (Words(("No log and no chart: there is nothing to draw.",)),)
    apart = twice(first, last, of.zone)
    ends = f"{exactly(first, of.zone, apart)} to {exactly(last, of.zone, apart)}"
    said = f"{ends}: {leak_between(of, first, last)}."
    svg = picture.drawing(of.found, of.zone, first, last, numbered, of.moment_ms)
    return (Picture(svg, said), Words((KEY,)))


def _quarters(of: Material, first: int, last: int) -> Table:
    """Smallest to largest of what was recorded: air, pressure, the unit's setting."""
    rows, apart = [], twice(first, last, of.zone)
    begin = first // QUARTER_MS * QUARTER_MS
    while begin < last:
        about = of.moment_ms is not None and begin <= of.moment_ms < begin + QUARTER_MS
        name = exactly(begin, of.zone, apart)
        rows.append((f"► {name}, the moment in it" if about else name, *_quarter(of, begin, begin + QUARTER_MS)))
        begin += QUARTER_MS
    head = ("from", "air leak, mL/min", "pressure, cmH2O", "set, cmH2O")
    return Table("Smallest to largest reading of each quarter.", head, tuple(rows), (3, 4, 4, 3))


def _quarter(of: Material, begin: int, end: int) -> tuple[str, str, str]:
    leak = None if of.found is None else of.found.leak_trace
    if leak is None:
        return "no log", "no log", "no log"
    first = max(0, (begin - leak.minutes.start_ms) // MINUTE_MS)
    part = slice(first, max(first, (end - leak.minutes.start_ms) // MINUTE_MS))
    minutes = leak.minutes
    return (
        _range(minutes.flow_min[part], minutes.flow_max[part], 0),
        _range(minutes.pressure_min[part], minutes.pressure_max[part], 1),
        _range(minutes.set_suction[part], minutes.set_suction[part], 1),
    )


def _range(lows: NDArray[np.float64], highs: NDArray[np.float64], places: int) -> str:
    low, high = lows[np.isfinite(lows)], highs[np.isfinite(highs)]
    if not len(low) or not len(high):
        return NOT_RECORDED
    a, b = (signed(float(one)) if places else f"{one:.0f}" for one in (low.min(), high.max()))
    return a if a == b else f"{a} to {b}"


def _ledger(of: Material, first: int, last: int) -> tuple[Section, ...]:
    """The record's acts in these hours, each with its hash; and its head."""
    if of.course is None:
        files = "Made from files, not from the record: no act of a ledger stands behind it. Their hashes are below."
        return (Section("Acts of the record", (Words((files,)),)),)
    inside = [(act, hash_) for act, hash_ in of.beside.acts if first <= act.at_ms <= last]
    head = of.beside.head
    check = (
        "The record is empty." if head is None else
        f"Head of the record when this was printed: act {head[0]}, hash {head[1]}. Check it: slackwater verify."
    )  # fmt: skip
    apart = twice(first, last, of.zone)
    rows = tuple((str(act.seq), exactly(act.at_ms, of.zone, apart), act.by, _what(act), hash_) for act, hash_ in inside)
    table: Part = Table("Acts on this drain recorded in these hours, with the whole hash of each.",
                        ("act", "recorded", "by", "what", "hash"), rows, (2, 4, 3, 9, 9))  # fmt: skip
    if not rows:
        table = Words((f"None of the record's {len(of.beside.acts)} acts on this drain was recorded in these hours.",))
    return (Section("Acts of the record", (table, Words((check,)))),)


def _what(act: Line) -> str:
    counts = [f"{n} × {noun} entered" for noun, n in act.new.items()]
    counts += [f"{n} × {noun} taken back" for noun, n in act.taken_back.items()]
    counts += [f"{noun}: {name} corrected" for noun, name, _, _ in act.corrected]
    return "; ".join([act.what + (f" ({act.why})" if act.why else ""), *counts])
