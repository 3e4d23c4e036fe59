"""M41: what is printed and what was decided agree, and so do the terminal and the JSON."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC

import pytest
from hypothesis import strategies as st

import slackwater
from property.a_small_stay import PROTOCOL, Reading, Stay, healed, judged, stays
from property.quick_and_many import Laws
from slackwater.cli.view.answer import answer_text
from slackwater.protocol.status import Status
from slackwater.report.words import SHAPES, amount, bounds

LAWS = Laws()
SAID = {f"{SHAPES[status]} {status.said}": status.word for status in Status}
SHOWN = re.compile(r"^  (\S.{0,15}?) +(" + "|".join(re.escape(text) for text in SAID) + r")(?: |$)", re.MULTILINE)
GUARDS = {"tube shown open": "tube_open", "effort tried": "effort_seen"}


def numbers(text: str) -> list[float]:
    return [float(found) for found in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text)]


@LAWS.law(stays(), st.sampled_from((None, PROTOCOL)))
def test_the_terminal_says_the_statuses_of_the_document(stay: Stay, protocol: slackwater.Protocol | None) -> None:
    found = judged(stay, protocol=protocol)
    text, document = answer_text(found, UTC, colour=False), slackwater.document(found)
    shown = {GUARDS.get(name, name): SAID[status] for name, status in SHOWN.findall(text)}
    for part in (*document["criteria"], *document["guards"]):
        name = next((key for key in shown if key.replace(" ", "_") == part["id"]), None)
        if name is not None:
            assert shown[name] == part["status"], part["id"]
    assert {c["id"] for c in document["criteria"]} <= set(shown)
    headline = " ".join(text[text.index("Air leak:") :].partition("\n\n")[0].split())
    if document["overall"] is not None:
        word = Status[document["overall"].upper()].said
        assert (
            f"criteria of small-50 (example, NOT APPROVED): {word}." in headline
            or f"criteria of small-50 (example, NOT APPROVED) {word} on recorded data since" in headline
        )


@LAWS.law(stays())
def test_the_number_printed_and_the_relation_printed_agree(stay: Stay) -> None:
    found = judged(stay)
    leak = slackwater.document(found)["leak"]
    text = answer_text(found, UTC, colour=False)
    sentence = " ".join(text[text.index("Air leak:") :].split())
    if leak["state"] == "leaking":
        printed = numbers(sentence.partition("leaking, ")[2].partition(" mL/min")[0])
        assert min(printed) >= leak["limit"]
    elif leak["state"] == "quiet":
        printed = numbers(sentence.partition("recorded flow ")[2].partition(" mL/min against")[0])
        limit = numbers(sentence.partition("against ")[2].partition(" mL/min")[0])[0]
        assert max(printed) <= limit == leak["limit"]
    else:
        assert "cannot tell" in sentence[:40]


@LAWS.law(stays())
def test_a_clause_that_is_met_prints_no_value_beyond_its_limit(stay: Stay) -> None:
    found = judged(stay)
    air = next(c for c in slackwater.document(found)["criteria"] if c["id"] == "air")
    if air["status"] == "met":
        assert air["value"]["high"] <= 50
        assert numbers(bounds(air["value"]["low"], air["value"]["high"], ""))[-1] <= 50
    if air["status"] == "not_met" and air["value"] and (air["run"]["lasted_s"] or 0) == 0:
        assert air["value"]["high"] is None or air["value"]["high"] >= air["value"]["low"]


def test_a_mean_on_either_side_of_the_limit_is_printed_on_its_own_side() -> None:
    """Steps of 5 and a ten-minute mean: 49.75 is below 50, and is not printed as 50."""
    assert amount(49.75) != "50"


def test_a_value_just_below_the_limit_is_not_printed_as_the_limit() -> None:
    assert amount(49.96) != amount(50.0)


def test_the_shapes_are_all_different() -> None:
    assert len(set(SHAPES.values())) == len(SHAPES) == len({one.said for one in Status})


def test_a_leak_and_its_absence_read_differently() -> None:
    leaking = Stay(tuple(replace(r, flow=395 + 5 * (r.minute % 3)) for r in healed().readings), ())
    texts = {
        answer_text(judged(stay), UTC, colour=False).partition("Air leak: ")[2].split(",")[0]
        for stay in (healed(), leaking)
    }
    assert texts == {"below limit", "leaking"}
    assert isinstance(leaking.readings[0], Reading)


@pytest.mark.slow
@pytest.mark.parametrize("name", LAWS.names)
def test_many(name: str) -> None:
    LAWS.many(name)
