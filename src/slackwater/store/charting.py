"""Acts at the bedside: what staff chart, order and do about one drain. Each records once, whatever is sent twice.

Each function writes into the act it is given (`Record.act(by=, what=, why=)`); times are UTC ms. `once` is the form's
own key: the same again adds nothing and returns the same keys, other words under it are refused. Where a reason is
asked for (`why`), give it to the act too: that is where it is kept. A fault of what was typed is a ChartError,
QuantityError or RecordError with its mend; the whole act then comes to nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from slackwater.episode.order import SuctionOrder, unanswered
from slackwater.episode.typed import Typed, entry_of, plain
from slackwater.episode.values import CLAMP_KINDS
from slackwater.errors import RecordError
from slackwater.store.acts import key_of
from slackwater.store.course import Course
from slackwater.store.facts import is_new, other_words
from slackwater.store.nouns import Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing, versions

CLAMP_OFF = "take the clamp off"  # the task that a clamp leaves


def chart_set(act: Acting, course: Course, rows: Sequence[Typed], *, by: str, at_ms: int, once: str) -> tuple[str, ...]:
    """Chart rows of one moment `at_ms`, or each of its own time; returns the keys of their entries, in order.

    What was so earlier keeps both times: when it was, and when it was written. Use `episode.typed.faults` first to
    show every fault beside its field.
    """
    made: list[tuple[str, dict[str, Value], int]] = []
    for place, row in enumerate(rows):
        told = _entry_fields(act, course, row, by, at_ms)
        time = told["time_ms"]
        assert isinstance(time, int)
        made.append((key_of("entry", course.drain.key, once, place), told, time))
    there = {thing.key: thing for thing in act.things("entry", keys=[key for key, _, _ in made], gone=True)}
    further = act.things("entry", keys=[key_of("entry", course.drain.key, once, len(rows))], gone=True)
    if there:
        first = {thing.key: thing for thing in _first_versions(act, there)}
        if further or any(key not in first or not _same_words(first[key], told) for key, told, _ in made):
            raise other_words()
        return tuple(key for key, _, _ in made)
    for key, told, time in made:
        act.add("entry", key, told, happened_ms=time)
    return tuple(key for key, _, _ in made)


def correct_entry(act: Acting, course: Course, key: str, row: Typed, *, version: int, by: str, why: str) -> None:
    """Another version of an entry, with the reason; the old one stays. `version`: the one that was seen.

    The item cannot change: take the entry back and chart the right one. What it says now is known from now on.
    """
    _reasoned(why)
    seen = _mine(act, course, "entry", key)
    if row.item != seen["item"]:
        raise RecordError("is of another item", where="item", mend="Take the entry back, and chart the right one.")
    told = _entry_fields(act, course, row, by, int(seen["time_ms"]))
    time = told["time_ms"]
    assert isinstance(time, int)
    new: dict[str, Value] = {**dict.fromkeys(("value", "unit", "note")), **told, "drain": seen["drain"]}
    new.pop("episode")
    act.change("entry", key, {**new, "written_ms": act.at_ms}, version=version, happened_ms=time)


def take_back_entry(act: Acting, course: Course, key: str, *, version: int, why: str) -> None:
    """An entry that should not be: it no longer counts, and stays in the history with the reason."""
    _reasoned(why)
    _mine(act, course, "entry", key)
    act.take_back("entry", key, version=version)


def order_suction(
    act: Acting,
    course: Course,
    order: SuctionOrder,
    *,
    from_ms: int,
    once: str,
    answers: Mapping[str, str],
    reason: str = "",
    review_ms: int | None = None,
    may_be_off_min: int | None = None,
) -> str:
    """Record an order of suction; the order before it ends when this one begins. Returns the order's key.

    Refused while the order has stops, or questions that `answers` does not answer. What was asked and answered is kept
    with the reason. The level is kept as typed.
    """
    if order.stops:
        raise RecordError(order.stops[0].text, where="the order", mend="Mend the order.")
    for id_, complaint in unanswered(order, answers).items():
        raise RecordError(f"{id_} is not answered", where="the order", mend=complaint)
    asked = [f"asked: {one.text} Answered: {plain(answers[one.id])}" for one in order.questions]
    fields: dict[str, Value] = {
        "drain": course.drain.key, "kind": "suction", "level": order.level, "unit": order.unit or None,
        "from_ms": from_ms, "review_ms": review_ms, "may_be_off_min": may_be_off_min,
        "reason": "; ".join(text for text in (plain(reason), *asked) if text) or None,
    }  # fmt: skip
    key = key_of("order", course.drain.key, once)
    if not is_new(act, "order", key, fields):
        return key
    for other in act.things("order", {"drain": course.drain.key}):
        if other["kind"] != "suction":
            continue
        if other["from_ms"] < from_ms and (other["until_ms"] is None or other["until_ms"] > from_ms):
            act.change("order", other.key, {"until_ms": from_ms}, version=other.version, happened_ms=from_ms)
        elif other["from_ms"] == from_ms:
            raise RecordError("another order begins at that moment", where="from", mend="Mend the time of one of them.")
        elif other["from_ms"] > from_ms and (fields.get("until_ms") is None or other["from_ms"] < fields["until_ms"]):
            fields["until_ms"] = other["from_ms"]  # written down late: the later order stands
    act.add("order", key, fields, happened_ms=from_ms)
    return key


def clamp_on(
    act: Acting, course: Course, kind: str, *, planned_off_ms: int, by: str, at_ms: int, once: str, note: str = ""
) -> str:
    """Chart a clamp by its kind (CLAMP_KINDS), and leave a task to take it off at the planned time; the task's key."""
    if kind not in CLAMP_KINDS:
        raise RecordError(f"{kind!r} is no kind of clamp", where="kind", mend=f"Known: {', '.join(CLAMP_KINDS)}.")
    if planned_off_ms <= at_ms:
        raise RecordError("is to come off before it goes on", where="planned end", mend="Mend one of the two times.")
    said = f"{kind}: {plain(note)}" if plain(note) else kind
    chart_set(act, course, [Typed("clamp", "on", note=said)], by=by, at_ms=at_ms, once=f"{once} clamp")
    return add_task(act, course, CLAMP_OFF, due_ms=planned_off_ms, once=f"{once} task", since_ms=at_ms)


