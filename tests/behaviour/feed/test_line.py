"""A line is read strictly: units and signs are said, what is absent is missing, and what cannot be is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from behaviour.feed.malformed import GOOD, amount, line, malformed, without
from slackwater.feed.line import Amount, LineError, Reported, line_of, message_of, read_line

LIST = list(malformed())
BY_THE_DOOR = ("UTF-8", "not UTF-8", "another unit's")  # refused before or after the line is read: test_http.py
READ = [(text, why) for text, why in LIST if why not in BY_THE_DOOR]


def test_a_line_is_understood() -> None:
    found = read_line(json.dumps(GOOD))
    # 2041-03-04T14:19:01Z: days from 1970 to 2041-03-04 by the civil calendar, times 86,400, by hand.
    assert (found.unit, found.sequence, found.time_ms) == ("FEED-7", 41, 2_246_019_541_000)
    assert found.flow == Amount("40", "mL/min", max="60", step="10", ceiling="5000", rounding="nearest")
    assert found.pressure == Amount("-19.6", "cmH2O", suction_is="negative", min="-22", max="-18", step="0.1")
    assert (found.mains, found.state) == (True, "running")


def test_ucum_codes_are_the_same_units() -> None:
    # UCUM: cm[H2O], mm[Hg].
    assert read_line(amount("pressure", unit="mm[Hg]")) == read_line(amount("pressure", unit="mmHg"))


def test_what_is_absent_is_missing_and_never_zero() -> None:
    for key in ("flow", "pressure", "set_suction", "battery", "fluid", "mains", "state", "every"):
        assert getattr(read_line(without(key)), key) is None


def test_digits_are_kept_as_sent() -> None:
    forty = read_line(line(flow={"value": 40, "unit": "mL/min"}))
    assert forty.flow is not None and forty.flow.value == "40"
    told = line(flow={"value": 40, "unit": "mL/min"}).replace('"value": 40,', '"value": 40.0,')
    assert read_line(told).flow == replace(forty.flow, value="40.0")


def test_the_same_reading_in_other_words_is_the_same_message() -> None:
    told = dict(reversed(GOOD.items())) | {"time": "2041-03-04T14:19:01.000Z"}
    assert message_of(read_line(json.dumps(told, indent=1))) == message_of(read_line(json.dumps(GOOD)))


def test_the_one_form_reads_back() -> None:
    found = read_line(json.dumps(GOOD))
    assert read_line(line_of(found)) == found and line_of(read_line(line_of(found))) == line_of(found)


def test_there_are_two_hundred_ways_to_be_wrong() -> None:
    assert len({text for text, _ in LIST}) >= 200


@pytest.mark.parametrize(("text", "why"), READ, ids=range(len(READ)))
def test_each_is_refused_with_its_own_reason(text: bytes, why: str) -> None:
    with pytest.raises(LineError) as refused:
        read_line(text.decode())
    assert why in str(refused.value) and "\n" not in str(refused.value) and len(str(refused.value)) < 400


def test_another_door_is_held_to_the_same() -> None:
    good = Reported("FEED-7", 1, 0, "end", "mean", flow=Amount("40", "mL/min"))
    for wrong in (
        {"flow": Amount("forty", "mL/min")}, {"flow": Amount("40", "kPa")}, {"flow": Amount("40", "mL/min", min="1")},
        {"pressure": Amount("-20", "cmH2O")}, {"unit": "a b"}, {"sequence": -1}, {"time_ms": -1}, {"marks": ""},
        {"state": "asleep"}, {"flow": None},
    ):  # fmt: skip
        with pytest.raises(LineError):
            replace(good, **wrong)
