"""What is read of an HL7 v2 message, and what is passed over.

Sources: HL7 v2.6 chapters 2, 3, 7 and IHE PCD TF-2 (PCD-01), from memory where a chapter is named; the messages as
tests/data/hl7/NOTICE says; LOINC and MDC codes as the project's table of codes has them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import hl7
import pytest

from behaviour.feed.a_message import (
    ADT_BATCH,
    CODES,
    GOOD,
    NOW_MS,
    TWIN,
    field_of,
    read,
    unit_message,
    with_field,
)
from slackwater.episode.instants import read_zone
from slackwater.export.codes import VITALS
from slackwater.feed.hl7_codes import CodesError, read_codes, shipped_codes
from slackwater.feed.hl7_fault import Hl7Error
from slackwater.feed.hl7_message import batch_of, message_of, text_of

AT = int(datetime(2021, 4, 26, 3, 3, 31, 496000, tzinfo=UTC).timestamp() * 1000)  # OBR-7 of GOOD, at -0400


def rate(text: str) -> object:
    (one,) = read(text).results
    return one.value, one.unit, one.time_ms


def refused(text: str | bytes, codes: object = None) -> str:
    with pytest.raises(Hl7Error) as error:
        read(text, codes or CODES)  # type: ignore[arg-type]
    return str(error.value)


# --- the examples that came from outside -----------------------------------------------------------


def test_the_good_one_gives_its_one_reading_and_tells_the_rest() -> None:
    """The example guide's message: heart rate 60, a status in words, a filter's label, a waveform."""
    found = read(GOOD)
    (one,) = found.results
    assert (one.item, one.value, one.unit, one.time_ms, one.known) == ("heart_rate", "60", "/min", AT, True)
    assert (found.label, found.control) == ("12345", "MSG0425230332.872NBR488")
    assert found.sender == "SendingApplication SendingFacility"
    assert [(str(at), why.split("^")[1]) for at, why in found.passed_over] == [
        ("OBX 5", "MDC_ECG_STAT_RHY"), ("OBX 6", "MDC_ATTR_FILTER_LABEL_STRING"), ("OBX 7", "MDC_ECG_ELEC_POTL_I"),
    ]  # fmt: skip


def test_of_its_malformed_twin_all_three_faults_are_told() -> None:
    """As published: a stray blank behind a code, a blank in the samples, one separator too many (so OBX-11 is 12)."""
    with pytest.raises(Hl7Error) as error:
        read(TWIN)
    assert [(str(fault.place), fault.what) for fault in error.value.faults] == [
        ("OBR 2, field 3, component 3", "'MDC ' has a stray blank"),
        ("OBX 7, field 5, component 12", "'- 5' is no number"),
        ("OBX 7, field 11", "has no status"),
    ]


def test_a_batch_is_its_messages() -> None:
    batch = batch_of(ADT_BATCH)
    assert batch.header is not None and batch.header.text(11) == "abchs20070101123401-1"
    assert [message_of(text).header.text(10) for text in batch.texts] == ["12334456778890", "12334456778891"]
    assert [message_of(text).header.text(9, 2) for text in batch.texts] == ["A04", "A04"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("BHS|^~\\&|A\r{good}\rBTS|2", "BTS 1, field 1: says '2' messages, and 1 are there"),
        ("BHS|^~\\&|A\r{good}", "the batch has BHS"),
        ("BHS|^~\\&|A\rBHS|^~\\&|A\r{good}\rBTS|1", "the batch has BHS, BHS, BTS"),
        ("FHS|^~\\&|A\rBHS|^~\\&|A\r{good}\rFTS|1\rBTS|1", "the batch has FHS, BHS, FTS, BTS"),
        ("BHS|^~\\&|A\rPID|1\r{good}\rBTS|1", "PID comes before the first MSH"),
        ("BHS|^~\\&|A\r{good}\rBTS|1\rNTE|1", "something follows BTS"),
        ("BHS|^~\\&|A\r{good}\rBTS|one", "says 'one' messages"),
    ],
)
def test_a_batch_that_is_not_whole_is_refused(text: str, says: str) -> None:
    """HL7 v2.6 chapter 2 (batch protocol: BTS-1 is the count)."""
    with pytest.raises(Hl7Error) as error:
        batch_of(text.format(good=GOOD).encode())
    assert says in str(error.value)


def test_a_file_of_batches_is_its_messages() -> None:
    batch = batch_of(f"FHS|^~\\&|A\rBHS|^~\\&|A\r{GOOD}\r{GOOD}\rBTS|2\rFTS|1\r".encode())
    assert len(batch.texts) == 2


# --- signs, ends of lines, letters -----------------------------------------------------------------


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_however_segments_end_it_is_the_same_message(end: str) -> None:
    """The library takes lines ended by LF for one segment, so they are made CR before it sees them."""
    assert read(GOOD.replace("\r", end) + end) == read(GOOD)


def test_the_library_agrees_on_every_component() -> None:
    """python-hl7 0.4.5, extract_field, over every field of the message."""
    outside = hl7.parse(GOOD)
    ours = message_of(GOOD)
    for segment, place in zip(ours.segments, range(len(outside)), strict=True):
        for field in range(3, 20):
            for component in range(1, 6):
                try:
                    theirs = outside[place].extract_field(1, field, 1, component, 1)
                except (LookupError, IndexError):
                    theirs = ""
                assert segment.text(field, component, 1) == (theirs or ""), (segment.at, field, component)


def test_other_separators_say_the_same() -> None:
    """HL7 v2.6 chapter 2: MSH-1 and MSH-2 say them."""
    swapped = GOOD.translate(str.maketrans("|^~&", "#!;%"))
    assert read(swapped).results == read(GOOD).results


@pytest.mark.parametrize(("charset", "encoding"), [("8859/1", "latin-1"), ("UNICODE UTF-8", "utf-8")])
def test_letters_are_those_of_the_character_set(charset: str, encoding: str) -> None:
    text = with_field(with_field(GOOD, "MSH", 1, 18, charset), "MSH", 1, 3, "Gerät")
    assert read(text.encode(encoding)).sender == "Gerät SendingFacility"


def test_escapes_are_resolved() -> None:
    """HL7 v2.6 chapter 2: \\F\\ \\S\\ \\T\\ \\R\\ \\E\\ and \\Xhh..\\."""
    text = with_field(GOOD, "MSH", 1, 3, "a\\F\\b\\S\\c\\T\\d\\R\\e\\E\\f\\X4142\\")
    assert message_of(text).header.text(3) == "a|b^c&d~e\\fAB"


# --- times -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("20210425230331.496-0400", AT),
        ("20210426030331.4960+0000", AT),
        ("20210426083331.496+0530", AT),
        ("202104252303-0400", AT - 31_496),
    ],
)
def test_a_time_with_its_offset_is_an_instant(told: str, expected: int) -> None:
    assert rate(with_field(GOOD, "OBR", 1, 7, told)) == ("60", "/min", expected)


def test_the_observations_own_time_comes_before_the_requests() -> None:
    """HL7 v2.6 chapter 7: OBX-14, else OBR-7."""
    assert rate(with_field(GOOD, "OBX", 4, 14, "20210426030000+0000")) == ("60", "/min", AT - 211_496)


def test_without_an_offset_the_headers_holds_for_the_message() -> None:
    """HL7 v2.6 chapter 2, MSH-7: the zone of the message is its default."""
    assert rate(with_field(GOOD, "OBR", 1, 7, "20210425230331.496")) == ("60", "/min", AT)


def test_without_any_offset_it_is_refused_until_a_zone_is_declared() -> None:
    text = with_field(with_field(GOOD, "MSH", 1, 7, "20210425230332"), "OBR", 1, 7, "20210425230331.496")
    assert "OBR 1, field 7: '20210425230331.496' is local time and its zone is not said" in refused(text)
    found = read(text, replace(CODES, zone=read_zone("America/New_York")))
    assert found.results[0].time_ms == AT


def test_a_time_that_came_twice_is_refused_though_the_zone_is_declared() -> None:
    """The clocks of Vienna went back on 2021-10-31 at 03:00 (tz database)."""
    text = with_field(with_field(GOOD, "MSH", 1, 7, "20211031040000"), "OBR", 1, 7, "20211031023000")
    with pytest.raises(Hl7Error, match="came twice in Europe/Vienna"):
        read(text, replace(CODES, zone=read_zone("Europe/Vienna")))


# --- values, status, flags -------------------------------------------------------------------------


@pytest.mark.parametrize(("status", "taken"), [("F", 1), ("R", 1), ("C", 1), ("P", 0), ("I", 0), ("N", 0), ("S", 0)])
def test_a_result_counts_by_its_status(status: str, taken: int) -> None:
    """HL7 table 0085; that a preliminary result is waited for is ours."""
    both = GOOD + "\rOBX|12|NM|2708-6^^LN||97|%^^UCUM|||||F|||20210426030000+0000"
    found = read(with_field(both, "OBX", 4, 11, status))
    assert sum(one.item == "heart_rate" for one in found.results) == taken


@pytest.mark.parametrize("flag", ["INV", "NAV", "QUES", "CALB", "TEST", "DEMO", "L~INV"])
def test_a_value_that_is_marked_as_no_reading_is_passed_over(flag: str) -> None:
    """IHE PCD TF-2, OBX-8."""
    both = GOOD + "\rOBX|12|NM|2708-6^^LN||97|%^^UCUM|||||F|||20210426030000+0000"
    found = read(with_field(both, "OBX", 4, 8, flag))
    assert [one.item for one in found.results] == ["spo2"]
    assert any("heart_rate: " in why for _, why in found.passed_over)


@pytest.mark.parametrize("empty", ["", '""'])
def test_an_empty_value_is_no_zero(empty: str) -> None:
    both = GOOD + "\rOBX|12|NM|2708-6^^LN||97|%^^UCUM|||||F|||20210426030000+0000"
    found = read(with_field(both, "OBX", 4, 5, empty))
    assert [one.item for one in found.results] == ["spo2"]
    assert any(why == "heart_rate: no value" for _, why in found.passed_over)


def test_a_bound_is_no_value_of_a_chart_item_and_is_shown_of_a_laboratorys() -> None:
    """HL7 v2.6 chapter 2.A (SN): <^5 is 'below 5'."""
    text = with_field(with_field(GOOD, "OBX", 4, 2, "SN"), "OBX", 4, 5, "<^60")
    text += "\rOBX|12|SN|CRP^^99LAB||<^5|mg/L^^UCUM|||||F|||20210426030000+0000"
    found = read(text)
    assert [(one.item, one.value, one.unit, one.known) for one in found.results] == [
        ("c_reactive_protein", "<5", "mg/L", False)
    ]


def test_an_alternate_code_and_unit_are_read() -> None:
    """HL7 v2.6 chapter 2.A (CWE): components 4 to 6 are the alternate identifier."""
    text = with_field(GOOD, "OBX", 4, 3, "HR^rate^99THEIRS^8867-4^Heart rate^LN")
    text = with_field(text, "OBX", 4, 6, "1^per minute^99THEIRS^{beats}/min^beats^UCUM")
    assert rate(text) == ("60", "/min", AT)


# --- the table of codes ----------------------------------------------------------------------------


def test_vital_signs_have_the_codes_and_units_of_the_other_door() -> None:
    """LOINC codes as `slackwater export read` has them."""
    shipped = shipped_codes()
    by_loinc = {code: one.item for (code, system), one in shipped.codes.items() if system == "LN"}
    assert by_loinc == {vital.loinc: vital.item for vital in VITALS}


TABLE = """
[patient]
identifier = "MR"
[readings]
marks = "end"
statistic = "mean"
[[code]]
code = "A"
system = "99X"
item = "heart_rate"
"""


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda text: text + '[[code]]\ncode="A"\nsystem="99X"\nitem="spo2"\n', "A of 99X stands twice"),
        (
            lambda text: text.replace("heart_rate", "hart_rate"),
            "code 1, item: 'hart_rate' is no item. Write heart_rate",
        ),
        (lambda text: text.replace("heart_rate", "fluid_output"), "fluid_output is not charted by message"),
        (lambda text: text.replace("heart_rate", "CRP"), "code 1, item: 'CRP' is no item"),
        (lambda text: text.replace('item = "heart_rate"', ""), "either measure or item"),
        (lambda text: text.replace('item = "heart_rate"', 'measure = "flwo"'), "'flwo' is no measure"),
        (lambda text: text.replace('item = "heart_rate"', 'measure = "pressure"'), "sign that suction has"),
        (lambda text: text.replace('item = "heart_rate"', 'measure = "mains"'), "words as sent"),
        (lambda text: text.replace('"end"', '"middle"'), "'middle' is no word for it"),
        (lambda text: text.replace('identifier = "MR"', ""), "patient, identifier: is missing"),
        (lambda text: text + '[time]\nzone="Wien"\n', "names no time zone"),
        (lambda text: text + '[[unit]]\ncode="1"\nname="x"\nis="furlong"\n', "'furlong' is no unit here"),
        (lambda text: text + "[colour]\n", "'colour' is no key"),
        (lambda text: text + "[[code]\n", "is no TOML"),
        (lambda text: text.replace('item = "heart_rate"', 'measure = "flow"\nstep = "10"'), "has no unit"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_with_the_place(change: Callable[[str], str], says: str) -> None:
    assert read_codes(TABLE.encode(), "t.toml").codes["A", "99X"].item == "heart_rate"
    with pytest.raises(CodesError) as error:
        read_codes(change(TABLE).encode(), "t.toml")
    assert says in str(error.value) and str(error.value).startswith("t.toml")


def test_one_code_that_means_two_things_is_refused() -> None:
    text = with_field(GOOD, "OBX", 4, 3, "8867-4^^LN^2708-6^^LN")
    assert "OBX 4, field 3: its two codes mean heart_rate and spo2 here" in refused(text)


def test_the_authority_of_the_number_may_be_asked_for() -> None:
    """HL7 v2.6 chapter 3 (PID-3, CX): component 4 is who assigned it."""
    text = with_field(GOOD, "PID", 1, 3, "12345^^^Hospital^MR~777^^^Elsewhere^MR")
    assert read(text, replace(CODES, authority="Hospital")).label == "12345"
    assert "2 identifiers of type MR" in refused(text)
    assert "no identifier of type MR by Third" in refused(text, replace(CODES, authority="Third"))


@pytest.mark.parametrize("use", ["D", "T"])
def test_debugging_and_training_stay_out_of_charts_unless_the_table_says_otherwise(use: str) -> None:
    """HL7 table 0103 (MSH-11): P production, D debugging, T training."""
    text = with_field(GOOD, "MSH", 1, 11, use)
    assert f"MSH 1, field 11: '{use}' is not taken here" in refused(text, shipped_codes())
    assert read(with_field(GOOD, "MSH", 1, 11, "P"), shipped_codes()).results


def test_only_senders_of_the_table_are_heard() -> None:
    assert "MSH 1, field 3: 'SendingApplication' is no sender known here" in refused(
        GOOD, replace(CODES, senders=("MONITOR",))
    )


# --- a unit's own readings ---------------------------------------------------------------------------


def test_a_units_serial_is_that_of_the_nearest_part_above_in_the_device_tree() -> None:
    """IHE PCD TF-2: OBX-4 is the path, OBX-18 the equipment."""
    text = unit_message()
    assert read(text).readings[0].reported.unit == "SN-41"
    assert read(with_field(text, "OBX", 2, 18, "MODULE-2")).readings[0].reported.unit == "MODULE-2"
    own = text
    for which in range(4, 14):
        own = with_field(own, "OBX", which, 18, "SN-7")
    assert read(own).readings[0].reported.unit == "SN-7"


def test_a_unit_that_names_no_patient_is_read() -> None:
    """Whose it is the pairing says: a unit need not know."""
    found = read(unit_message(label=None))
    assert found.label is None and len(found.readings) == 1


@pytest.mark.parametrize("count", ["MSH-13", "MSH-10", "time"])
def test_where_the_count_stands_is_the_tables_to_say(count: str) -> None:
    text = with_field(with_field(unit_message(), "MSH", 1, 10, "99"), "MSH", 1, 13, "17")
    found = read(text, replace(CODES, sequence=count)).readings[0].reported.sequence
    assert found == {"MSH-13": 17, "MSH-10": 99, "time": NOW_MS - 60_000}[count]


def test_several_readings_in_a_message_each_tell_their_count() -> None:
    second = unit_message(sequence=18, at_ms=NOW_MS - 30_000).split("\r")[2:]
    text = "\r".join([unit_message(), *second])
    assert "several readings in a message each need" in refused(text)
    counted = text.split("\r")
    for number, at in ((18, len(counted)), (17, 16)):
        counted.insert(at, f"OBX|99|NM|COUNT^^99DRAIN||{number}||||||R")
    found = read("\r".join(counted)).readings
    assert [(one.reported.sequence, one.reported.time_ms) for one in found] == [
        (17, NOW_MS - 60_000), (18, NOW_MS - 30_000),
    ]  # fmt: skip


def test_a_part_that_the_unit_cannot_tell_is_left_out_and_the_rest_is_read() -> None:
    text = with_field(with_field(unit_message(), "OBX", 10, 5, ""), "OBX", 10, 11, "X")
    found = read(text)
    assert found.readings[0].reported.battery is None and found.readings[0].reported.flow is not None
    assert [why for _, why in found.passed_over] == ["battery: cannot be obtained"]


def test_what_a_display_can_tell_apart_is_the_tables_to_say() -> None:
    codes = {**CODES.codes}
    codes["FLOW", "99DRAIN"] = replace(codes["FLOW", "99DRAIN"], step="0.01 L/min", rounding="nearest")
    flow = read(unit_message(), replace(CODES, codes=codes)).readings[0].reported.flow
    assert flow is not None and (flow.step, flow.rounding, flow.unit) == ("10", "nearest", "mL/min")


def test_pressure_is_read_by_the_sign_of_the_table() -> None:
    codes = {**CODES.codes}
    codes["PRESSURE", "99DRAIN"] = replace(codes["PRESSURE", "99DRAIN"], sign="positive")
    found = read(unit_message(), replace(CODES, codes=codes)).readings[0].reported.pressure
    assert found is not None and found.suction_is == "positive"


def test_nothing_vanishes_without_the_message_being_told() -> None:
    """Every OBX with a value is a result, part of a reading, or told as passed over."""
    found = read(GOOD)
    with_values = [n for n in range(1, 8) if field_of(GOOD, "OBX", n, 5)]
    told = {one.at.number for one in found.results} | {at.number for at, _ in found.passed_over}
    assert told == set(with_values)


def test_text_is_bounded_before_it_is_parsed() -> None:
    with pytest.raises(Hl7Error, match="bytes long"):
        text_of(b"MSH|" + b"x" * 300_000)


# --- nothing is cut short ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "which", "field", "value", "says"),
    [
        ("PID", 1, 3, "6789&X^^^Hospital^MR", "PID 1, field 3, component 1: has parts"),
        ("PID", 1, 3, "12345^^^Hospital^MR&X", "PID 1, field 3, component 5: has parts"),
        ("OBX", 4, 5, "60&5", "OBX 4, field 5, component 1: has parts"),
        ("OBX", 4, 11, "F&C", "OBX 4, field 11, component 1: has parts"),
        ("OBX", 4, 11, "F^C", "OBX 4, field 11: has components"),
        ("OBX", 4, 11, "F~C", "OBX 4, field 11: stands there several times"),
        ("OBX", 4, 3, "8867-4&9279-1^^LN", "OBX 4, field 3, component 1: has parts"),
        ("OBX", 4, 3, "8867-4^^LN~9279-1^^LN", "OBX 4, field 3: stands there several times"),
        ("OBX", 4, 6, "/min^^UCUM~%^^UCUM", "OBX 4, field 6: stands there several times"),
        ("OBX", 4, 6, "/min&%^^UCUM", "OBX 4, field 6, component 1: has parts"),
        ("OBX", 4, 8, "INV&N", "OBX 4, field 8, component 1: has parts"),
        ("OBX", 4, 14, "20210426030000+0000^D", "OBX 4, field 14: has components"),
        ("OBX", 4, 14, "20210426030000+0000~20210426040000+0000", "OBX 4, field 14: stands there several times"),
        ("OBX", 4, 2, "NM~ST", "OBX 4, field 2: stands there several times"),
        ("MSH", 1, 3, "ONE~OTHER", "MSH 1, field 3: stands there several times"),
        ("MSH", 1, 10, "A^B", "MSH 1, field 10: has components"),
        ("MSH", 1, 7, "20210425230332-0400^D", "MSH 1, field 7: has components"),
    ],
)
def test_what_names_or_measures_is_never_cut(name: str, which: int, field: int, value: str, says: str) -> None:
    """HL7 v2.6 chapter 2, from memory: components, subcomponents and repetitions; & itself is sent as \\T\\."""
    assert says in refused(with_field(GOOD, name, which, field, value))


def test_of_a_units_reading_nothing_is_cut_either() -> None:
    for value, says in (("SN-41&SN-42", "field 18, component 1: has parts"), ("SN-41~SN-42", "several instances")):
        assert says in refused(with_field(unit_message(), "OBX", 1, 18, value))
    assert "OBX 6, field 5, component 1: has parts" in refused(with_field(unit_message(), "OBX", 6, 5, "-19.6&5"))
    assert "MSH 1, field 13: has components" in refused(with_field(unit_message(), "MSH", 1, 13, "17^18"))


def test_an_escaped_sign_is_part_of_the_number() -> None:
    assert read(with_field(GOOD, "PID", 1, 3, "6789\\T\\X^^^Hospital^MR")).label == "6789&X"


def test_an_authority_may_have_its_parts_and_two_are_two() -> None:
    """PID-3.4 is an HD, whose parts are subcomponents there (HL7 v2.6 chapter 2.A, from memory)."""
    assert read(with_field(GOOD, "PID", 1, 3, "12345^^^Hospital&1.2.3&ISO^MR")).label == "12345"
    two = "12345^^^&1.2.3&ISO^MR~12345^^^&4.5.6&ISO^MR"
    assert "2 identifiers of type MR" in refused(with_field(GOOD, "PID", 1, 3, two))


def test_words_are_shown_whole() -> None:
    """A sender that does not escape: all of it is shown, and not the part before the sign."""
    text = with_field(with_field(GOOD, "OBX", 4, 3, "HB^^99LAB"), "OBX", 4, 2, "ST")
    for value in ("12^5", "clotted & lysed", "<5"):
        (one,) = read(with_field(text, "OBX", 4, 5, value)).results
        assert one.value == value


def test_each_of_a_fields_repetitions_costs_the_same_however_many_they_are() -> None:
    """16 000 flags took three minutes, and the listener stood still. Counted in calls: no clock is asked."""

    def calls(flags: int) -> int:
        count = 0

        def called(*_: object) -> None:
            nonlocal count
            count += 1

        text, before = with_field(GOOD, "OBX", 4, 8, "~".join(["N"] * flags)), sys.getprofile()
        sys.setprofile(called)
        try:
            read(text)
        finally:
            sys.setprofile(before)
        return count

    none, few, many = calls(1), calls(200), calls(1600)
    assert many - none < 10 * (few - none)