def clamp_off(act: Acting, course: Course, *, by: str, at_ms: int, once: str, note: str = "") -> tuple[str, ...]:
    """Chart the clamp off; the task that it left is done. The key of the row."""
    keys = chart_set(act, course, [Typed("clamp", "off", note=note)], by=by, at_ms=at_ms, once=f"{once} clamp")
    for task in act.things("task", {"drain": course.drain.key}):
        if task["what"] == CLAMP_OFF and task["done_ms"] is None and (task.happened_ms or 0) <= at_ms:
            task_done(act, course, task.key, version=task.version, by=by, at_ms=at_ms)
    return keys


def change_canister(
    act: Acting,
    course: Course,
    *,
    level: str,
    level_unit: str,
    by: str,
    at_ms: int,
    once: str,
    lot: str = "",
    filter_lot: str = "",
    expires_ms: int | None = None,
    clamp_on_ms: int | None = None,
    clamp_off_ms: int | None = None,
    size_ml: float | None = None,
) -> str:
    """Chart the full canister's level (empty: not read), the change, and the clamp if there was one; the new
    canister's key.

    A clamp that is not told off stays on: leave a timer by `clamp_on` then.
    """
    if clamp_off_ms is not None and (clamp_on_ms is None or clamp_off_ms < clamp_on_ms):
        raise RecordError("the clamp comes off before it goes on", where="clamp", mend="Mend the two times.")
    if clamp_on_ms is not None and clamp_off_ms is None:
        raise RecordError("when the clamp came off is not told", where="clamp", mend="Tell it, or chart the clamp.")
    # A level that was not read leaves no row: a blank one would make the fluid be counted by levels.
    rows = [*([Typed("canister_level", level, level_unit)] if plain(level) else []), Typed("canister", "changed")]
    for word, time in (("on", clamp_on_ms), ("off", clamp_off_ms)):
        if time is not None:
            rows.append(Typed("clamp", word, note="handling", time_ms=time))
    chart_set(act, course, rows, by=by, at_ms=at_ms, once=f"{once} chart")
    key = key_of("canister", course.drain.key, once)
    fields: dict[str, Value] = {
        "drain": course.drain.key, "from_ms": at_ms, "lot": plain(lot) or None,
        "filter_lot": plain(filter_lot) or None, "expires_ms": expires_ms, "size_ml": size_ml,
    }  # fmt: skip
    if is_new(act, "canister", key, fields):
        act.add("canister", key, fields, happened_ms=at_ms)
    return key


