"""Vital signs and laboratory results come into the chart of the right patient's stay, once, and into nobody else's.

Sources: HL7 v2.6 chapter 3 (PID-3), chapter 7 (OBX-11 of table 0085: C corrects, D deletes, W was posted as wrong),
from memory. That a patient is found by the record's label alone, and the limits of time, are ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.feed.a_message import (
    GOOD,
    NOW_MS,
    OTHER,
    PATIENT,
    a_record,
    read,
    unit_message,
    with_field,
)
from slackwater.feed.hl7_chart import enter
from slackwater.feed.hl7_fault import Hl7Error
from slackwater.store import Record
from slackwater.store.acts import key_of
from slackwater.store.course import course_of
from slackwater.store.read_out import assess_drain, chart_of
from slackwater.store.verify import verify
from ward.a_ward import Clock, a_ward, signed_in

LAB = "\r".join([
    "MSH|^~\\&|LABSYSTEM|HOSP|||20210426110000+0000||ORU^R01^ORU_R01|L-1|P|2.5.1",
    "PID|||12345^^^Hospital^MR",
    "OBR|1|A-1|F-1|PANEL^a panel^99LAB|||20210426100000+0000",
    "OBX|1|NM|CRP^C-reactive protein^99LAB||112|mg/L^^UCUM|0-5|H|||F",
    "OBX|2|SN|FTRIG^triglycerides of the pleural fluid^99LAB||>^1.24|mmol/L^^UCUM||H|||F",
    "OBX|3|ST|HB^haemoglobin^99LAB||sample clotted||||||F",
    "NTE|1||taken from the drain",
])  # fmt: skip


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with a_record(tmp_path) as found:
        yield found


def entries(record: Record, label: str = PATIENT) -> list[tuple[str, str | None, str | None]]:
    (stay,) = record.things("episode", {"patient": key_of("patient", label)})
    return sorted((one["item"], one["value"], one["unit"]) for one in record.things("entry", {"episode": stay.key}))


def drain_of(record: Record, label: str = PATIENT) -> str:
    return key_of("drain", key_of("patient", label), "1")


def refused(record: Record, text: str) -> str:
    before = record.head()
    with pytest.raises(Hl7Error) as error:
        enter(record, read(text))
    assert record.head() == before  # nothing of it was kept
    return str(error.value)


def test_vital_signs_are_chart_rows_that_the_core_reads(record: Record) -> None:
    text = GOOD
    for number, (code, value, unit) in enumerate(
        (("9279-1", "16", "/min"), ("2708-6", "97", "%"), ("8480-6", "16", "kPa"), ("8310-5", "37.2", "Cel")), start=12
    ):
        text += f"\rOBX|{number}|NM|{code}^^LN||{value}|{unit}^^UCUM|||||F|||20210426030000+0000"
    assert enter(record, read(text)) == 5
    with record.reading() as connection:
        chart = chart_of(course_of(connection, drain_of(record)))
    found = {entry.item: entry for entry in chart.entries}
    assert {item: entry.value for item, entry in found.items()} == {
        "heart_rate": 60.0, "resp_rate": 16.0, "spo2": 97.0, "temperature": 37.2,
        "systolic": pytest.approx(16_000 / 98.0665),  # 1 cmH2O = 98.0665 Pa
    }  # fmt: skip
    assert {entry.by for entry in chart.entries} == {"hl7 SendingApplication SendingFacility"}
    assert all(entry.known and entry.drain is None for entry in chart.entries)
    assert found["spo2"].recorded >= NOW_MS  # charted late: known from now on


def test_the_same_again_adds_nothing_under_whatever_control_id(record: Record) -> None:
    assert enter(record, read(GOOD)) == 1
    acts = record.head()
    assert enter(record, read(GOOD)) == 0
    assert enter(record, read(with_field(GOOD, "MSH", 1, 10, "ANOTHER"))) == 0
    assert record.head() == acts


def test_the_act_names_who_and_which_message(record: Record) -> None:
    enter(record, read(GOOD))
    act = record.head()
    assert act is not None
    assert (act.by, act.what) == ("hl7 SendingApplication SendingFacility", "charted")
    assert act.why == "message MSG0425230332.872NBR488"


def test_nothing_comes_into_anothers_chart(record: Record) -> None:
    """The first patient's visit number is the other one's label: it is another kind of number."""
    enter(record, read(GOOD))
    assert entries(record, OTHER) == []
    enter(record, read(with_field(GOOD, "PID", 1, 3, "6789^^^Hospital^MR~12345^^^Hospital^VN")))
    assert entries(record, OTHER) == entries(record, PATIENT) == [("heart_rate", "60", "/min")]


def test_a_hundred_patients_each_get_their_own_and_strangers_nothing(record: Record) -> None:
    """Every pair of sender's patient and recorded patient: only the right one is found."""
    for label in (PATIENT, OTHER, *(f"{number:05d}" for number in range(0, 100_000, 1031))):
        text = with_field(GOOD, "PID", 1, 3, f"{label}^^^Hospital^MR")
        if label in (PATIENT, OTHER):
            enter(record, read(text))
        else:
            assert "nobody with this identifier" in refused(record, text)
    assert len(record.things("entry")) == 2


