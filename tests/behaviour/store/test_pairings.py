"""Which unit serves which drain: one patient at a time, whoever asks."""

from __future__ import annotations

from itertools import count

import pytest

from behaviour.store.a_drain import bundle, course_held, episode, log, ms, removal, stamp, taken
from slackwater.errors import RecordError
from slackwater.store import Record, checks
from slackwater.store.read_out import assess_drain, episode_of

_KEYS = count()


def pair(
    record: Record, drain: str, unit: str, first: float, last: float | None, *, patient: str = "p", key: str = ""
) -> None:
    fields = {"patient": patient, "drain": drain, "unit": unit, "from_ms": ms(first)}
    with record.act(by="nurse", what="paired") as act:
        act.add("pairing", key or f"k{next(_KEYS)}", fields if last is None else {**fields, "to_ms": ms(last)})


@pytest.fixture(params=["our check", "the database alone"])
def whoever_asks(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param == "the database alone":
        monkeypatch.delitem(checks.CHECKS, "pairing")


@pytest.mark.usefixtures("whoever_asks")
@pytest.mark.parametrize(("first", "last"), [(0, 60), (30, 90), (-30, 1), (10, 20), (-10, 100), (59, None), (-5, None)])
def test_a_unit_does_not_serve_two_patients_at_once(record: Record, first: float, last: float | None) -> None:
    pair(record, "d1", "u", 0, 60, patient="p1")
    with pytest.raises(RecordError, match="already paired"):
        pair(record, "d2", "u", first, last, patient="p2")
    assert len(record.things("pairing")) == 1


@pytest.mark.usefixtures("whoever_asks")
def test_a_unit_that_was_never_let_go_serves_nobody_else(record: Record) -> None:
    pair(record, "d1", "u", 0, None, patient="p1")
    with pytest.raises(RecordError, match="already paired"):
        pair(record, "d2", "u", 100_000, None, patient="p2")


@pytest.mark.usefixtures("whoever_asks")
def test_a_drain_does_not_have_two_units_at_once(record: Record) -> None:
    pair(record, "d", "u1", 0, 60)
    with pytest.raises(RecordError, match="already paired"):
        pair(record, "d", "u2", 30, 90)


@pytest.mark.usefixtures("whoever_asks")
def test_a_pairing_is_not_entered_twice(record: Record) -> None:
    pair(record, "d", "u", 0, 60)
    with pytest.raises(RecordError, match="already paired"):
        pair(record, "d", "u", 0, 60)


@pytest.mark.usefixtures("whoever_asks")
def test_a_pairing_is_not_lengthened_into_that_of_another_patient(record: Record) -> None:
    pair(record, "d1", "u", 0, 60, patient="p1", key="first")
    pair(record, "d2", "u", 60, 90, patient="p2")
    with pytest.raises(RecordError, match="already paired"), record.act(by="nurse", what="mended") as act:
        act.change("pairing", "first", {"to_ms": ms(61)}, version=1)


@pytest.mark.usefixtures("whoever_asks")
def test_one_patient_may_follow_another_in_the_same_minute(record: Record) -> None:
    pair(record, "d1", "u", 0, 60, patient="p1")
    pair(record, "d2", "u", 60, None, patient="p2")
    pair(record, "d3", "u", -60, 0, patient="p3")
    assert len(record.things("pairing")) == 3


@pytest.mark.usefixtures("whoever_asks")
def test_two_limbs_of_one_patient_share_a_unit(record: Record) -> None:
    pair(record, "d1", "u", 0, 60)
    pair(record, "d2", "u", 0, 60)
    assert len(record.things("pairing")) == 2


@pytest.mark.usefixtures("whoever_asks")
def test_a_pairing_that_was_taken_back_is_in_nobodys_way(record: Record) -> None:
    pair(record, "d1", "u", 0, 60, patient="p1", key="wrong")
    with record.act(by="nurse", what="took back") as act:
        act.take_back("pairing", "wrong", version=1)
    pair(record, "d2", "u", 0, 60, patient="p2")
    assert len(record.things("pairing")) == 1


def test_a_pairing_does_not_end_before_it_begins(record: Record) -> None:
    with pytest.raises(RecordError, match="to_ms lies before from_ms"):
        pair(record, "d", "u", 0, -1)


def spans(record: Record, drain: str) -> list[tuple[float, float]]:
    found = course_held(record, drain).pairings
    return [((one["from_ms"] - ms(0)) / 60_000, (one["to_ms"] - ms(0)) / 60_000) for one in found]


def test_a_log_shows_which_unit_served_the_drain(record: Record) -> None:
    drain = taken(record).drain
    assert spans(record, drain) == [(0, 180)]
    (unit,) = record.things("unit")
    assert unit["serial"] == "U-1"


def test_a_longer_log_of_the_same_unit_lengthens_the_pairing(record: Record) -> None:
    taken(record, bundle(logs=[log(0, 60)]))
    drain = taken(record, bundle(logs=[log(30, 120)])).drain
    assert spans(record, drain) == [(0, 120)]


def test_a_pairing_that_stood_taken_back_and_stood_again_is_lengthened(record: Record) -> None:
    """The moment of connection was corrected, and corrected back, before the next log came."""
    taken(record, bundle(logs=[log(0, 90)]))
    taken(record, bundle(episode(connected=30), logs=[]), correct="a slip")
    taken(record, bundle(logs=[]), correct="no slip")
    drain = taken(record, bundle(logs=[log(90, 180)])).drain
    assert spans(record, drain) == [(0, 180)]


def test_a_unit_that_was_exchanged_ends_the_first_ones_time(record: Record) -> None:
    taken(record, bundle(logs=[log(0, 100)]))
    drain = taken(record, bundle(logs=[log(90, 180, "U-2")])).drain
    assert spans(record, drain) == [(0, 90), (90, 180)]


@pytest.mark.parametrize("order", [(0, 1, 2), (0, 2, 1), (2, 1, 0), (1, 0, 2)])
def test_a_unit_that_was_lent_for_an_hour_may_come_back(record: Record, order: tuple[int, ...]) -> None:
    logs = (log(0, 60), log(60, 120, "U-2"), log(120, 180))
    for one in order:
        drain = taken(record, bundle(logs=[logs[one]])).drain
    assert spans(record, drain) == [(0, 60), (60, 120), (120, 180)]


def test_the_log_of_a_unit_that_served_another_patient_then_is_refused(record: Record) -> None:
    # Hazard C01: a log picked by hand.
    taken(record)
    with pytest.raises(RecordError, match=r"log\.csv: unit U-1 served another patient's drain at that time\. Is it"):
        taken(record, bundle(episode("INV-2"), logs=[log(10, 170)]))
    assert [one["label"] for one in record.things("patient")] == ["INV-1"]


def test_the_same_log_is_refused_for_another_patient_even_without_a_serial_number(record: Record) -> None:
    taken(record, bundle(logs=[log(serial="")]))
    with pytest.raises(RecordError, match="is recorded for another drain already"):
        taken(record, bundle(episode("INV-2"), logs=[log(serial="")]))


def test_a_log_without_a_serial_number_says_on_what_it_rests(record: Record) -> None:
    done = taken(record, bundle(logs=[log(serial="")]))
    assert done.notes == ("log.csv names no unit: that it is this drain's rests on who filed it",)
    assert record.things("pairing") == ()


def test_a_log_of_two_units_shows_no_pairing(record: Record) -> None:
    both = log(0, 30).data + b"\n".join(log(30, 60, "U-2").data.splitlines()[1:]) + b"\n"
    done = taken(record, bundle(logs=[type(log())("log.csv", both, log().layout)]))
    assert any("names 2 units" in note for note in done.notes)
    assert record.things("pairing") == ()


def test_a_unit_that_arrives_with_an_earlier_history_is_pointed_out(record: Record) -> None:
    done = taken(record, bundle(episode(connected=100), rows=None))
    assert done.notes == ("log.csv begins 100 min before the drain was connected: an earlier patient's?",)
    assert spans(record, done.drain) == [(100, 180)]
    (pairing,) = record.things("pairing")
    assert "begins 100 min before" in pairing["arrived_with"]


def test_a_removal_lets_the_unit_go(record: Record) -> None:
    done = taken(record, bundle(logs=[], course=f'[[pairing]]\nunit = "U-1"\nfrom = "{stamp(0)}"\n'))
    taken(record, bundle(logs=[], course=removal(150)))
    assert spans(record, done.drain) == [(0, 150)]


def test_a_unit_serves_the_next_patient_after_the_removal(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    second = taken(record, bundle(episode("INV-2", connected=155), logs=[log(100, 300)], rows=None))
    assert spans(record, second.drain) == [(155, 300)]


def test_a_log_that_begins_after_the_removal_is_refused(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    with pytest.raises(RecordError, match=r"log-2\.csv: begins after this drain was out"):
        taken(record, bundle(logs=[log(160, 300, name="log-2.csv")]))


def test_what_a_unit_logs_after_the_removal_counts_for_nothing(record: Record) -> None:
    done = taken(record, bundle(course=removal(150)))
    found = assess_drain(record, done.drain)
    assert found.trace is not None and found.trace.data_until_ms == ms(150)


def test_two_limbs_on_one_unit_are_known_to_share_it(record: Record) -> None:
    # Hazard C03: what one device logs must not be put down to one of two drains.
    first = taken(record, bundle(episode(shares_space_with=["2"])))
    taken(
        record,
        bundle(episode(number="2", shares_space_with=["1"], shares_unit_with=["1"]), logs=[log()], rows=None),
    )
    assert episode_of(course_held(record, first.drain)).shares_unit_with == ("2",)


def test_the_second_limb_does_not_take_the_log_unless_it_says_that_it_shares_the_unit(record: Record) -> None:
    taken(record)
    with pytest.raises(RecordError, match="is recorded for another drain already"):
        taken(record, bundle(episode(number="2"), rows=None))