def hold_on(act: Acting, course: Course, reason: str, *, from_ms: int, once: str, note: str = "") -> str:
    """Keep the drain for a coded reason (nouns.HOLD_REASONS); `other` needs a note. Returns the hold's key."""
    if reason == "other" and not plain(note):
        raise RecordError("another reason is not said", where="note", mend="Say it in a few words.")
    fields: dict[str, Value] = {
        "drain": course.drain.key, "reason": reason, "from_ms": from_ms, "note": plain(note) or None,
    }  # fmt: skip
    key = key_of("hold", course.drain.key, once)
    if is_new(act, "hold", key, fields):
        act.add("hold", key, fields, happened_ms=from_ms)
    return key


def hold_off(act: Acting, course: Course, key: str, *, version: int, at_ms: int) -> None:
    """The hold ends."""
    _mine(act, course, "hold", key)
    act.change("hold", key, {"to_ms": at_ms}, version=version, happened_ms=at_ms)


def add_task(
    act: Acting, course: Course, what: str, *, due_ms: int | None, once: str, since_ms: int | None = None
) -> str:  # fmt: skip
    """Something to be done about this drain, since `since_ms` (None: now); the task's key."""
    fields: dict[str, Value] = {"drain": course.drain.key, "what": plain(what), "due_ms": due_ms}
    key = key_of("task", course.drain.key, once)
    if is_new(act, "task", key, fields):
        act.add("task", key, fields, happened_ms=act.at_ms if since_ms is None else since_ms)
    return key


def task_done(act: Acting, course: Course, key: str, *, version: int, by: str, at_ms: int, result: str = "") -> None:
    """A task is done, with what came of it."""
    _done(act, course, "task", key, version, by, at_ms, result)


def check_done(act: Acting, course: Course, key: str, *, version: int, by: str, at_ms: int, result: str) -> None:
    """A check owed after removal is done; what was found must be said."""
    if not plain(result):
        raise RecordError("what was found is not said", where="result", mend="Say it in a few words.")
    _done(act, course, "check", key, version, by, at_ms, result)


def _entry_fields(act: Acting, course: Course, row: Typed, by: str, at_ms: int) -> dict[str, Value]:
    entry = entry_of(row, at_ms, act.at_ms, by, course.drain["number"])
    return {
        "episode": course.episode.key, "drain": entry.drain, "item": entry.item, "value": plain(row.value) or None,
        "unit": plain(row.unit) or None, "note": entry.note or None, "time_ms": entry.time, "written_ms": act.at_ms,
        "written_by": by,
    }  # fmt: skip


def _first_versions(act: Acting, there: Mapping[str, Thing]) -> list[Thing]:
    return [one for one in versions(act.connection, "entry", keys=there) if one.version == 1]


def _same_words(thing: Thing, told: Mapping[str, Value]) -> bool:
    return all(thing[name] == value for name, value in told.items() if name != "written_ms")


def _mine(act: Acting, course: Course, noun: str, key: str) -> Thing:
    """A thing of this drain, or of its patient; another drain's is as if it were not there."""
    found = act.thing(noun, key)
    if found is not None and noun == "entry":
        mine = found["episode"] == course.episode.key and found["drain"] in (course.drain["number"], None)
    else:
        mine = found is not None and found["drain"] == course.drain.key
    if found is None or not mine:
        raise RecordError(f"there is no such {noun} of this drain", where=noun, mend="Look at the drain again.")
    return found


def _done(act: Acting, course: Course, noun: str, key: str, version: int, by: str, at_ms: int, result: str) -> None:
    seen = _mine(act, course, noun, key)
    if seen["done_ms"] is not None:
        if (seen["done_ms"], seen["done_by"]) == (at_ms, by):
            return  # sent twice
        raise RecordError("is done already", where=noun, mend="Look at it again.")
    if at_ms > act.at_ms:
        raise RecordError("was done at a time that has not come", where="time", mend="Mend it.")
    new: dict[str, Value] = {"done_ms": at_ms, "done_by": by, "result": plain(result) or None}
    act.change(noun, key, new, version=version, happened_ms=at_ms)


def _reasoned(why: str) -> None:
    if not why.strip():
        raise RecordError("a correction needs its reason", where="why", mend="Say why in a few words.")