def test_laboratory_results_are_kept_shown_and_never_used(record: Record) -> None:
    assert enter(record, read(LAB)) == 3
    assert entries(record) == [
        ("c_reactive_protein", "112", "mg/L"), ("haemoglobin", "sample clotted", None),
        ("pleural_fluid_triglycerides", ">1.24", "mmol/L"),
    ]  # fmt: skip
    found = assess_drain(record, drain_of(record), now_ms=NOW_MS + 1000)
    assert not any(entry.known for entry in found.chart.entries) and len(found.chart.entries) == 3
    assert any("c_reactive_protein" in note and "never used" in note for note in found.chart.notes)


# --- corrected, taken back ---------------------------------------------------------------------------


def status(text: str, told: str, value: str = "60") -> str:
    return with_field(with_field(text, "OBX", 4, 11, told), "OBX", 4, 5, value)


def test_a_correction_is_another_version_of_the_same_entry(record: Record) -> None:
    enter(record, read(GOOD))
    assert enter(record, read(status(GOOD, "C", "62"))) == 1
    assert entries(record) == [("heart_rate", "62", "/min")]
    (entry,) = record.things("entry")
    assert entry.version == 2
    # both come again, in either order: nothing moves
    for text in (GOOD, status(GOOD, "C", "62"), GOOD):
        assert enter(record, read(text)) == 0
    assert entries(record) == [("heart_rate", "62", "/min")]


def test_a_correction_of_what_was_never_here_is_a_result(record: Record) -> None:
    assert enter(record, read(status(GOOD, "C", "62"))) == 1
    assert entries(record) == [("heart_rate", "62", "/min")]


@pytest.mark.parametrize("told", ["D", "W"])
@pytest.mark.parametrize("value", ["60", ""])
def test_what_was_posted_as_wrong_is_taken_back_and_stays_so(record: Record, told: str, value: str) -> None:
    enter(record, read(GOOD))
    assert enter(record, read(status(GOOD, told, value))) == 1
    assert entries(record) == []
    assert enter(record, read(status(GOOD, told, value))) == 0
    assert enter(record, read(GOOD)) == 0  # an old copy of it, delivered late
    assert entries(record) == []


def test_what_is_not_here_cannot_be_taken_back(record: Record) -> None:
    enter(record, read(GOOD))
    later = with_field(status(GOOD, "W"), "OBX", 4, 14, "20210426050000+0000")
    assert "OBX 4, field 11: takes back what is not here" in refused(record, later)


def test_one_senders_correction_does_not_touch_anothers_entry(record: Record) -> None:
    enter(record, read(GOOD))
    other = with_field(status(GOOD, "C", "62"), "MSH", 1, 3, "OTHER")
    assert enter(record, read(other)) == 1
    assert entries(record) == [("heart_rate", "60", "/min"), ("heart_rate", "62", "/min")]


def said(record: Record, text: str) -> tuple[int, list[str]]:
    """How many rows it changed, and what the sender is told."""
    told: list[str] = []
    return enter(record, read(text), lambda at, what: told.append(f"{at}: {what}")), told


