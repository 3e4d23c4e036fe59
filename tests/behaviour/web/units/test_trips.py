"""A trip on battery: planned, answered from the unit's own battery, come back from; and the whole day of a ward."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from behaviour.web.units.a_fleet_ward import DRAIN, NOW_MS, UNIT, a_fleet
from slackwater.store.acts import key_of
from slackwater.store.charges import NOTHING, batteries
from slackwater.store.register import take_register
from ward.a_ward import signed_in

pytestmark = pytest.mark.slow  # two days of a log are recorded once for the file; no suction in its last 25 minutes
BARE = key_of("drain", key_of("patient", "W-5"), "1")


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_fleet(tmp_path_factory.mktemp("fleet"), until_min=25) as both:
        yield both


def form(csrf: str, once: str, **said: str) -> dict[str, str]:
    typed = {"destination": "X-ray", "planned_min": "40", "at": "2041-03-07T09:20", "fallback": "socket in X-ray"}
    return {"csrf": csrf, "once": once, **typed, **said}


def test_the_charge_covers_it_by_the_rules_margin_and_nothing_says_go(ward: tuple[FastAPI, TestClient]) -> None:
    """Full to a third last about 201 min; 40 min planned need 40 x 2 + 30 = 110 (the example rule's own numbers)."""
    app, client = ward
    csrf = signed_in(client, "physiotherapist")
    page = client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-1", show="1")).text
    assert "charge covers it: needed 110 min, planned time x 2 + 30 min; 100 % lasts about 201 min" in page
    assert not app.state.record.things("trip"), "shown, not recorded"
    low = client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-1", show="1", charge_percent="30")).text
    assert "charge does not cover it" in low
    between = client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-1", show="1", charge_percent="36.7")).text
    assert "cannot tell: needed 110 min" in between
    assert client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-1")).status_code == 303
    client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-1"))
    (trip,) = app.state.record.things("trip")
    assert trip["charge"] == "covers" and trip["planned_min"] == 40 and trip["fallback"] == "socket in X-ray"


def test_the_charge_now_says_nothing_of_a_trip_that_leaves_later(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "physiotherapist")
    said = form(csrf, "trip-form-5", destination="scan", at="2041-03-07T13:00", charge_percent="40")
    page = client.post(f"/drain/{DRAIN}/trip", data={**said, "show": "1"}).text
    assert "cannot tell yet: the charge at 13:00 decides; needed 110 min" in page
    assert client.post(f"/drain/{DRAIN}/trip", data=said).status_code == 303
    (trip,) = (one for one in app.state.record.things("trip") if one["destination"] == "scan")
    assert trip["charge"] == "cannot_tell" and "the charge at 13:00 decides" in trip["because"]
    assert "By the charge now: cannot tell yet" in client.get("/trips").text


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"destination": ""}, "Write where to"), ({"fallback": ""}, "if the charge runs low"),
        ({"planned_min": ""}, "how long there and back"), ({"planned_min": "-3"}, "not a number"),
        ({"at": "2041-03-07T07:00"}, "has passed"), ({"at": ""}, "when they leave"),
        ({"charge_percent": "130"}, "0 to 100"),
    ],
)  # fmt: skip
def test_what_is_missing_is_asked_for_and_nothing_typed_is_lost(
    ward: tuple[FastAPI, TestClient], said: dict[str, str], told: str
) -> None:
    app, client = ward
    csrf = signed_in(client, "physiotherapist")
    before = len(app.state.record.things("trip"))
    answer = client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-2", note="with oxygen", **said))
    assert answer.status_code == 422 and told in answer.text and "with oxygen" in answer.text
    assert len(app.state.record.things("trip")) == before


def test_without_a_unit_a_rule_or_a_log_nobody_can_tell(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client, "physiotherapist")
    page = client.post(f"/drain/{BARE}/trip", data=form(csrf, "trip-form-3", show="1")).text
    assert "cannot tell: this rule gives no margin for a trip" in page


def test_the_day_of_the_ward_on_one_page_with_who_charges_when(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client, "physiotherapist")
    client.post(f"/drain/{DRAIN}/trip", data=form(csrf, "trip-form-4", destination="gym", at="2041-03-07T14:00"))
    page = client.get("/trips").text
    assert "W-6/1" in page and "W-5/1" in page and "gym" in page
    assert "By the charge now: charge covers it" in page
    assert 'class="on-mains"' in page and 'class="away-now"' in page and "the charge covers" in page
    short = client.get("/trips", params={"sockets": "0", "hours": "12"}).text
    assert "No plan covers everything with 0 sockets" in short and "With 1 socket nothing would be short" in short
    assert client.get("/trips", params={"sockets": "x", "hours": "999"}).status_code == 200


def test_a_walk_under_way_is_planned_for_its_rest_and_an_overdue_one_leaves_its_unit_out(
    ward: tuple[FastAPI, TestClient],
) -> None:
    """Two hours from 08:55 on: at 09:00 115 min are left, in which it is on no socket."""
    app, client = ward
    signed_in(client, "physiotherapist")

    def left(from_min: int, planned: int, key: str) -> str:
        with app.state.record.act(by="tests", what="trip") as act:
            out = {"drain": DRAIN, "from_ms": NOW_MS + from_min * 60_000, "destination": key, "planned_min": planned}
            act.add("trip", key, out)
        page = client.get("/trips").text
        with app.state.record.act(by="tests", what="back") as act:
            act.change("trip", key, {"back_ms": NOW_MS}, version=1)
        return page

    assert "09:00 sauna, 11" in left(-5, 120, "sauna")
    late = left(-90, 60, "pool")
    assert "W-6/1: not back yet" in late and "There is nothing to plan" in late
    assert "not back yet" not in left(-13 * 60, 60, "lake"), "after twelve hours nobody is waited for"


