"""A unit's reading as a message: read back by our own reader, and by two libraries from outside.

Sources: HL7 v2.6 chapter 7 and IHE PCD TF-2, from memory; hl7apy 1.3.5 validates against the v2.6 structure it
carries; python-hl7 0.4.5 finds the fields.
"""

from __future__ import annotations

from dataclasses import replace

import hl7
import pytest
from hl7apy.parser import parse_message

from behaviour.feed.a_message import CODES, GOOD, NOW_MS, SERIAL, TWIN, read, reading, unit_message
from slackwater.errors import UsageError
from slackwater.feed.hl7_write import oru_of
from slackwater.feed.line import Amount, Reported
from slackwater.reading.log import STATES

READINGS = (
    reading(),
    Reported(SERIAL, 0, 0, "end", "mean", flow=Amount("0", "mL/min")),
    Reported(SERIAL, 2**53 - 1, NOW_MS, "end", "mean", flow=Amount("1.25", "L/min")),
    Reported(SERIAL, 3, NOW_MS, "end", "mean", pressure=Amount("2", "kPa", suction_is="negative")),
    Reported(SERIAL, 4, NOW_MS, "end", "mean", mains=False),
    *(Reported(SERIAL, 5, NOW_MS, "end", "mean", state=state) for state in STATES),
)


@pytest.mark.parametrize("said", READINGS, ids=range(len(READINGS)))
def test_what_is_written_is_read_back(said: Reported) -> None:
    found = read(oru_of(said, CODES, control="M1", sent_ms=NOW_MS, label="a^b|c\\d")).readings
    assert [one.reported for one in found] == [said]


@pytest.mark.parametrize("said", READINGS, ids=range(len(READINGS)))
def test_the_validating_library_takes_it(said: Reported) -> None:
    assert parse_message(oru_of(said, CODES, control="M1", sent_ms=NOW_MS, label="12345")).validate()


def test_the_validating_library_can_tell() -> None:
    """It takes the good example and refuses its twin: tests/data/hl7."""
    assert parse_message(GOOD).validate()
    with pytest.raises(Exception, match="OBX"):
        parse_message(TWIN.decode().rstrip("\r")).validate()


def test_the_other_library_finds_every_field() -> None:
    found = hl7.parse(unit_message())
    values = {str(obx[3][0][0]): str(obx[5]) for obx in found.segments("OBX")}
    assert values["FLOW"] == "40" and values["PRESSURE"] == "-19.6" and values["MAINS"] == "Y"
    assert found.segment("PID").extract_field(1, 3) == "12345"
    assert str(found.segment("MSH")[13]) == "17"
    assert str(found.segments("OBX")[0][18]) == SERIAL


def test_the_sign_of_suction_is_turned_to_the_tables_and_the_parts_with_it() -> None:
    """-24 to -15 is 15 to 24 by the other sign: the same pressures, lowest and highest changed over."""
    codes = {**CODES.codes}
    for measure in ("PRESSURE", "SETSUCTION"):
        codes[measure, "99DRAIN"] = replace(codes[measure, "99DRAIN"], sign="positive")
    turned = replace(CODES, codes=codes)
    found = read(oru_of(reading(), turned, control="M1", sent_ms=NOW_MS), turned).readings[0].reported
    assert found.pressure == Amount("19.6", "cmH2O", suction_is="positive", min="15", max="24.0")
    assert found.set_suction == Amount("20", "cmH2O", suction_is="positive")


def test_what_the_table_cannot_say_is_refused() -> None:
    without_flow = {key: code for key, code in CODES.codes.items() if code.measure != "flow"}
    with pytest.raises(UsageError, match="no code for flow"):
        oru_of(reading(), replace(CODES, codes=without_flow), control="M1", sent_ms=NOW_MS)
    with pytest.raises(UsageError, match="marks end"):
        oru_of(reading(), replace(CODES, marks="start"), control="M1", sent_ms=NOW_MS)
