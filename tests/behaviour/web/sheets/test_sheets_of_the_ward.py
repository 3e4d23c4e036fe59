"""Sheets on the ward: found from the drain and the round, served as page and PDF, and kept in who looked."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.report.line import STANDS_MS
from slackwater.report.sheets.make import KINDS
from slackwater.report.sheets.ward import drains_in
from slackwater.store.acts import key_of
from slackwater.web.board import present
from slackwater.web.drain_sheet import PAGE_OLD_MS
from ward.a_ward import NOW_MS, a_ward, signed_in

HOUR_MS = 3_600_000

DRAIN = key_of("drain", key_of("patient", "W-2"), "1")


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path_factory.mktemp("ward")) as (app, client):
        signed_in(client)
        yield app, client


def pages(data: bytes) -> list[str]:
    return [" ".join(page.get_textpage().get_text_bounded().split()) for page in pypdfium2.PdfDocument(data)]


def test_the_drains_page_and_the_round_lead_to_the_sheets(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    assert f'href="/drain/{DRAIN}/sheets"' in client.get(f"/drain/{DRAIN}").text
    round_ = client.get("/").text
    assert 'href="/handover"' in round_ and 'href="/checklist"' in round_
    chosen = client.get(f"/drain/{DRAIN}/sheets").text
    for kind in KINDS:
        assert f"/drain/{DRAIN}/sheets/{kind}" in chosen
    assert 'data-caution="cau-C9"' in chosen and "Patient W-2" in chosen


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "incident"])
def test_each_sheet_is_a_page_and_a_pdf_that_say_the_same(kind: str, ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    page = client.get(f"/drain/{DRAIN}/sheets/{kind}")
    assert page.status_code == 200, page.text
    patients = kind in ("home", "explain")  # no line for staff on what the patient keeps
    staff = () if patients else ("cau-C6", "cau-C4", "cau-C10", "cau-C11", "cau-C15")
    for caution in ("cau-C1", "cau-C5", "cau-C9", *staff):
        assert f'data-caution="{caution}"' in page.text
    assert "style=" not in page.text.replace("font-style=", "")
    printed = client.get(f"/drain/{DRAIN}/sheets/{kind}/pdf")
    assert printed.headers["content-type"] == "application/pdf" and printed.headers["cache-control"] == "no-store"
    assert printed.headers["content-disposition"] == f'attachment; filename="{kind}.pdf"'  # whose it is stays inside
    for text in pages(printed.content):
        assert "Patient W-2 · drain 1" in text and ("Printed on " if patients else "Data until") in text


def test_the_screen_and_the_sheet_say_the_same_of_the_leak(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    screen = client.get(f"/drain/{DRAIN}").text
    told = screen.partition("Air leak: ")[2].partition("<")[0].strip()
    assert told and told in " ".join(pages(client.get(f"/drain/{DRAIN}/sheets/summary/pdf").content))


def test_an_incident_asks_when_it_was_and_shows_acts_with_their_hashes(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    assert client.get(f"/drain/{DRAIN}/sheets/incident").status_code == 422
    assert client.get(f"/drain/{DRAIN}/sheets/incident?moment=2099-01-01T00:00").status_code == 422
    text = " ".join(pages(client.get(f"/drain/{DRAIN}/sheets/incident/pdf?moment=2041-03-07T08:30").content))
    assert "Looking back" in text and "03-07" not in text and "Thu 07 Mar 2041 06:30" in text
    flat = text.replace(" ", "").replace("\u200b", "")
    with app.state.record.reading() as connection:
        from slackwater.store.rows import acts

        mine = [act for act in acts(connection) if act.what == "import" and "W-2" in act.changes]
    assert mine and mine[0].hash in flat


def test_a_sheet_that_there_is_not_is_said_not_to_be_there(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    assert client.get(f"/drain/{DRAIN}/sheets/invoice").status_code == 404


def test_the_handover_is_of_ones_own_drains_that_are_in_and_each_look_is_kept(
    ward: tuple[FastAPI, TestClient],
) -> None:
    app, client = ward
    text = client.get("/handover").text
    for label in ("W-1", "W-2", "W-3", "W-4", "W-5"):
        assert f"Patient {label} · drain 1" in text
    whole = pages(client.get("/handover/pdf").content)
    assert len(whole) == int(whole[0].rpartition(" of ")[2].split()[0])
    app.state.looks.flush()
    seen = {one["drain"] for one in app.state.record.things("look") if one["what"] == "handover"}
    assert DRAIN in seen and len(seen - {None}) == 5


def test_a_drain_that_is_out_and_owed_a_check_is_handed_over_as_on_the_round(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (app, client):
        with app.state.record.act(by="tests", what="removal") as act:
            act.add("removal", "out", {"drain": DRAIN, "kind": "unplanned", "time_ms": NOW_MS - 3 * HOUR_MS})
            act.add("check", "film", {"drain": DRAIN, "what": "chest_xray", "due_ms": NOW_MS - HOUR_MS})
        signed_in(client)
        with app.state.record.reading() as connection:
            on_the_round = present(connection)
        assert DRAIN in on_the_round
        text = " ".join(client.get("/handover").text.partition("Patient W-2 · drain 1")[2].split())
        assert "removed 06:00 (unplanned)" in text and "chest X-ray, due 08:00" in text
        then = client.get(f"/drain/{DRAIN}/sheets/summary?at=2041-03-07T04:00").text
        assert "Looking back to Thu 07 Mar 2041 04:00" in then
        assert "The drain is out" not in then and "removed" not in then  # what came after is not known of
        now = client.get(f"/drain/{DRAIN}/sheets/summary").text
        assert "The drain is out: judged as of Thu 07 Mar 2041 06:00" in now and "removed 06:00" in now
        with app.state.record.act(by="tests", what="film seen") as act:
            act.change("check", "film", {"done_ms": NOW_MS - 60_000, "done_by": "Ada"}, version=1)
        assert DRAIN not in drains_in(app.state.record, None, NOW_MS)
        assert DRAIN in drains_in(app.state.record, None, NOW_MS - 4 * HOUR_MS)


def test_without_a_rule_a_sheet_goes_out_of_date_when_the_page_does(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    none = key_of("drain", key_of("patient", "W-4"), "1")
    page, sheet = client.get(f"/drain/{none}").text, client.get(f"/drain/{none}/sheets/summary").text
    assert STANDS_MS == PAGE_OLD_MS
    assert "After Thu 07 Mar 09:10 this page or print is out of date." in page
    assert "After Thu 07 Mar 2041 09:10 (UTC) this print is out of date." in sheet
    waits = "Nothing: no rule for removal was given, so only the leak is answered."
    assert waits in page and waits in sheet


def test_nobody_of_another_ward_is_on_ones_handover(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (app, client):
        with app.state.record.act(by="tests", what="wards") as act:
            for label, where in (
                ("W-1", "South"),
                ("W-2", "North"),
                ("W-3", "North"),
                ("W-4", "North"),
                ("W-5", "North"),
            ):
                (stay,) = act.things("episode", {"patient": key_of("patient", label)})
                act.change("episode", stay.key, {"ward": where}, version=stay.version)
            person = act.thing("person", key_of("person", "nurse"))
            act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
        signed_in(client)
        text = client.get("/handover?ward=North")
        assert text.status_code == 404 and "W-2" not in text.text
        mine = client.get("/handover").text
        assert "Patient W-1" in mine and "W-2" not in mine


def test_the_blank_form_names_nobody(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    (text,) = pages(client.get("/checklist/pdf").content)
    assert "W-" not in text and "Page 1 of 1" in text
    assert client.get("/checklist").status_code == 200


def test_looking_back_says_so(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    text = client.get(f"/drain/{DRAIN}/sheets/handover?at=2041-03-06T20:00").text
    assert "Looking back to Wed 06 Mar 2041 20:00" in text