def sent(text: str, minute: int, control: str | None = None) -> str:
    """The same, sent so many minutes after eleven by another message."""
    text = with_field(text, "MSH", 1, 7, f"20210426{1100 + minute}00+0000")
    return with_field(text, "MSH", 1, 10, control or f"M-{minute}")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({5: ""}, "no value"), ({5: '""'}, "no value"), ({8: "QUES"}, "marked questionable"),
        ({2: "SN", 5: "<^60"}, "a bound (<60), no value"), ({8: "INV"}, "marked invalid"),
    ],
)  # fmt: skip
def test_a_correction_without_a_value_takes_the_wrong_one_back(
    record: Record, changes: dict[int, str], why: str
) -> None:
    """Table 0085, from memory: C replaces what was sent. What it replaces must not stay in use."""
    enter(record, read(GOOD))
    text = sent(status(GOOD, "C", "80"), 1)
    for field, value in changes.items():
        text = with_field(text, "OBX", 4, field, value)
    assert said(record, text) == (
        1, [f"OBX 4: heart_rate: corrected, and no value is given ({why}): the earlier one is taken back"]
    )  # fmt: skip
    assert entries(record) == []
    assert said(record, text) == (0, [])
    assert enter(record, read(sent(status(GOOD, "C", "80"), 2))) == 1  # the value that it should have been, later
    assert entries(record) == [("heart_rate", "80", "/min")]


def test_a_correction_without_a_value_of_what_is_not_here_is_refused(record: Record) -> None:
    assert "OBX 4, field 11: corrects what is not here, and gives no value" in refused(record, status(GOOD, "C", ""))


def test_what_was_deleted_and_is_sent_anew_is_kept(record: Record) -> None:
    texts = sent(GOOD, 0), sent(status(GOOD, "D"), 1), sent(GOOD, 2)
    assert [enter(record, read(text)) for text in texts] == [1, 1, 1]
    assert entries(record) == [("heart_rate", "60", "/min")]
    assert [said(record, text) for text in (texts[2], texts[1])] == [
        (0, []), (0, ["OBX 4: heart_rate: an older word than what stands: that is not taken back"])
    ]  # fmt: skip
    again = "it was taken back since, and this is no later word: not entered again"
    assert entries(record) == [("heart_rate", "60", "/min")]
    assert enter(record, read(sent(status(GOOD, "W"), 3))) == 1
    assert said(record, texts[0]) == said(record, texts[2]) == (0, [f"OBX 4: heart_rate: {again}"])
    assert entries(record) == []


def test_an_old_correction_does_not_win_over_a_newer_one(record: Record) -> None:
    first, second = sent(status(GOOD, "C", "91"), 1), sent(status(GOOD, "C", "92"), 2)
    for text in (sent(GOOD, 0), first, second):
        assert enter(record, read(text)) == 1
    assert said(record, first) == (0, [])  # the same message: it came before
    older = "OBX 4: heart_rate: an older correction than what stands: not used"
    assert said(record, sent(status(GOOD, "C", "93"), 1, "LATE")) == (0, [older])
    assert entries(record) == [("heart_rate", "92", "/min")]


def test_when_a_result_changed_counts_before_when_it_was_sent(record: Record) -> None:
    """OBR-22, results report or status change, HL7 v2.6 chapter 7, from memory."""

    def changed(text: str, minute: int) -> str:
        return with_field(text, "OBR", 1, 22, f"20210426{1000 + minute}00+0000")

    text = "\r".join([*LAB.split("\r")[:3], "OBX|1|NM|8867-4^^LN||90|/min^^UCUM|||||F"])

    def told(value: str) -> str:
        return with_field(with_field(text, "OBX", 1, 5, value), "OBX", 1, 11, "C")

    assert enter(record, read(changed(text, 0))) == 1
    assert enter(record, read(sent(changed(told("92"), 2), 2))) == 1
    assert enter(record, read(sent(changed(told("91"), 1), 3))) == 0  # sent last, and older
    assert entries(record) == [("heart_rate", "92", "/min")]


def test_a_number_is_taken_back_however_it_is_written(record: Record) -> None:
    enter(record, read(GOOD))
    assert enter(record, read(sent(status(GOOD, "D", "60.0"), 1))) == 1
    assert entries(record) == []


