"""The patient's other drains, in one line: what is true of one tube is not true of another."""

from __future__ import annotations

import json

from slackwater.report.sheets.material import Material
from slackwater.store.course import Course
from slackwater.store.rows import Thing


def others(of: Material) -> str:
    """Those that are in beside this one, and what they share with it; '' where none is known."""
    told = _of_files(of) if of.course is None else _of_record(of, of.course)
    if not told:
        return ""
    drains = "1 other drain" if len(told) == 1 else f"{len(told)} other drains"
    known = f"{drains}; whether still in is not recorded" if of.course is None else f"{drains} in"
    return f"This patient has {known}: {' / '.join(told)}."


def _of_files(of: Material) -> list[str]:
    one = of.episode
    known = dict.fromkeys((*one.other_drains, *one.shares_unit_with, *one.shares_space_with))
    return [
        number + _shared(number in one.shares_unit_with, number in one.shares_space_with) for number in sorted(known)
    ]


def _of_record(of: Material, course: Course) -> list[str]:
    gone = {one["drain"] for one in course.other_removals if one["time_ms"] <= of.now_ms}
    told = []
    for other in course.other_drains:
        since = other["connected_ms"]
        if other.key in gone or (since is not None and since > of.now_ms):
            continue
        kind, side = course.sides.get(other["space"], (None, None))
        place = ", ".join((
            other["number"], side or "side not recorded", *([kind] if kind else []),
            other["site"] or "site not recorded",
        ))  # fmt: skip
        same = other["space"] == course.space.key or other["number"] in of.episode.shares_space_with
        told.append(place + _shared(_joined(course, other, of.now_ms), same))
    return told


def _shared(unit: bool, space: bool) -> str:
    return ("; joined to this unit" if unit else "") + ("; in the same space" if space else "")


def _joined(course: Course, other: Thing, now_ms: int) -> bool:
    """By what was told of either, or by the pairings that stand then."""
    units = {
        drain: {
            one["unit"]
            for one in course.pairings
            if one["drain"] == drain and one["from_ms"] <= now_ms and (one["to_ms"] is None or one["to_ms"] >= now_ms)
        }
        for drain in (course.drain.key, other.key)
    }
    told = _names(course.drain, other) or _names(other, course.drain)
    return told or bool(units[course.drain.key] & units[other.key])


def _names(one: Thing, other: Thing) -> bool:
    text = one["shares_unit_with"]
    return text is not None and other["number"] in json.loads(text)
