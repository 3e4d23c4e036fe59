"""A reading that staff took off the unit is recorded flow: it fires what the unit wants to hear of.

Source of each check: docs/protocols.md, on escalation. Its reasons are ours: nothing that was charted is hidden, and
one reading is no run and no mean.
"""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.assessment.a_quiet_stay import LAYOUT, MINUTES, Said, answer, part, quiet, rule
from property.a_small_stay import log_rows, log_text

LARGE = '[[escalation]]\nid = "large"\nmeasure = "air_leak"\nis = "above"\nlimit = "500 mL/min"\n'
NOW = rule(LARGE + 'within = "30 min"\n')
MEAN = rule(LARGE + 'within = "30 min"\nbin = "10 min"\n')
LASTING = rule(LARGE + 'lasting = "1 h"\n')


def read(value: str, minute: int, unit: str = "mL/min") -> Said:
    return Said(minute, "air_leak_read", value, unit)


def large(*said: Said, protocol: Any = NOW, **how: Any) -> dict[str, Any]:
    return part(answer(quiet(*said), protocol=protocol, **how), "large")


@pytest.mark.parametrize(("value", "status"), [("900", "met"), ("501", "met"), ("500", "not_met"), ("20", "not_met")])
def test_without_a_log_a_reading_over_the_limit_fires(value: str, status: str) -> None:
    found = large(read(value, MINUTES - 5), logs=[], at=MINUTES)
    assert found["status"] == status
    assert found["value"] == {"low": float(value), "high": float(value), "unit": "mL/min"}
    assert found["evidence"][0]["rows"] == [{"file": "chart.csv", "from_line": 2, "to_line": 2}]


@pytest.mark.parametrize(("ago", "status"), [(29, "met"), (30, "cannot_tell")])
def test_it_fires_for_as_long_as_the_item_looks_back(ago: int, status: str) -> None:
    assert large(read("900", MINUTES - ago), logs=[], at=MINUTES)["status"] == status


def test_charted_after_the_log_ended_it_fires_though_the_log_was_quiet() -> None:
    found = large(read("0.9", MINUTES + 4, "L/min"), at=MINUTES + 5)
    assert (found["status"], found["value"]["low"], found["note"]) == ("met", 900.0, "a reading charted")


def test_control_a_quiet_log_fires_nothing() -> None:
    assert large(at=MINUTES + 5)["status"] == "not_met"
    assert large(read("40", MINUTES + 4), at=MINUTES + 5)["status"] == "not_met"


def test_charted_where_the_log_is_silent_it_fires() -> None:
    stay = quiet(read("900", MINUTES - 5)).without(range(MINUTES - 10, MINUTES + 1))
    found = answer(stay, protocol=NOW, logs=[log_text(log_rows(stay))], layout=LAYOUT, at=MINUTES)
    assert part(found, "large")["status"] == "met"


@pytest.mark.parametrize(("ago", "status"), [(5, "cannot_tell"), (29, "cannot_tell"), (40, "not_met")])
def test_a_quiet_log_since_leaves_it_open_and_never_denies_it(ago: int, status: str) -> None:
    found = large(read("900", MINUTES - ago))
    assert found["status"] == status
    assert status == "not_met" or found["value"]["low"] == 900.0


def test_a_lower_reading_since_leaves_it_open() -> None:
    """It may be of another drain of the space."""
    said = (read("900", MINUTES - 20), read("20", MINUTES - 5))
    assert large(*said, logs=[], at=MINUTES)["status"] == "cannot_tell"


def test_two_readings_of_one_moment_that_differ_fire_nothing() -> None:
    said = (read("900", MINUTES - 5), read("20", MINUTES - 5))
    assert large(*said, logs=[], at=MINUTES)["status"] == "cannot_tell"


@pytest.mark.parametrize("logs", [None, []])
def test_of_a_mean_over_minutes_one_reading_tells_nothing_for_sure(logs: list[bytes] | None) -> None:
    found = large(read("900", MINUTES + 4), protocol=MEAN, logs=logs, at=MINUTES + 5)
    assert (found["status"], found["value"]["low"]) == ("cannot_tell", 900.0)


@pytest.mark.parametrize(("later", "status"), [(30, "not_met"), (59, "not_met"), (60, "cannot_tell")])
@pytest.mark.parametrize("said", [True, False])
def test_what_may_have_lasted_since_the_log_ended_is_not_denied(later: int, status: str, said: bool) -> None:
    """The log's last minute denies it; an hour after that minute it may have lasted an hour."""
    readings = [read("900", MINUTES + later - 5)] if said else []
    assert large(*readings, protocol=LASTING, at=MINUTES + later)["status"] == status
