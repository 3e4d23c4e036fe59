"""One patient of the small ward who has everything: two drains on one unit, one that is out, orders, holds, tasks,
films, corrections. All of it is invented."""

from __future__ import annotations

from slackwater.store.acts import key_of
from slackwater.store.chart_text import entry_key
from slackwater.store.nouns import Value
from slackwater.store.record import Acting, Record
from ward.a_ward import NOW_MS

MINUTE = 60_000
HOUR = 60 * MINUTE


def key(record: Record, name: str) -> str:
    """The key of a drain by PATIENT/NUMBER."""
    label, _, number = name.partition("/")
    patients = {one.key: one["label"] for one in record.things("patient")}
    stays = {one.key: patients[one["patient"]] for one in record.things("episode")}
    (found,) = (one.key for one in record.things("drain") if (stays[one["episode"]], one["number"]) == (label, number))
    return found


def fill(record: Record, name: str = "W-1/1", text: str = "plain words") -> str:
    """Give a drain all that a page can show, `text` wherever a person types; returns the drain's key."""
    drain = key(record, name)
    tube = record.thing("drain", drain)
    assert tube is not None
    episode = record.thing("episode", tube["episode"])
    space = record.thing("space", tube["space"])
    assert episode is not None and space is not None
    short = text[:60]
    with record.act(by=short, what="told", why=text) as act:
        change(act, "episode", episode.key, {"ward": "thoracic", "bed": text[:18], "initials": "QX"})
        for number, site, more in (("2", "basal", {"shares_unit_with": '["1"]'}), ("3", "apical", {})):
            act.add("drain", key_of("drain", "second", number), {
                "episode": episode.key, "space": space.key, "number": number, "site": site,
                "connected_ms": NOW_MS - 90 * HOUR, **more,
            })  # fmt: skip
        act.add("removal", key_of("removal", "third"), {
            "drain": key_of("drain", "second", "3"), "kind": "unplanned", "time_ms": NOW_MS - 30 * HOUR,
        })  # fmt: skip
        for kind, level, begun, more in (
            ("suction", "-20", 40, {"unit": "cmH2O"}),
            ("suction", "-10", 20, {"unit": "cmH2O", "may_be_off_min": 30, "review_ms": NOW_MS - HOUR, "reason": text}),
            ("imaging", None, 3, {"reason": text}),
        ):
            add(act, "order", drain, kind, begun, {"kind": kind, "level": level, **more})
        add(act, "hold", drain, "now", 5, {"reason": "awaiting_imaging", "note": text})
        add(act, "hold", drain, "then", 50, {"reason": "patient_wish", "to_ms": NOW_MS - 44 * HOUR})
        act.add("task", key_of("task", "open"), {"drain": drain, "what": text, "due_ms": NOW_MS - 2 * HOUR})
        act.add("task", key_of("task", "done"), {
            "drain": drain, "what": "weigh", "done_ms": NOW_MS - HOUR, "done_by": "Invented nurse", "result": text,
        })  # fmt: skip
        for item, value, hours in (
            ("chest_xray", "expanded", 20),
            ("chest_xray", "not_reviewed", 2),
            ("note", text, 1),
        ):
            fields: dict[str, Value] = {
                "episode": episode.key, "item": item, "value": value, "note": text,
                "time_ms": NOW_MS - hours * HOUR, "written_by": text,
            }  # fmt: skip
            act.add("entry", entry_key(episode.key, fields), fields)
        unit = key_of("unit", short)
        act.add("unit", unit, {"serial": short})
        act.add("pairing", key_of("pairing", "full"), {
            "patient": episode["patient"], "drain": key_of("drain", "second", "2"), "unit": unit,
            "from_ms": NOW_MS - 50 * HOUR, "checked_by": text, "arrived_with": text,
        })  # fmt: skip
    goal = record.thing("goal", key_of("goal", drain))
    with record.act(by=short, what="goal", why=text) as act:
        if goal is None:
            act.add("goal", key_of("goal", drain), {"drain": drain, "text": text})
        else:
            act.change("goal", goal.key, {"text": text}, version=goal.version)
    with record.act(by="Invented registrar", what="corrected", why=text) as act:
        found = act.thing("drain", drain)
        assert found is not None
        act.change("drain", drain, {"site": text[:200]}, version=found.version)
    return drain


def add(act: Acting, noun: str, drain: str, name: str, hours: int, fields: dict[str, Value]) -> None:
    at = NOW_MS - hours * HOUR
    act.add(noun, key_of(noun, drain, name, hours), {"drain": drain, "from_ms": at, **fields}, happened_ms=at)


def change(act: Acting, noun: str, key: str, fields: dict[str, Value]) -> None:
    found = act.thing(noun, key)
    assert found is not None
    act.change(noun, key, fields, version=found.version)
