"""Practice on a terminal: the drain as known so far, the answer with its truth, and where confidence and skill part."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from typing import Any

from slackwater.assessment.assessment import Assessment
from slackwater.cli.view.lanes import lanes
from slackwater.report.times import shown
from slackwater.teach.draw import Drawn
from slackwater.teach.exercise import Kind
from slackwater.teach.lesson import Lesson
from slackwater.teach.score import Skill
from slackwater.teach.timetable import Due
from slackwater.teach.told import (
    BANNER,
    CAUTION,
    asked_rows,
    charge_says,
    chart_rows,
    rows_first,
    rule_says,
    truth_says,
    whose,
)

WIDE = 92


def asked_text(drawn: Drawn, moment: int, found: Assessment, zone: tzinfo) -> str:
    """The drain at that moment, as recorded and not judged; then the question and its answers."""
    one, at = drawn.exercise, drawn.moments_ms[moment]
    staff = drawn.case.told[moment] if drawn.case.told else ""
    lines = [
        BANNER, "", f"{one.title} ({one.name}, draw {drawn.draw})",
        f"Moment {moment + 1} of {len(drawn.moments_ms)}: {shown(at, zone)}",
        *_wrapped(whose(found)), *_wrapped(one.told), *_wrapped(staff), *_wrapped(charge_says(drawn, moment)),
        *_wrapped(rule_says(one)), "", *lanes(found, zone, judged=False), *_suction(found), "",
        *_chart(found, one.kind, zone), "", one.kind.question,
    ]  # fmt: skip
    lines += [
        f"  {number}  {words}  [{name}]" for number, (name, words) in enumerate(one.kind.answers.items(), start=1)
    ]
    return "\n".join(lines)


def told_text(drawn: Drawn, lesson: Lesson, zone: tzinfo) -> str:
    """Right or wrong, the truth with its reason, and where the trace shows it."""
    answers = drawn.exercise.kind.answers
    first, last = drawn.evidence_ms
    head = "Right" if lesson.right else "Not so"
    lines = [
        "", f"{head}: {answers[lesson.truth]}", f"You said: {answers[lesson.answer]} ({lesson.confidence:g} % sure)",
        "",
        *_wrapped(drawn.case.why), *_wrapped(f"The trace shows it from {shown(first, zone)} to {shown(last, zone)}."),
        *_wrapped(truth_says(drawn.stay, drawn.facts(lesson.moment).minute)), "", *_wrapped(CAUTION),
    ]  # fmt: skip
    return "\n".join(lines)


def list_text(due: Sequence[Due], now_ms: int, zone: tzinfo) -> str:
    """Every exercise, the one to do next first."""
    lines = [BANNER, ""]
    for one in due:
        when = "new" if one.due_ms is None else "due now" if one.now(now_ms) else f"due {shown(one.due_ms, zone)}"
        lines.append(f"{one.exercise.name:<22} {one.exercise.kind.title:<34} {when}")
    return "\n".join([*lines, "", "Try one:  slackwater teach run NAME"])


def score_text(found: Sequence[Skill], standings: Mapping[str, str]) -> str:
    """By kind: right, how sure, and where the two part."""
    lines = [
        f"{'':<34} {'right':>9} {'95 % interval':>15} {'sure':>6} {'Brier':>6} {'kappa':>6}   confidence and skill"
    ]
    for one in found:
        name = "all kinds" if one.kind is None else one.kind.title
        interval = one.came.interval
        between = "" if interval is None else f"{100 * interval[0]:.0f} to {100 * interval[1]:.0f} %"
        kappa = None if one.agreement is None else one.agreement.value
        lines.append(
            f"{name:<34} {f'{one.came.right} of {one.came.n}':>9} {between:>15} {_percent(one.told):>6} "
            f"{_two(one.brier):>6} {_two(kappa):>6}   {one.says}"
        )
    for name, words in standings.items():
        lines.append(f"{name}: {words}")
    return "\n".join(lines)


def skill_dict(one: Skill) -> dict[str, Any]:
    """One kind's figures; null is 'cannot be told'."""
    interval, kappa = one.came.interval, one.agreement
    return {
        "kind": None if one.kind is None else one.kind.name, "answers": one.came.n, "right": one.came.right,
        "right_interval": None if interval is None else [round(end, 4) for end in interval],
        "confidence_percent": one.told, "surer_by_points": one.gap, "brier": one.brier,
        "kappa": None if kappa is None else {"value": kappa.value, "low": kappa.low, "high": kappa.high,
                                             "weights": one.weights},
        "says": one.says,
        "bands": [
            {"from_percent": band.low, "to_percent": band.high, "told_percent": band.told, "right": band.came.right,
             "answers": band.came.n} for band in one.bands
        ],
    }  # fmt: skip


def _chart(found: Assessment, kind: Kind, zone: tzinfo) -> list[str]:
    every = chart_rows(found)
    asked = asked_rows(every, kind)
    if asked is not None and asked.lines:
        wide = [max(len(item), *(len(cells[k]) for _, cells in asked.lines)) for k, item in enumerate(asked.items)]
        told = [("time", asked.items), *((shown(at, zone), cells) for at, cells in asked.lines)]
        return ["Charted of what is asked, the latest first:"] + [
            f"  {at:<17}  {'  '.join(f'{cell:<{w}}' for cell, w in zip(cells, wide, strict=True))}".rstrip()
            for at, cells in told
        ]
    rows = rows_first(every)
    lines = [f"Charted lately (the newest {len(rows)}):"] if rows else ["Nothing is charted."]
    return lines + [
        f"  {shown(row.time_ms, zone)}  {row.item}: {row.value}{f' ({row.note})' if row.note else ''}" for row in rows
    ]


def _suction(found: Assessment) -> list[str]:
    """Suction and swing over the last stretches, in words."""
    leak = found.leak_trace
    if leak is None:
        return []
    m, out = leak.minutes, []
    for words, back in (("three hours ago", 180), ("one hour ago", 60), ("now", 0)):
        end = len(m) - back
        pressure, swing = m.pressure[max(0, end - 15) : max(0, end)], leak.breath.swing[max(0, end - 15) : max(0, end)]
        if len(pressure):
            out.append(f"{words}: suction {_mean(pressure)} cmH2O, swing {_mean(swing)}")
    return [f"{'':>12}{'; '.join(out)}"]


def _mean(values: Any) -> str:
    known = values[values == values]
    return f"{known.mean() + 0.0:.1f}" if len(known) else "not recorded"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDE) if text else []


def _percent(value: float | None) -> str:
    return "" if value is None else f"{value:.0f} %"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"
