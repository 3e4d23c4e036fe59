"""Signals of units on the ward's pages: entered, told later, seen by who may, and never more than is known."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import AT, CHARTED, HOSTILE, LOGGED, Bedside, a_bedside, faults, inert
from slackwater.store.acts import key_of
from slackwater.web.signal_words import NONE_KNOWN

PAGE = f"/drain/{CHARTED}/signals"


@pytest.fixture
def bedside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:

        async def here(function: object, asked: object) -> object:
            return function(asked)  # type: ignore[operator]

        monkeypatch.setattr(one.app.state.judges, "work", here, raising=False)
        yield one


def test_one_is_entered_told_later_and_seen_over_the_ward(bedside: Bedside) -> None:
    assert NONE_KNOWN in bedside.get(PAGE).text
    ward = bedside.get("/signals").text
    assert "cannot be told: no log here tells of signals" in ward and "0 signals in" not in ward
    assert bedside.post(PAGE, kind="line_blocked", at="2041-03-07T08:00", once="one-form-key").status_code == 303
    bedside.post(PAGE, kind="line_blocked", at="2041-03-07T08:00", once="one-form-key")
    (call,) = bedside.things("unit_call", CHARTED)
    shown = bedside.get(PAGE).text
    assert "line blocked" in shown and "who came is not recorded" in shown
    told = bedside.post(
        f"{PAGE}/{call.key}", version="1", attended="2041-03-07T08:06", attended_by="Night nurse",
        cause="loop_with_fluid", action="loop_emptied",
    )  # fmt: skip
    assert told.status_code == 303
    shown = bedside.get(PAGE).text
    assert "Night nurse came after 6 min; when it ended is not known" in shown and "loop with fluid" in shown
    with bedside.app.state.record.act(by="tests", what="connected") as act:
        tube = act.thing("drain", CHARTED)
        act.change("drain", CHARTED, {"connected_ms": bedside.clock.ms - 5 * 86_400_000}, version=tube.version)
    ward = bedside.get("/signals").text
    assert "1 signal in" in ward and "Median 6 min until somebody came" in ward
    assert "0 of 5 drains have a log that tells of signals" in ward and "Quiet is not none" in ward
    changed = bedside.get("/signals?change=2041-03-05T00:00").text
    assert "Every signal fell after it" in changed
    bedside.post(PAGE, kind="line_blocked", at="2041-03-04T08:00")
    assert "Rate after over rate before" in bedside.get("/signals?change=2041-03-05T00:00").text


def test_attended_is_not_told_as_put_right(bedside: Bedside) -> None:
    bedside.post(PAGE, kind="tilted", at="2041-03-07T08:00", attended="2041-03-07T08:02")
    assert "nothing says that it was put right" in bedside.get(PAGE).text


def test_faults_stand_beside_their_fields_and_nothing_is_lost(bedside: Bedside) -> None:
    wrong = bedside.post(PAGE, at="2041-03-07T08:00", attended="2041-03-07T07:00", attended_by=HOSTILE)
    assert set(faults(wrong)) == {"kind"} and inert(wrong)
    assert "kind" not in faults(bedside.post(PAGE, kind="tilted", at="2041-03-07T08:00", attended="2041-03-07T07:00"))
    assert "at" in faults(bedside.post(PAGE, kind="tilted", at="2041-03-08T08:00"))
    assert not bedside.things("unit_call", CHARTED)
    assert bedside.get("/signals?since=yesterday").status_code == 422


def test_who_may(bedside: Bedside) -> None:
    for role in ("nurse", "engineer", "audit_lead"):
        assert bedside.as_(role).get("/signals").status_code == 200
    assert bedside.as_("keeper").get("/signals").status_code == 403
    assert bedside.as_("engineer").post(PAGE, kind="tilted").status_code == 403
    assert "Write one down" not in bedside.get(PAGE).text


def test_the_caution_stands_on_both_pages_and_nothing_is_silenced(bedside: Bedside) -> None:
    for page in (PAGE, f"/drain/{LOGGED}/signals", "/signals"):
        shown = bedside.get(page).text
        assert 'data-caution="cau-C2"' in shown and "silences nothing" in shown


def test_another_wards_drains_are_in_no_figure(bedside: Bedside) -> None:
    bedside.post(PAGE, kind="tilted", at=AT)
    with bedside.app.state.record.act(by="tests", what="wards") as act:
        person = act.thing("person", key_of("person", "nurse"))
        act.change("person", person.key, {"wards": '["Elsewhere"]'}, version=person.version)
    shown = bedside.as_("nurse").get("/signals").text
    assert "W-5" not in shown and NONE_KNOWN in shown
