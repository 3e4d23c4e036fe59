"""A drain's suction page: no distance is taken for granted, what cannot be told is said, and anyone may look."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, HOSTILE, LOGGED, Bedside, a_bedside, faults, inert
from slackwater.store.acts import key_of

STRICT = key_of("drain", key_of("patient", "W-3"), "1")


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "physiotherapist") as one:
        yield one


def test_a_rule_that_says_no_distance_leaves_it_to_the_reader(bedside: Bedside) -> None:
    unsaid = bedside.get(f"/drain/{LOGGED}/suction")
    assert unsaid.status_code == 200 and "Cannot tell how well the order was kept." in unsaid.text
    assert "no value is usual" in unsaid.text and "kept_within in its [suction]" in unsaid.text
    by_rule = bedside.get(f"/drain/{STRICT}/suction").text
    assert "Within 2 cmH2O of the order" in by_rule and "as the rule says, 2 cmH2O" in by_rule
    nearer = bedside.get(f"/drain/{STRICT}/suction?within=0.01+kPa").text
    assert "Within 0.1 cmH2O of the order" in nearer


def test_without_a_distance_ordered_set_and_delivered_are_shown_all_the_same(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{LOGGED}/suction").text
    assert page.count("<svg") == 1 and 'class="band"' not in page
    assert "Ordered, cmH2O" in page and "Set, cmH2O" in page and "Delivered, cmH2O" in page
    days = re.findall(r"<td>−[\d.]+</td><td>not recorded</td><td>−[\d.]+ \(−[\d.]+ to −?[\d.]+\)</td>", page)
    assert len(days) >= 2, "this unit does not log what it was set to"
    for word in ("too little or too much, min", "Within ", "of the order for"):
        assert word not in page, word
    assert "none of the" in page and "own states and the chart tell" in page


def test_one_picture_a_table_by_shift_and_a_sentence(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{LOGGED}/suction?within=2+cmH2O&shifts=07:00+15:00+23:00").text
    (said,) = re.findall(r'<p class="said"><b>(.*?)</b>', page)
    assert page.count("<svg") == 1 and f'aria-label="{said}"' in page
    assert "By shift" in page and "does not record what the unit was set to" in page
    rows = [int(one) for one in re.findall(r"min</td><td>(\d+)</td>", page)]
    assert len(rows) >= 5 and all(0 < one <= 480 for one in rows), "no shift is longer than eight hours"


def test_without_a_log_nothing_was_delivered_as_far_as_is_known(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{CHARTED}/suction?within=2+cmH2O").text
    assert "No log of a unit is recorded" in page and "<svg" not in page


def test_a_slip_is_told_beside_its_field(bedside: Bedside) -> None:
    for query, field in (("within=2", "within"), ("within=0+kPa", "within"), ("shifts=25:00", "shifts")):
        assert field in faults(bedside.get(f"/drain/{LOGGED}/suction?{query}"))
    assert inert(bedside.client.get(f"/drain/{LOGGED}/suction", params={"within": HOSTILE, "shifts": HOSTILE}))


def test_what_the_order_allows_and_a_trip_explain_a_stretch(bedside: Bedside) -> None:
    """The unit is off for 40 minutes that staff charted, on a trip; the order allows 15."""
    at = bedside.clock.ms - 10 * 3_600_000
    with bedside.app.state.record.act(by="tests", what="told") as act:
        tube = act.thing("drain", LOGGED)
        act.add("order", "an-order", {"drain": LOGGED, "kind": "suction", "level": "-20", "unit": "cmH2O",
                                      "from_ms": at - 3_600_000, "may_be_off_min": 15})  # fmt: skip
        act.add("trip", "a-trip", {"drain": LOGGED, "from_ms": at, "destination": "the film room",
                                   "back_ms": at + 40 * 60_000})  # fmt: skip
        for minute, value in ((0, "off"), (40, "on")):
            act.add("entry", f"row-{value}", {
                "episode": tube["episode"], "drain": "1", "item": "suction_unit", "value": value,
                "time_ms": at + minute * 60_000, "written_ms": act.at_ms, "written_by": "Invented nurse",
            })  # fmt: skip
    page = bedside.get(f"/drain/{LOGGED}/suction?within=2+cmH2O").text
    assert "<b>25 min more than the 15 min allowed</b>" in page
    assert "trip: the film room; unit charted off" in page
    assert "1 of them longer than the order allows" in page
