"""One truth of what suction is ordered: entered or charted, it is told alike on the round, the drain and a trip."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LOGGED, Bedside, a_bedside
from slackwater.episode.instants import read_zone
from slackwater.report.drain_facts import drain_facts
from slackwater.report.orders import off_words, suction_order
from slackwater.report.round import line_of
from slackwater.store.course import course_of
from slackwater.store.nouns import Value
from slackwater.store.read_out import assess_course
from ward.a_ward import NOW_MS

HOUR = 3_600_000
UTC = read_zone("UTC")


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "physiotherapist") as one:
        yield one


def told(bedside: Bedside) -> tuple[str, str, str]:
    """What three doors say: the round's line, the drain's facts, the trip's page."""
    record = bedside.app.state.record
    with record.reading() as connection:
        course = course_of(connection, LOGGED)
    line = line_of(course, assess_course(record, course, now_ms=NOW_MS), NOW_MS, UTC)
    facts = "; ".join(f"{one.what}, {one.more}" for one in drain_facts(course, NOW_MS, UTC, {}, {}).orders)
    page = bedside.get(f"/drain/{LOGGED}/trip").text
    trip = re.search(r"<dt>Order</dt><dd>(.*?)</dd>", page)
    assert trip is not None
    return f"{line.suction.ordered}; {line.may_be_off}", facts, trip[1]


def ordered(bedside: Bedside, level: str, hours: float, **more: Value) -> None:
    at = NOW_MS - round(hours * HOUR)
    fields: dict[str, Value] = {"drain": LOGGED, "kind": "suction", "level": level, "unit": "cmH2O", "from_ms": at}
    with bedside.app.state.record.act(by="tests", what="ordered") as act:
        act.add("order", f"order-{hours}", {**fields, **more})


def charted(bedside: Bedside, level: str, hours: float) -> None:
    with bedside.app.state.record.act(by="tests", what="charted") as act:
        tube = act.thing("drain", LOGGED)
        assert tube is not None
        act.add("entry", f"row-{hours}", {
            "episode": tube["episode"], "drain": "1", "item": "suction_ordered", "value": level, "unit": "cmH2O",
            "time_ms": NOW_MS - round(hours * HOUR), "written_by": "Invented nurse",
        })  # fmt: skip


def test_an_order_that_is_charted_alone_is_no_missing_order(bedside: Bedside) -> None:
    line, facts, trip = told(bedside)
    level = line.split(" cmH2O")[0]
    assert level.startswith("−") and line.endswith("off suction not ordered: ask first")
    assert facts.startswith(f"Suction {level}") and "charted as ordered" in facts
    assert trip.startswith(level) and trip.endswith("off suction not ordered: ask first")
    page = bedside.get(f"/drain/{LOGGED}").text
    assert "No order is recorded" not in page and f"Suction {level}" in page
    assert "No order of suction is recorded" not in bedside.get(f"/drain/{LOGGED}/try").text


def test_the_later_of_the_two_stands_at_every_door(bedside: Bedside) -> None:
    ordered(bedside, "-12", 2, may_be_off_min=25)
    for one in told(bedside):
        assert "−12" in one and "25 min" in one
    charted(bedside, "-8", 1)
    line, facts, trip = told(bedside)
    for one in (line, facts, trip):
        assert "−8" in one and "25 min" not in one and "not ordered" in one
    assert "−12" not in facts
    ordered(bedside, "none_added", 0.5, unit=None)
    line, facts, trip = told(bedside)
    assert "none added" in line and "none added" in facts and trip == "no suction is added"


def test_an_order_that_has_ended_stands_nowhere_and_does_not_revive_the_one_before(bedside: Bedside) -> None:
    ordered(bedside, "-10", 3, may_be_off_min=25)
    ordered(bedside, "-12", 2, may_be_off_min=25, until_ms=NOW_MS - HOUR)
    line, facts, trip = told(bedside)
    assert line.startswith("none stands; the last, −12 cmH2O") and "25 min" not in line
    assert not facts and trip == "cannot tell: no order of suction is recorded"


def test_without_any_order_none_is_made_up(bedside: Bedside) -> None:
    with bedside.app.state.record.reading() as connection:
        course = course_of(connection, CHARTED)
    assert suction_order(course, NOW_MS) is None
    assert off_words(None) == "cannot tell: no order of suction is recorded"
    assert "No order is recorded, neither entered nor charted." in bedside.get(f"/drain/{CHARTED}").text
