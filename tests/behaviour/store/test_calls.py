"""Signals of a unit in the record: entered once, told later, and read from a log whose layout has the words.

Everything is invented."""

from __future__ import annotations

import pytest

from behaviour.store.a_drain import LAYOUT_TEXT, bundle, course_held, log_rows, ms, taken
from slackwater.errors import RecordError, StaleError
from slackwater.reading.layout import Layout
from slackwater.store import Record
from slackwater.store.calls import complete_call, record_call
from slackwater.store.derive import table_of
from slackwater.store.signals import heard
from slackwater.store.take_in import GivenLog
from slackwater.store.verify import verify

WORDS = '[state]\ncolumn = "says"\nwords = { pump = "running", full = "container_full", low = "low_battery" }\n'
TELLS = Layout.from_toml(LAYOUT_TEXT + WORDS, "tells.toml")
SAYS = {50: "full", 51: "full", 53: "full", 100: "full", 101: "low", 180: "low"}  # 52: one minute silent


def a_log() -> GivenLog:
    rows = [f"{row},{SAYS.get(minute, 'pump')}" for minute, row in enumerate(log_rows(), start=1)]
    return GivenLog("log.csv", "\n".join(["time,flow,p,p_low,p_high,unit,says", *rows, ""]).encode(), TELLS)


def entered(record: Record, drain: str, kind: str, minute: float, once: str = "f1", **told: object) -> str:
    with record.act(by="a nurse", what="a unit's signal") as act:
        return record_call(act, course_held(record, drain), kind, from_ms=ms(minute), once=once, **told)  # type: ignore[arg-type]


def test_a_log_tells_of_signals_and_staff_of_who_came(record: Record) -> None:
    drain = taken(record, bundle(logs=[a_log()])).drain
    found = heard(record, [drain])
    assert found.tells == {drain} and not found.not_read
    assert [(one.kind, one.from_ms, one.until_ms) for one in found.calls] == [
        ("container_full", ms(49), ms(53)),  # a minute of silence does not end it
        ("container_full", ms(99), ms(100)),
        ("low_battery", ms(100), ms(101)),
        ("low_battery", ms(179), None),  # it stands in the last row: its end is not known
    ]
    entered(record, drain, "container_full", 55, attended_ms=ms(58), action="canister_changed")
    (first, *rest) = heard(record, [drain]).calls
    assert (first.from_ms, first.until_ms, first.attended_ms) == (ms(49), ms(53), ms(58)), "one signal, told twice"
    assert first.logged and first.key and len(rest) == 3
    assert not verify(record).faults


def test_the_same_form_twice_records_once_and_other_words_are_refused(record: Record) -> None:
    drain = taken(record).drain
    key = entered(record, drain, "tilted", 20)
    assert entered(record, drain, "tilted", 20) == key
    assert len(record.things("unit_call")) == 1
    with pytest.raises(RecordError, match="other words"):
        entered(record, drain, "line_blocked", 20)
    for wrong in ({"attended_ms": ms(19)}, {"until_ms": ms(10)}):
        with pytest.raises(RecordError, match="before the signal began"):
            entered(record, drain, "tilted", 20, once="other", **wrong)
    with pytest.raises(RecordError, match="no kind of signal"):
        entered(record, drain, "bell", 20, once="third")


def test_what_is_told_later_joins_it_and_a_stale_form_is_refused(record: Record) -> None:
    drain = taken(record).drain
    key = entered(record, drain, "tilted", 20)
    course = course_held(record, drain)

    def tell(version: int, **new: object) -> None:
        with record.act(by="another nurse", what="told") as act:
            complete_call(act, course, key, new, version=version)  # type: ignore[arg-type]

    tell(1, attended_ms=ms(25), action="unit_stood_upright")
    tell(1, attended_ms=ms(25), action="unit_stood_upright")  # sent twice
    with pytest.raises(StaleError):
        tell(1, cause="kink")
    (one,) = heard(record, [drain]).calls
    assert (one.attended_ms, one.action, one.cause, one.version) == (ms(25), "unit_stood_upright", None, 2)
    assert heard(record, []).calls == () and heard(record, [drain]).tells == frozenset()


def test_a_minute_of_which_the_unit_tells_a_fault_is_never_quiet(record: Record) -> None:
    """A line told blocked counts as blocked, a full container as off; a low battery leaves the flow to decide."""
    rows = [
        f"{row},{'block' if 60 <= k < 65 else 'full' if 80 <= k < 85 else 'low' if 100 <= k < 105 else 'pump'}"
        for k, row in enumerate(log_rows())
    ]
    layout = Layout.from_toml(
        LAYOUT_TEXT + WORDS.replace("full =", 'block = "line_blocked", full ='), "tells.toml"
    )  # fmt: skip
    log = GivenLog("log.csv", "\n".join(["time,flow,p,p_low,p_high,unit,says", *rows, ""]).encode(), layout)
    drain = taken(record, bundle(logs=[log])).drain
    minutes = table_of(record, drain, "minutes")
    assert minutes is not None
    told = list(zip(minutes["reason"], minutes["state"], strict=True))
    assert set(told[60:65]) == {("blocked", "cannot_tell")} and set(told[80:85]) == {("off", "cannot_tell")}
    assert set(told[100:105]) == set(told[106:110]) == {("", "quiet")}
