"""Fluid with its sums before it is saved; the canister changed, and suction seen back on.

Sums are checked by hand from the amounts typed here; that what was put in is never subtracted is the chart's own rule
(docs/chart.md). Amounts are invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LOGGED, NOW_MS, Bedside, a_bedside, faults


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:
        yield one


def sums(page: str) -> dict[str, str]:
    return dict(re.findall(r'<tr><th scope="row">([^<]+)</th><td>([^<]+)</td>', page))


def charted(bedside: Bedside, amount: str, at: str, **said: str) -> int:
    return int(bedside.post(f"/drain/{CHARTED}/fluid", fluid_output=amount, at=f"2041-03-07T{at}", **said).status_code)


def test_the_sums_hold_what_is_typed_before_it_is_saved(bedside: Bedside) -> None:
    for hour in ("05", "06", "07", "08"):
        assert charted(bedside, "30", f"{hour}:00") == 303
    page = bedside.post(f"/drain/{CHARTED}/fluid", fluid_output="50", show="1")
    assert page.status_code == 200 and "with what is typed" in page.text
    found = sums(page.text)
    assert (found["last 1 h"], found["last 2 h"], found["last 4 h"]) == ("50 mL", "80 mL", "140 mL")
    assert "no upper bound" in found["last 24 h"], "twelve hours are no answer to a question about twenty-four"
    assert len(bedside.rows(CHARTED)) == 1 and bedside.rows(CHARTED)["fluid_output"]["value"] == "30"


def test_fluid_is_charted_with_its_appearance(bedside: Bedside) -> None:
    said = {"fluid_output": "40", "fluid_appearance": "haemoserous", "canister_level": "300", "note": "after turning"}
    assert bedside.post(f"/drain/{LOGGED}/fluid", **said).status_code == 303
    rows = bedside.rows(LOGGED)
    assert rows["fluid_output"]["note"] == "after turning" and rows["fluid_appearance"]["value"] == "haemoserous"
    assert rows["canister_level"]["unit"] == "mL"


def test_what_was_put_in_is_shown_and_never_subtracted(bedside: Bedside) -> None:
    charted(bedside, "30", "07:00")
    charted(bedside, "50", "08:00", instilled="20")
    page = bedside.get(f"/drain/{CHARTED}/fluid").text
    assert "20 mL put in at 08:00: shown, never subtracted" in page
    found = sums(bedside.post(f"/drain/{CHARTED}/fluid", show="1", fluid_output="0", at="2041-03-07T08:00").text)
    assert found["last 1 h"] == "cannot tell: not told for all of it", "two amounts for one moment settle nothing"


def test_nothing_typed_is_not_zero_and_zero_is(bedside: Bedside) -> None:
    assert "not zero" in faults(bedside.post(f"/drain/{CHARTED}/fluid"))["fluid_output"]
    assert charted(bedside, "0", "09:00") == 303
    assert bedside.rows(CHARTED)["fluid_output"]["value"] == "0"


@pytest.mark.parametrize("amount", ["-5", "1,5", "lots", "1e3000", "\u0661"])
def test_an_amount_that_is_none_is_refused(bedside: Bedside, amount: str) -> None:
    assert "fluid_output" in faults(bedside.post(f"/drain/{CHARTED}/fluid", fluid_output=amount))
    assert not bedside.rows(CHARTED)


def test_a_canister_change_keeps_level_lots_clamp_and_suction(bedside: Bedside) -> None:
    said = {
        "canister_level": "780", "lot": "L-22", "filter_lot": "F-3", "expires": "2043-01-31", "suction_back": "yes",
        "clamp_on": "2041-03-07T08:57", "clamp_off": "2041-03-07T08:59",
    }  # fmt: skip
    for _ in range(2):
        assert bedside.post(f"/drain/{LOGGED}/canister", once="one-canister", **said).status_code == 303
    (one,) = bedside.things("canister", LOGGED)
    assert (one["lot"], one["filter_lot"], one["from_ms"]) == ("L-22", "F-3", NOW_MS) and one["expires_ms"]
    rows = [(row["item"], row["value"], row["time_ms"]) for row in bedside.all_rows(LOGGED)]
    assert ("canister", "changed", NOW_MS) in rows and ("canister_level", "780", NOW_MS) in rows
    assert ("clamp", "on", NOW_MS - 180_000) in rows and ("clamp", "off", NOW_MS - 60_000) in rows
    assert ("suction_unit", "on", NOW_MS) in rows and len(rows) == 5


def test_suction_that_is_not_back_leaves_a_task(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/canister", suction_back="not_yet")
    (task,) = [one for one in bedside.things("task", LOGGED) if "suction back on" in one["what"]]
    assert task["due_ms"] == NOW_MS and task["done_ms"] is None


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ("suction_back", {}),
        ("clamp_on", {"suction_back": "yes", "clamp_on": "2041-03-07T08:57"}),
        ("clamp_on", {"suction_back": "yes", "clamp_on": "2041-03-07T08:57", "clamp_off": "2041-03-07T08:50"}),
        ("canister_level", {"suction_back": "yes", "canister_level": "half"}),
        ("expires", {"suction_back": "yes", "expires": "soon"}),
        ("at", {"suction_back": "yes", "at": "2041-03-07T12:00"}),
    ],
)
def test_each_field_that_cannot_be_is_said_beside_it(bedside: Bedside, field: str, said: dict[str, str]) -> None:
    answer = bedside.post(f"/drain/{LOGGED}/canister", lot="L-22", **said)
    assert field in faults(answer) and 'value="L-22"' in answer.text
    assert not bedside.things("canister", LOGGED)
