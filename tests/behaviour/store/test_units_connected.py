"""Units connected: never a barred or faulty one, never another spelling, judged as of that moment; and after the end.

Units, lots and drains are invented.
"""

from __future__ import annotations

import pytest

from behaviour.store.test_register import drain, pair, take, turned_round, unit
from slackwater.errors import RecordError
from slackwater.quantities.spans import DAY_MS
from slackwater.store import Record
from slackwater.store.acts import key_of
from slackwater.store.recalls import recall
from slackwater.store.units import connect, set_state


def connected(record: Record, at: str, serial: str, before_ms: int = 0) -> None:
    with record.act(by="t", what="connect") as act:
        connect(act, drain=at, serial=serial, at_ms=act.at_ms - before_ms, checked="{}", second_person="B",
                arrived_with=None, once=f"{at}-{serial}-{act.seq}")  # fmt: skip


def ended(record: Record, serial: str, before_ms: int = 0) -> None:
    with record.act(by="t", what="end") as act:
        (one,) = [one for one in act.things("pairing", {"unit": key_of("unit", serial)}) if one["to_ms"] is None]
        act.change("pairing", one.key, {"to_ms": act.at_ms - before_ms}, version=one.version)


@pytest.fixture
def two_drains(record: Record) -> tuple[str, str]:
    """Two drains of one patient."""
    with record.act(by="t", what="drains") as act:
        first = drain(act, "P-1")
        act.add("drain", "second", {"episode": "stay-P-1", "space": "space-P-1", "number": "2"})
    return first, "second"


def test_a_unit_in_use_goes_to_a_second_drain_only_if_nothing_bars_it(
    record: Record, two_drains: tuple[str, str]
) -> None:
    first, second = two_drains
    for serial, facts in (("SN-1", "B-1,"), ("SN-2", ",2001-01-01"), ("SN-3", ",")):
        connected(record, first, serial)
        assert take(record, f"serial,battery_lot,safety_test_due\n{serial},{facts}\n") == (0, 1, [])
        if serial == "SN-1":
            recall(record, "battery", "B-1", "swells", by="t")
        if serial == "SN-3":
            set_state(record, key_of("unit", serial), "faulty", by="t", method=None, note="hums", place=None, once="f")
        with pytest.raises(
            RecordError, match=r"for no other drain.*(swells|was due on 2001-01-01|reported faulty: hums)"
        ):
            connected(record, second, serial)
    connected(record, first, "SN-4")
    connected(record, second, "SN-4")
    assert len(record.things("pairing", {"unit": key_of("unit", "SN-4")})) == 2


@pytest.mark.parametrize("spelt", ["sn-7", "SN-7 ", "SN\u20107", "\uff33N-7", "SN 7", "SN\u200b-7"])
def test_another_spelling_of_a_serial_is_asked_back_and_makes_no_unit(
    record: Record, two_drains: tuple[str, str], spelt: str
) -> None:
    take(record, "serial\nSN-7\n")
    with pytest.raises(RecordError, match=r"SN-7 is in the register; is it that one\?"):
        connected(record, two_drains[0], spelt)
    assert len(record.things("unit")) == 1
    connected(record, two_drains[0], "SN-8")
    assert unit(record, "SN-8").by_note == "not in the register"
    assert take(record, "serial\nSN-8\nsn-7\n")[2], "nor by the register"
    take(record, "serial\nSN-8\n")
    assert unit(record, "SN-8").by_note == ""


def test_a_fault_told_at_the_bed_outlives_the_exchange(record: Record, two_drains: tuple[str, str]) -> None:
    connected(record, two_drains[0], "SN-8")
    set_state(record, key_of("unit", "SN-8"), "faulty", by="t", method=None, note="stopped", place=None, once="f")
    assert unit(record, "SN-8").stands == "in use" and "reported faulty: stopped" in unit(record, "SN-8").by_note
    connected(record, two_drains[0], "SN-9")
    now = unit(record, "SN-8")
    assert now.stands == "faulty" and "stopped" in now.by_note and now.drain is None
    turned_round(record, "SN-8")
    assert unit(record, "SN-8").state == "ready", "a later step follows it"


def test_readiness_is_that_of_the_moment_of_connecting(record: Record, two_drains: tuple[str, str]) -> None:
    take(record, "serial\nSN-1\n")
    turned_round(record, "SN-1")
    with pytest.raises(RecordError, match="is dirty"):
        connected(record, two_drains[0], "SN-1", before_ms=5 * 3_600_000)
    connected(record, two_drains[0], "SN-1")


def test_a_pairing_that_ends_asks_for_steps_after_its_end_was_recorded(
    record: Record, two_drains: tuple[str, str]
) -> None:
    with record.act(by="t", what="in use for a day") as act:
        pair(act, two_drains[0], "SN-1", act.at_ms - DAY_MS)
    ended(record, "SN-1", before_ms=3_600_000)
    assert unit(record, "SN-1").needs == ("cleaned", "tested", "ready")
    turned_round(record, "SN-1")
    assert unit(record, "SN-1").state == "ready"
    with record.act(by="t", what="told late: a day in use, over an hour ago") as act:
        pair(act, two_drains[1], "SN-1", act.at_ms - 3_600_000, act.at_ms - 1_800_000)
    assert unit(record, "SN-1").needs == ("cleaned", "tested", "ready"), "no step after it is known"
