"""The record as lines for a person; as JSON: store/course_json.py."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from slackwater.store.course import Course
    from slackwater.store.history import Line
    from slackwater.store.listing import Listed
    from slackwater.store.live import Sent
    from slackwater.store.rows import Thing
    from slackwater.store.take_in import Taken

SUPPORT = "It supports decisions; clinicians and local policy decide. Confirm patient, side and site at the bedside."
_SHA256 = 64  # hex digits


# --- what an import did ---------------------------------------------------------------------------


def taken_dict(one: Taken) -> dict[str, Any]:
    return {
        "drain": one.drain, "name": one.name, "new_drain": one.new_drain, "new_logs": one.logs,
        "same_logs": one.same_logs, "new_entries": one.entries, "same_entries": one.same_entries, "rows": one.rows,
        "notes": list(one.notes),
    }  # fmt: skip


def taken_text(done: Sequence[Taken], place: str) -> str:
    lines = []
    for one in done:
        new, same = _logs_and_rows(one.logs, one.entries), _logs_and_rows(one.same_logs, one.same_entries)
        what = f"added {new}" if new else "changed" if one.rows else "nothing new"
        if one.new_drain:
            what = f"new drain: {new or 'nothing logged or charted yet'}"
        lines.append(f"{_plain(one.name)}  {one.drain[:8]}  {what}" + (f"; there already: {same}" if same else ""))
        lines += [f"    look at this: {_plain(note)}" for note in one.notes]
    return "\n".join([*lines, f"record: {place}"])


def _logs_and_rows(logs: int, rows: int) -> str:
    return ", ".join(_counted(count, noun) for count, noun in ((logs, "log"), (rows, "entry")) if count)


# --- the drains, one line each --------------------------------------------------------------------


def list_text(found: Sequence[Listed], everything: bool, zone: tzinfo) -> str:
    if not found:
        return "the record holds no drain yet" if everything else "no drain is in (--all lists those that are out too)"
    table = [{
        "drain": one.name,
        "key": one.key[:8],
        "ward, bed": ", ".join(word for word in (one.ward, one.bed) if word) or "not recorded",
        "where": " ".join(word for word in (one.side, one.space, one.site) if word) or "not recorded",
        "connected": _short(one.connected_ms, zone),
        "out": "in" if one.removed_ms is None else f"{_short(one.removed_ms, zone)} {one.removal}",
        "logs until": _until(one, zone),
        "chart rows": str(one.entries),
        "rule": one.protocol or "none pinned",
    } for one in found]  # fmt: skip
    heads = [head for head in table[0] if everything or head != "out"]
    rows = [heads, *([_plain(row[head]) for head in heads] for row in table)]
    wide = [max(len(row[column]) for row in rows) for column in range(len(heads))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, wide, strict=True)).rstrip() for row in rows]
    return "\n".join([*lines, "", f"Times are those of {zone}. {SUPPORT}"])


def _until(one: Listed, zone: tzinfo) -> str:
    if one.sent_until_ms is not None and one.sent_until_ms >= (one.log_until_ms or 0):
        return f"{_short(one.sent_until_ms, zone)} (sent live)"
    return _short(one.log_until_ms, zone) if one.logs else "no log"


# --- one drain ------------------------------------------------------------------------------------


def course_lines(
    course: Course, history: Sequence[Line], rule: Thing | None, serials: Mapping[str, str], sent: Sequence[Sent],
    zone: tzinfo,
) -> str:  # fmt: skip
    """What a person looks for first: whose, what for, what is open; then who entered what."""
    from slackwater.store.course import own_pairings

    drain, space, stay, goal = course.drain, course.space, course.episode, course.goal
    where = " ".join(word for word in (space["side"], space["kind"], drain["site"]) if word) or "place not recorded"
    lines = [
        f"{course.name}  drain {drain.key[:8]}  {where}",
        _line("ward, bed", ", ".join(stay[name] or f"{name} not recorded" for name in ("ward", "bed"))),
        _line("connected", _at(drain["connected_ms"], zone)),
        _line("out", _out(course, zone)),
        _line("stay", _stay(stay)),
        _line("goal", goal["text"] if goal is not None and goal["text"] else "not recorded"),
        _line("rule", _rule(rule)),
        _line("logs", _logs(course, zone)),
        *(_line("sent live", _sent(one, zone)) for one in sent),
        _line("chart rows", str(len(course.entries))),
    ]
    for pairing in own_pairings(course):
        lines.append(_line("unit", f"{serials.get(pairing['unit'])}, {_times(pairing, zone)}"))
    for heading, things, words in (
        ("order", course.orders, ("kind", "level", "unit", "reason")),
        ("hold", course.holds, ("reason", "note")),
        ("task", course.tasks, ("what", "done_by", "result")),
        ("check", course.checks, ("what", "done_by", "result")),
        ("canister", course.canisters, ("lot", "filter_lot")),
        ("trip", course.trips, ("destination", "charge", "note")),
        ("at home", course.homes, ("contact", "eligible")),
        ("signal", course.calls, ("kind", "attended_by", "cause", "action")),
    ):
        for thing in things:
            said = " ".join(str(thing[name]) for name in words if thing[name] is not None)
            lines.append(_line(heading, ", ".join(part for part in (said, _times(thing, zone)) if part)))
    lines.append("  who entered what:")
    for act in history:
        lines += _act(act, zone)
    return "\n".join([*map(_plain, lines), "", SUPPORT])


def _line(heading: str, text: str) -> str:
    return f"  {heading:<11} {text}"


def _out(course: Course, zone: tzinfo) -> str:
    removal = course.removal
    if removal is None:
        return "in"
    said = [_at(removal["time_ms"], zone), *(removal[name] for name in ("kind", "removed_by", "second_person"))]
    against = removal["against_rule_because"]
    return ", ".join(word for word in said if word) + (f"; against the rule: {against}" if against else "")


def _stay(stay: Thing) -> str:
    age = f"{stay['age_years']:g} years" if stay["age_years"] is not None else "age not recorded"
    weight = f"{stay['weight_kg']:g} kg" if stay["weight_kg"] is not None else "weight not recorded"
    what = [stay["indication"] or "indication not recorded", stay["operation_kind"] or "operation not recorded"]
    return ", ".join([*what, age, weight])


def _rule(rule: Thing | None) -> str:
    if rule is None:
        return "none pinned"
    approved = f"approved by {rule['approved_by']}" if rule["status"] == "approved" else "NOT APPROVED"
    return f"{rule['name']} {rule['edition'] or ''}".rstrip() + f" ({rule['status']}, {approved})"


def _logs(course: Course, zone: tzinfo) -> str:
    if not course.logs:
        return "none"
    until = max(log["last_ms"] for log in course.logs)
    read = sum(log["rows_read"] for log in course.logs)
    refused = sum(log["rows_refused"] for log in course.logs)
    return f"{len(course.logs)}, {read} rows ({refused} refused), until {_at(until, zone)}"


def _sent(one: Sent, zone: tzinfo) -> str:
    times = f"from {_at(one.first_ms, zone)} until {_at(one.last_ms, zone)}"
    return f"{_counted(one.readings, 'reading')} of {one.serial}, {times}"


def _act(act: Line, zone: tzinfo) -> list[str]:
    """One act. What the program worked out by itself was entered by nobody, and is not told one by one."""
    done = [_counted(count, noun) for noun, count in act.new.items() if noun != "table"]
    done += [f"took back {_counted(count, noun)}" for noun, count in act.taken_back.items()]
    head = f"    {_at(act.at_ms, zone)}  {act.by}: {act.what}" + (f" ({act.why})" if act.why else "")
    lines = [f"{head}: {', '.join(done)}" if done else head]
    for noun, name, old, new in act.corrected:
        if noun != "table":
            field = f"{noun} {name.removesuffix('_ms')}"
            lines.append(f"      {field}: {_shown(name, old, zone)} became {_shown(name, new, zone)}")
    return lines


def _shown(field: str, value: Any, zone: tzinfo) -> str:
    if value is None or field.endswith("_ms"):
        return _at(value, zone)
    return f"{value[:8]}…" if isinstance(value, str) and len(value) == _SHA256 else repr(value)


def _times(thing: Thing, zone: tzinfo) -> str:
    times = [(name.removesuffix("_ms"), value) for name, value in thing.fields.items() if name.endswith("_ms")]
    return ", ".join(f"{name.replace('_', ' ')} {_at(value, zone)}" for name, value in times if value is not None)


def _counted(count: int, noun: str) -> str:
    word = "chart row" if noun == "entry" else noun
    return f"{count} {word}" + "s" * (count != 1)


def _at(ms: int | None, zone: tzinfo) -> str:
    if ms is None:
        return "not recorded"
    return datetime.fromtimestamp(ms / 1000, zone).isoformat(sep=" ", timespec="minutes")


def _short(ms: int | None, zone: tzinfo) -> str:
    return _at(ms, zone)[:16]


def _plain(line: str) -> str:
    """What does not print is shown as '·': a record holds words that others wrote."""
    return "".join(c if c.isprintable() else "·" for c in line)
