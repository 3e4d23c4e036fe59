"""Home with a drain: by the rule, told from there, and the clinic's list. Only words and the rule make a red flag."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, HOSTILE, LOGGED, NOW_MS, Bedside, a_bedside, faults, inert
from slackwater.store.acts import key_of
from slackwater.store.verify import verify
from slackwater.web.home_lines import EMPYEMA, NO_RULE

STRICT = key_of("drain", key_of("patient", "W-3"), "1")  # judged by the example that has [[home]]
HOME, DIARY = f"/drain/{STRICT}/home", f"/drain/{STRICT}/diary"
GONE = {"contact": "the ward, extension 1", "sheet": "on", "why": "Invented surgeon: trend is flat"}


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "specialist_nurse") as one:
        yield one


def test_what_the_rule_asks_stands_with_its_five_statuses_and_what_is_untold_is_not_no(bedside: Bedside) -> None:
    shown = bedside.get(HOME).text
    assert "By the rule: " in shown and "help: cannot tell" in shown and "spares: cannot tell" in shown
    assert bedside.post(f"{HOME}/told", home_help="yes", home_phone="no").status_code == 303
    shown = bedside.get(HOME).text
    assert "help: met" in shown and "phone: not met" in shown and "taught: cannot tell" in shown
    assert "By the rule: not met" in shown
    assert NO_RULE in bedside.get(f"/drain/{LOGGED}/home").text.replace("&#39;", "'")
    assert EMPYEMA in shown, "no risk by the day is made up"


def test_gone_home_against_the_rule_needs_a_person_and_a_reason(bedside: Bedside) -> None:
    asked = faults(bedside.post(HOME, contact=HOSTILE))
    assert set(asked) == {"why", "sheet"}
    assert inert(bedside.post(HOME, contact=HOSTILE))
    assert "contact" in faults(bedside.post(HOME, sheet="on", why="x"))
    for _ in range(2):  # sent twice, recorded once
        assert bedside.post(HOME, once="one-home-form", **GONE).status_code == 303
    (home,) = bedside.things("home", STRICT)
    assert home["eligible"] in ("not_met", "cannot_tell") and home["protocol"].startswith("strict-local")
    assert bedside.app.state.record.head().why == GONE["why"]
    assert "at home with it already" in faults(bedside.post(HOME, **GONE))["at"]
    assert not verify(bedside.app.state.record).faults


def test_who_may_send_home_and_who_may_only_look(bedside: Bedside) -> None:
    assert bedside.as_("nurse").post(HOME, **GONE).status_code == 403
    assert "Going home</h2>" not in bedside.get(HOME).text
    assert bedside.as_("engineer").get(DIARY).status_code == 403
    assert bedside.as_("audit_lead").get("/clinic").status_code == 403


def test_the_diary_becomes_chart_rows_that_say_who_told_it(bedside: Bedside) -> None:
    bedside.post(HOME, at="2041-03-06T09:00", **GONE)
    wrong = bedside.post(DIARY, temperature="warm")
    assert set(faults(wrong)) == {"teller", "temperature"}
    assert "distress" in faults(bedside.post(DIARY, teller="patient"))
    for _ in range(2):
        told = bedside.post(
            DIARY, once="one-diary-form", teller="district_nurse", distress="no", temperature="38.4",
            fluid_output="120", fluid_appearance="purulent", at="2041-03-07T08:00",
        )  # fmt: skip
        assert told.status_code == 303
    rows = bedside.rows(STRICT)
    assert rows["temperature"]["value"] == "38.4" and len(bedside.all_rows(STRICT)) == 4
    assert {one["note"] for one in bedside.all_rows(STRICT)} == {"diary, told by district nurse"}
    page = bedside.get(DIARY).text
    assert "fluid purulent" in page and "diary, told by district nurse" in page
    assert not verify(bedside.app.state.record).faults


def test_the_clinic_shows_flags_first_then_what_is_missing(bedside: Bedside) -> None:
    assert "No drain of your wards is recorded as at home." in bedside.get("/clinic").text
    for drain in (LOGGED, CHARTED, STRICT):
        bedside.post(f"/drain/{drain}/home", at="2041-03-06T09:00", **GONE)
    well = {"teller": "patient", "distress": "no", "temperature": "36.8", "fluid_output": "20",
            "fluid_appearance": "serous", "site": "dry, sealed", "at": "2041-03-07T08:00"}  # fmt: skip
    bedside.post(f"/drain/{LOGGED}/diary", **well)
    bedside.post(f"/drain/{STRICT}/diary", **{**well, "fluid_appearance": "bloody"})
    page = bedside.get("/clinic").text
    order = [page.index(f"/drain/{drain}/home") for drain in (STRICT, CHARTED, LOGGED)]
    assert order == sorted(order)
    line = page[order[1] : order[2]]
    assert "Never told from home:" in line and "never" in line and "not booked" in line
    assert "not known: connection not recorded" in line
    assert "3 drains at home" in page and "quiet diary is not a well patient" in page


def test_a_fever_is_told_and_no_limit_is_invented(bedside: Bedside) -> None:
    """No shipped rule names a temperature: it is shown, and no flag is made of it."""
    bedside.post(f"/drain/{LOGGED}/home", at="2041-03-06T09:00", **GONE)
    bedside.post(f"/drain/{LOGGED}/diary", teller="patient", temperature="39.5", at="2041-03-07T08:00")
    page = bedside.get("/clinic").text
    assert "39.5 °C" in page and "The patient first" not in page


def test_back_ends_the_time_at_home(bedside: Bedside) -> None:
    bedside.post(HOME, at="2041-03-06T09:00", **GONE)
    (home,) = bedside.things("home", STRICT)
    change = f"{HOME}/{home.key}"
    assert "to" in faults(bedside.post(change, version="1", to="2041-03-05T09:00"))
    assert bedside.post(change, version="1", visit="2041-03-09T10:00").status_code == 303
    assert bedside.post(change, version="1", contact="another").status_code == 422, "somebody was quicker"
    assert bedside.post(change, version="2", to="2041-03-07T08:30").status_code == 303
    assert "No drain of your wards" in bedside.get("/clinic").text
    assert bedside.things("home", STRICT)[0]["to_ms"] == NOW_MS - 30 * 60_000
