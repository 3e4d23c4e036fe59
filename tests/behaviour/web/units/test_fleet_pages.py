"""The units' pages: recall, scan, lots, register, one unit's own page; and who may do what there."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from behaviour.web.units.a_fleet_ward import DRAIN, UNIT, a_fleet
from slackwater.store.acts import key_of
from slackwater.store.register import written
from ward.a_ward import signed_in

pytestmark = pytest.mark.slow  # two days of a log are recorded once for the file


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_fleet(tmp_path_factory.mktemp("fleet")) as both:
        yield both


def form(csrf: str, once: str = "abcdefgh1234", **said: str) -> dict[str, str]:
    return {"csrf": csrf, "once": once, **said}


def test_the_list_ranks_batteries_by_their_own_discharges_and_says_what_it_cannot_tell(
    ward: tuple[FastAPI, TestClient],
) -> None:
    _, client = ward
    signed_in(client, "nurse")
    page = client.get("/units").text
    assert "from full to 33 % about 201 min (" in page and page.index("SN-6") < page.index("SN-7")
    assert "cannot tell, no discharges of this unit recorded" in page
    assert "in use by its log" in page and "safety test not recorded" in page
    assert "Whether the shelf runs out: cannot tell" in page
    assert 'action="/units/recall"' not in page, "a nurse recalls nothing"


def test_an_engineer_recalls_a_lot_and_the_list_says_which_to_pull(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "engineer")
    said = form(csrf, what="battery", lot="B-1", reason="swells")
    assert client.post("/units/recall", data=said).headers["location"] == "/units#to-pull"
    page = client.get("/units").text
    pulls = page[page.index('id="to-pull"') : page.index('id="batteries"')]
    assert pulls.index("SN-6") < pulls.index("SN-7") and "SN-8" not in pulls
    assert "at a patient" in pulls and "W-6/1" in pulls and "battery lot B-1 is recalled: swells" in pulls
    lot = client.get("/units/lot", params={"lot": "B-1"}).text
    assert "Battery lot B-1 is recalled since" in lot and "W-6/1" in lot
    assert client.post("/units/recall", data=form(csrf, what="battery", lot="", reason="x")).status_code == 422
    mistyped = form(csrf, what="battery", lot="B-l", reason="swells")
    asked_back = client.post("/units/recall", data=mistyped)
    assert asked_back.status_code == 422 and "no battery lot B-l is written down here" in asked_back.text
    assert client.post("/units/recall", data=mistyped | {"anyway": "on"}).status_code == 303
    ended = form(csrf, what="battery", lot="B-l", why="mistyped")
    assert client.post("/units/recall/over", data=ended).status_code == 303
    drain = client.get(f"/drain/{DRAIN}").text
    assert "battery lot B-1 is recalled: swells.</b> Exchange it by" in drain, "whoever opens the drain is told"
    over = form(csrf, what="battery", lot="B-1", why="batteries changed")
    assert client.post("/units/recall/over", data=over).status_code == 303
    assert not [one for one in app.state.record.things("recall") if one["closed_ms"] is None]
    assert "is recalled" not in client.get(f"/drain/{DRAIN}").text


def test_codes_ended_by_enter_add_to_a_list_and_open_their_unit(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "nurse")
    page = client.get("/units/scan", params={"code": ["SN-6", "", "B-2", "nothing like it", "SN-6"]}).text
    assert "3 read in" in page and page.count('type="hidden" name="code"') == 3
    assert f'href="/units/{UNIT}"' in page and "battery lot" in page and "not known here as a unit or a lot" in page
    answer = client.get("/units/scan", params={"code": "SN-6", "open": "on"})
    assert answer.status_code == 303 and answer.headers["location"] == f"/units/{UNIT}"
    assert "autofocus" in client.get("/units/scan").text


def test_the_register_comes_in_whole_or_each_line_is_told(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "engineer")
    before = written(app.state.record.things("unit"))
    assert client.get("/units/register/export").text == before
    assert client.post("/units/register", data=form(csrf, register=before)).status_code == 303
    answer = client.post("/units/register", data=form(csrf, register="serial,bought\nSN-9,tomorrow\nSN-10,\n"))
    assert answer.status_code == 422 and "line 2, bought" in answer.text and "SN-10" in answer.text
    assert written(app.state.record.things("unit")) == before


def test_a_units_page_shows_its_life_its_discharges_and_takes_its_facts(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "engineer")
    page = client.get(f"/units/{UNIT}").text
    assert page.count('class="dot"') == 6 and "a full battery would have lasted" in page
    assert "W-6/1" in page and "(as its log shows)" in page
    cells = {"battery_lot": "B-9", "battery_from": "2041-03-01", "must_run_min": "320", "safety_test_due": "2041-03-01"}
    assert client.post(f"/units/{UNIT}/facts", data=form(csrf, **cells)).status_code == 303
    page = client.get(f"/units/{UNIT}").text
    assert "safety test was due on 2041-03-01" in page and 'class="limit"' in page
    assert "<b>safety test overdue since 2041-03-01</b>" in page, "with its year: a day may lie far ahead"
    pulls = client.get("/units").text
    assert "its battery runs 300 min" in pulls and "its limit is 320 min" in pulls
    wrong = client.post(f"/units/{UNIT}/facts", data=form(csrf, battery_lot="B-9", must_run_min="long"))
    assert wrong.status_code == 422 and "whole number of minutes" in wrong.text
    assert app.state.record.thing("unit", UNIT)["must_run_min"] == 320
    assert client.get(f"/units/{key_of('unit', 'none')}").status_code == 404
    restored = {"battery_lot": "B-1", "must_run_min": "180", "safety_test_due": ""}
    client.post(f"/units/{UNIT}/facts", data=form(csrf, **restored))


@pytest.mark.parametrize("role", ["nurse", "physiotherapist", "audit_lead"])
def test_only_an_engineer_changes_the_register(ward: tuple[FastAPI, TestClient], role: str) -> None:
    _, client = ward
    csrf = signed_in(client, role)
    for path in ("/units/register", "/units/recall", "/units/recall/over", f"/units/{UNIT}/facts"):
        assert client.post(path, data=form(csrf)).status_code == 403
    assert client.get("/units/register").status_code == 403
    assert 'action="/units/' not in client.get(f"/units/{UNIT}").text


def test_drains_of_other_wards_are_counted_and_not_named(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    with app.state.record.act(by="tests", what="wards") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-6")})
        act.change("episode", stay.key, {"ward": "North"}, version=stay.version)
        person = act.thing("person", key_of("person", "surgeon"))
        act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
    signed_in(client, "surgeon")
    for path in ("/units", f"/units/{UNIT}", "/units/lot?lot=B-1", "/trips"):
        page = client.get(path).text
        assert "W-6" not in page and DRAIN not in page, path
    assert "1 drain of other wards" in client.get("/units/lot?lot=B-1").text
    with app.state.record.act(by="tests", what="wards") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-6")})
        act.change("episode", stay.key, {"ward": "South"}, version=stay.version)
