"""Suction units: connected by two people, turned round step by step, never for the next patient with a step missing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.store.acts import key_of
from slackwater.store.units import units_now
from ward.a_ward import NOW_MS, Clock, a_ward, signed_in

CHARTED = key_of("drain", key_of("patient", "W-5"), "1")
OTHER = key_of("drain", key_of("patient", "W-2"), "1")
UNIT = key_of("unit", "SN-7")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ward(tmp_path: Path, clock: Clock) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path, clock) as both:
        yield both


def setup(csrf: str, **other: str) -> dict[str, str]:
    ticks = ("canister", "filter", "tubing", "self_test", "occluded", "below_chest", "charger", "bedside", "sound")
    said = {"serial": "SN-7", "serial_again": "SN-7", "at": "2041-03-07T08:30", "second_person": "Second Nurse"}
    said |= {"identified": "on", **{f"setup_{name}": "on" for name in ticks}, "csrf": csrf, "once": "abcdefgh1234"}
    return said | other


def step(client: TestClient, csrf: str, state: str, method: str = "", once: str = "") -> int:
    said = {"state": state, "method": method, "csrf": csrf, "once": once or f"{state}-123456789"}
    return client.post(f"/units/{UNIT}/state", data=said).status_code


def test_a_checked_set_up_pairs_the_unit_with_the_drain(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    assert client.post(f"/drain/{CHARTED}/connect", data=setup(csrf)).status_code == 303
    (unit,) = (one for one in units_now(app.state.record, NOW_MS) if one.serial == "SN-7")
    assert unit.state == "in_use" and unit.drain == CHARTED
    client.post(f"/drain/{CHARTED}/connect", data=setup(csrf))
    assert len(app.state.record.things("setup", {"drain": CHARTED})) == 1, "the same form again is the same set-up"


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("serial_again", "SN-8", "not the same"),
        ("second_person", "Invented nurse", "another person"),
        ("identified", "", "two identifiers"),
        ("setup_filter", "", "why not"),
        ("at", "2041-03-07T10:30", "not come yet"),
        ("at", "", "when it was connected"),
    ],
)
def test_a_set_up_with_something_missing_is_not_recorded_and_nothing_typed_is_lost(
    ward: tuple[FastAPI, TestClient], field: str, value: str, told: str
) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    answer = client.post(f"/drain/{CHARTED}/connect", data=setup(csrf, **{field: value}))
    assert answer.status_code == 422 and told in answer.text
    assert 'value="SN-7"' in answer.text
    assert not app.state.record.things("setup", {"drain": CHARTED})


def test_a_unit_that_serves_another_patient_cannot_be_connected(ward: tuple[FastAPI, TestClient]) -> None:
    _app, client = ward
    csrf = signed_in(client, "nurse")
    client.post(f"/drain/{CHARTED}/connect", data=setup(csrf))
    answer = client.post(f"/drain/{OTHER}/connect", data=setup(csrf, once="other-form-1"))
    assert answer.status_code == 422 and "another patient" in answer.text


def test_a_unit_is_for_the_next_patient_only_after_every_step_in_order(
    ward: tuple[FastAPI, TestClient], clock: Clock
) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    client.post(f"/drain/{CHARTED}/connect", data=setup(csrf))
    assert step(client, csrf, "cleaned", "wiped") == 422, "it serves a drain"
    with app.state.record.act(by="tests", what="end") as act:
        (pairing,) = act.things("pairing", {"drain": CHARTED})
        act.change("pairing", pairing.key, {"to_ms": NOW_MS - 60_000}, version=pairing.version)
    (unit,) = (one for one in units_now(app.state.record, NOW_MS) if one.serial == "SN-7")
    assert unit.state == "dirty" and unit.needs == ("cleaned", "tested", "ready")
    assert step(client, csrf, "ready") == 422
    assert step(client, csrf, "tested", "passed") == 422
    assert step(client, csrf, "cleaned") == 422, "how it was cleaned is missing"
    clock.ms += 60_000
    assert step(client, csrf, "cleaned", "wiped with the unit's own agent") == 303
    again = setup(csrf, once="other-form-2", at="2041-03-07T09:01")
    refused = client.post(f"/drain/{OTHER}/connect", data=again)
    assert refused.status_code == 422 and "tested, put back" in refused.text
    clock.ms += 60_000
    assert step(client, csrf, "tested", "self-test passed, memory cleared") == 303
    clock.ms += 60_000
    assert step(client, csrf, "ready") == 303
    assert '<span class="chip">put back</span>' in client.get("/units").text


def test_other_words_under_the_same_key_are_refused_and_never_thought_kept(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    first = setup(csrf)
    assert client.post(f"/drain/{CHARTED}/connect", data=first).status_code == 303
    for drain, said in (
        (OTHER, {"serial": "SN-8", "serial_again": "SN-8"}), (CHARTED, {"at": "2041-03-07T08:31"}),
        (CHARTED, {"second_person": "Third Nurse"}),
    ):  # fmt: skip
        answer = client.post(f"/drain/{drain}/connect", data={**first, **said})
        assert answer.status_code == 422 and "sent before with other words" in answer.text
    assert len(app.state.record.things("pairing", {"unit": UNIT})) == 1
    assert step(client, csrf, "faulty", "hums", once="one-key-for-two") == 303
    assert step(client, csrf, "faulty", "hums", once="one-key-for-two") == 303
    assert step(client, csrf, "lost", "not found", once="one-key-for-two") == 422
    assert [one["state"] for one in app.state.record.things("unit_state", {"unit": UNIT})] == ["faulty"]


def test_a_faulty_unit_begins_anew(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    app, client = ward
    with app.state.record.act(by="tests", what="unit") as act:
        act.add("unit", UNIT, {"serial": "SN-7"})
    csrf = signed_in(client, "engineer")
    assert step(client, csrf, "faulty", once="faulty-without-words") == 422
    assert step(client, csrf, "faulty", "fell, and hums") == 303
    (unit,) = (one for one in units_now(app.state.record, NOW_MS) if one.serial == "SN-7")
    assert unit.state == "faulty" and unit.needs == ("cleaned", "tested", "ready")


def test_a_fault_in_use_is_told_with_who_and_what_until_the_unit_was_tested(
    ward: tuple[FastAPI, TestClient], clock: Clock
) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    client.post(f"/drain/{CHARTED}/connect", data=setup(csrf))
    assert step(client, csrf, "faulty", "hums, display dark") == 303
    page = client.get("/units").text
    assert "by Invented nurse: hums, display dark. Not tested since." in page and "in use" in page
    assert f"/drain/{CHARTED}?at=2041-03-07T09:00" in page
    with app.state.record.act(by="tests", what="unit off") as act:
        (pairing,) = [one for one in act.things("pairing", {"drain": CHARTED}) if one["to_ms"] is None]
        act.change("pairing", pairing.key, {"to_ms": NOW_MS}, version=pairing.version)
    for place, what in enumerate(("cleaned", "tested"), 1):
        assert "Not tested since" in client.get("/units").text
        clock.ms += place * 60_000
        assert step(client, csrf, what, "by the book") == 303
    assert "Not tested since" not in client.get("/units").text


def test_a_drain_of_another_ward_is_not_named_among_the_units(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    client.post(f"/drain/{CHARTED}/connect", data=setup(csrf))
    with app.state.record.act(by="tests", what="ward") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-5")})
        act.change("episode", stay.key, {"ward": "North"}, version=stay.version)
        person = act.thing("person", key_of("person", "engineer"))
        assert person is not None
        act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
    signed_in(client, "engineer")
    page = client.get("/units").text
    assert "SN-7" in page and "W-5" not in page