def open_items(client: TestClient) -> str:
    page = client.get(f"/drain/{DRAIN}").text
    return page[page.index('<section id="act"') : page.index('id="before"')]


def test_after_the_way_back_the_log_must_show_suction_again(ward: tuple[FastAPI, TestClient]) -> None:
    """The rule allows 10 min. Suction was on until 08:35: back at 08:20 it shows, at 08:40 not, at 08:55 not yet."""
    app, client = ward
    csrf = signed_in(client, "nurse")
    for place, back_at in (("theatre", "08:20"), ("X-ray", "08:40"), ("gym hall", "08:55")):
        key = f"trip-to-{place[:3]}"
        with app.state.record.act(by="tests", what="trip") as act:
            out = {"drain": DRAIN, "from_ms": act.at_ms - 5_400_000, "destination": place, "planned_min": 30}
            act.add("trip", key, out)
        wrong = {"csrf": csrf, "once": "back-form-1", "version": "1", "back_at": "2041-03-07T07:00"}
        assert client.post(f"/drain/{DRAIN}/trip/{key}/back", data=wrong).status_code == 422
        said = {**wrong, "back_at": f"2041-03-07T{back_at}"}
        assert client.post(f"/drain/{DRAIN}/trip/{key}/back", data=said).status_code == 303
    assert client.post(f"/drain/{DRAIN}/trip/no-trip/back", data=said).status_code == 422
    items = open_items(client)
    assert "Back from X-ray Thu 07 Mar 08:40: the log shows no suction within 10 min, as the rule asks" in items
    assert "Back from gym hall Thu 07 Mar 08:55: the log does not show suction yet" in items
    assert "theatre" not in items


def test_a_canister_says_when_it_is_full_and_the_log_when_suction_was_back(ward: tuple[FastAPI, TestClient]) -> None:
    """60 mL an hour by the unit's own counter: 1000 mL are full about 16 h from now, half an hour after the change."""
    _, client = ward
    csrf = signed_in(client, "nurse")
    page = client.get(f"/drain/{DRAIN}/canister").text
    assert "Cannot tell when it is full: how much this canister holds" in page
    said = {"csrf": csrf, "once": "canister-1", "at": "2041-03-07T08:30", "suction_back": "yes", "size_ml": "1000",
            "lot": "C-1", "filter_lot": "F-1"}  # fmt: skip
    assert client.post(f"/drain/{DRAIN}/canister", data=said).status_code == 303
    page = client.get(f"/drain/{DRAIN}/canister").text
    assert "Full about Fri 08 Mar 01:10" in page and "Before Thu 07 Mar 2" in page and "take a spare now" in page
    assert "Canister changed" not in open_items(client), "suction was on until 08:35"
    late = {**said, "once": "canister-3", "at": "2041-03-07T08:45"}
    assert client.post(f"/drain/{DRAIN}/canister", data=late).status_code == 303
    assert "Canister changed Thu 07 Mar 08:45: the log shows no suction within 10 min" in open_items(client)
    wrong = client.post(f"/drain/{DRAIN}/canister", data={**said, "once": "canister-2", "size_ml": "0"})
    assert wrong.status_code == 422 and "above 0" in wrong.text


def test_nothing_that_was_logged_later_is_in_a_moments_charge(ward: tuple[FastAPI, TestClient]) -> None:
    """No look-ahead: a log may run ahead of the clock. At noon of its first day only that morning is known."""
    record, noon = ward[0].state.record, NOW_MS - 2 * 86_400_000 + 3 * 3_600_000
    then, now = (batteries(record, at, [UNIT])[UNIT] for at in (noon, NOW_MS))
    assert then.last is not None and noon - 600_000 <= then.last.at_ms <= noon
    assert then.now(noon) == then.last and now.last is not None and now.last.at_ms == NOW_MS
    assert all(one.end_ms <= noon for one in then.spells) and len(then.spells) < len(now.spells)


def test_a_new_battery_inherits_no_discharge_of_the_old_one(ward: tuple[FastAPI, TestClient]) -> None:
    """Last of the file: it changes the unit. The log has six discharges, one of them on the day of the change."""
    app, _ = ward
    record, now_ms = app.state.record, NOW_MS
    before = batteries(record, now_ms, [UNIT])[UNIT]
    assert before.why_not(now_ms) is None and sum(not one.charging for one in before.spells) == 6
    take_register(record, "serial,battery_from\nSN-6,2041-03-07\n", by="tests")
    dated = batteries(record, now_ms, [UNIT])[UNIT]
    assert "4 are needed" in (dated.why_not(now_ms) or "") and len(dated.spells) < len(before.spells)
    take_register(record, "serial,battery_from\nSN-6,2041-03-01\n", by="tests")
    assert batteries(record, now_ms, [UNIT])[UNIT] == before, "it was put in before all of them"
    take_register(record, "serial,battery_lot\nSN-6,B-9\n", by="tests")
    assert "no discharges" in (batteries(record, now_ms).get(UNIT, NOTHING).why_not(now_ms) or ""), (
        "another lot, and no day"
    )
    take_register(record, "serial,battery_from\nSN-6,2041-03-02\n", by="tests")
    assert batteries(record, now_ms, [UNIT])[UNIT] == before, "the day was written after"