@pytest.mark.parametrize(
    ("code", "value", "unit"),
    [("2708-6", "0.97", "%"), ("8480-6", "120", "Pa"), ("8310-5", "44.5", "Cel"), ("8867-4", "600", "/min")],
)
def test_what_is_hardly_a_patients_is_asked_about(record: Record, code: str, value: str, unit: str) -> None:
    """A share as a percentage, kPa as Pa, a fever that hardly is: the limits are ours, common practice, no source."""
    head = LAB.split("\r")[:3]
    made, told = said(record, "\r".join([*head, f"OBX|1|NM|{code}^^LN||{value}|{unit}^^UCUM|||||F"]))
    assert made == 1 and len(told) == 1 and f"{value} {unit} lies outside" in told[0].replace("/min /min", "/min")
    usual = {"2708-6": "71", "8480-6": "8000", "8310-5": "34.1", "8867-4": "190"}[code]  # an ill one is not asked about
    assert said(record, "\r".join([*head, f"OBX|1|NM|{code}^^LN||{usual}|{unit}^^UCUM|||||F"])) == (1, [])


# --- which stay, and when ------------------------------------------------------------------------------


def close(record: Record, at_ms: int) -> None:
    (stay,) = record.things("episode", {"patient": key_of("patient", PATIENT)})
    with record.act(by="tests", what="closed") as act:
        act.change("episode", stay.key, {"closed_ms": at_ms}, version=stay.version)


def test_a_result_of_a_closed_stay_still_comes_into_it_and_a_later_one_is_refused(record: Record) -> None:
    close(record, NOW_MS - 3_600_000)  # GOOD speaks of nine hours ago
    assert enter(record, read(GOOD)) == 1
    late = with_field(GOOD, "OBX", 4, 14, "20210426113000+0000")
    assert "PID 1, field 3: no stay is open for this patient at that time" in refused(record, late)


@pytest.mark.parametrize(
    ("time", "says"),
    [("20210426120200+0000", "ahead of the clock"), ("20210301000000+0000", "long before this stay")],
)
def test_a_time_that_cannot_be_is_refused(record: Record, time: str, says: str) -> None:
    assert f"OBX 4, field 14: lies {says}" in refused(record, with_field(GOOD, "OBX", 4, 14, time))


def test_a_message_with_one_bad_result_keeps_none_of_them(record: Record) -> None:
    text = GOOD + "\rOBX|12|NM|2708-6^^LN||97|%^^UCUM|||||F|||20210427030000+0000"
    assert "OBX 8, field 14: lies ahead" in refused(record, text)
    assert entries(record) == []


# --- a unit and its patient ----------------------------------------------------------------------------


def test_a_unit_that_serves_another_patient_is_refused(record: Record) -> None:
    assert enter(record, read(unit_message())) == 0
    assert "the unit serves another patient's drain" in refused(record, unit_message(label=OTHER))
    assert "the unit serves another patient's drain" in refused(record, unit_message(serial="SN-42"))


def test_a_unit_that_serves_nobody_may_name_no_patient(record: Record) -> None:
    """A pairing entered later would give the reading to whomever it names: the record keeps no patient with it."""
    says = "PID 1, field 3: the unit serves nobody's drain at that time"
    assert says in refused(record, unit_message(serial="SN-7"))
    assert says in refused(record, unit_message(label=OTHER, at_ms=NOW_MS - 26 * 3_600_000))
    assert enter(record, read(unit_message(label=None, at_ms=NOW_MS - 26 * 3_600_000))) == 0


def test_the_record_stays_what_was_recorded(record: Record) -> None:
    for text in (GOOD, LAB, status(GOOD, "C", "62"), status(GOOD, "W", "")):
        enter(record, read(text))
    assert verify(record).faults == ()


@pytest.mark.slow  # a whole ward is judged
def test_it_is_seen_on_the_drains_page(tmp_path: Path) -> None:
    """Read back from the page's HTML: the rate among the chart's entries, the laboratory's shown as unknown."""
    clock = Clock()
    with a_ward(tmp_path, clock) as (app, client):
        record = app.state.record
        for text in (GOOD, LAB):
            told = with_field(text, "PID", 1, 3, "W-1^^^Hospital^MR")
            assert enter(record, read(with_field(told, "OBR", 1, 7, "20410307080000+0000"))) >= 1
        clock.ms += 60_000
        signed_in(client, "nurse")
        page = client.get(f"/drain/{key_of('drain', key_of('patient', 'W-1'), '1')}")
        assert page.status_code == 200
        other = client.get(f"/drain/{key_of('drain', key_of('patient', 'W-2'), '1')}").text
        for words in ("60 /min", "c reactive protein", "112 mg/L", "hl7 LABSYSTEM HOSP"):
            assert words in page.text, words
            assert words not in other
