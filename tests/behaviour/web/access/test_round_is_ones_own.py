"""The round is made once for all who see the same: nothing of one ward, role, person or kind of names reaches another.

Safety hazards I03 and I04; J06 for what may stand on a screen.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations, product
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.store.acts import key_of
from slackwater.web.board import UNREAD
from ward.a_board import settled, stopped
from ward.a_ward import Clock, a_ward, signed_in

WARDS = {"W-1": "North", "W-2": "North", "W-3": "South", "W-4": "South"}  # W-5 lies nowhere: everybody sees it
PEOPLE = ("nurse", "surgeon", "registrar", "specialist_nurse", "keeper")  # two of each ward, one of all
OF = {"nurse": '["North"]', "surgeon": '["North"]', "registrar": '["South"]', "specialist_nurse": '["South"]'}


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    folder: Path = tmp_path_factory.mktemp("ward")
    with a_ward(folder, Clock(), here=True) as (app, client):
        with app.state.record.act(by="tests", what="wards") as act:
            for patient, name in WARDS.items():
                (stay,) = act.things("episode", {"patient": key_of("patient", patient)})
                initials = f"I.{patient[-1]}."
                act.change("episode", stay.key, {"ward": name, "initials": initials}, version=stay.version)
            for role, wards in OF.items():
                person = act.thing("person", key_of("person", role))
                assert person is not None
                act.change("person", person.key, {"wards": wards}, version=person.version)
        settled(app, client)
        yield app, client


def seen(text: str) -> set[str]:
    return {patient for patient in (*WARDS, "W-5") if f"{patient}/1" in text}


def sees(role: str) -> set[str]:
    wards = OF.get(role)
    return {"W-5", *(patient for patient, name in WARDS.items() if wards is None or name in wards)}


@pytest.mark.parametrize("path", ["/", "/round/lines", "/?ward=North", "/round/lines?ward=South", "/?text=W-3"])
def test_in_whatever_order_people_ask_each_gets_what_is_theirs(ward: tuple[FastAPI, TestClient], path: str) -> None:
    """Every ordered pair, one right after the other, with what is kept just made by the first."""
    app, client = ward
    sessions = {}
    for role in PEOPLE:
        signed_in(client, role)
        sessions[role] = dict(client.cookies)
    for pair in permutations(PEOPLE, 2):
        app.state.fragments._views.clear()
        for role in pair:
            client.cookies.clear()
            client.cookies.update(sessions[role])
            text = client.get(path, headers={"x-by-itself": "1"}).text
            assert seen(text) <= sees(role), (pair, path)
            if "?" not in path:
                assert seen(text) == sees(role), (pair, path)


def test_two_people_of_one_ward_share_the_lines_and_nothing_else(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    pages, lines, tokens = [], [], []
    for role in ("nurse", "surgeon"):
        tokens.append(signed_in(client, role))
        pages.append(client.get("/").text)
        lines.append(client.get("/round/lines", headers={"x-by-itself": "1"}))
    assert lines[0].content == lines[1].content
    assert lines[0].headers["x-person"] != lines[1].headers["x-person"]
    for mine, other in ((0, 1), (1, 0)):
        assert tokens[mine] in pages[mine] and tokens[other] not in pages[mine]
        assert tokens[other] not in lines[mine].text and "csrf" not in lines[mine].text
    assert "Invented surgeon" not in pages[0] and "Invented nurse" not in pages[1]


def test_names_that_may_not_stand_on_the_screen_come_from_no_other_screen(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "keeper")
    for first, then in product(("patient", "initials", "bed", "blank"), repeat=2):
        app.state.fragments._views.clear()
        for show in (first, then):
            text = client.get(f"/?show={show}").text
            assert ("W-1/1" in text) == (show == "patient"), (first, then)
            assert ("I.1." in text) == (show in ("patient", "initials")), (first, then)
            assert ('class="tile"' in text) == (show != "blank"), (first, then)


def test_an_entity_tag_of_another_ward_brings_nothing_that_is_not_ones_own(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "nurse")
    held = client.get("/round/lines", headers={"x-by-itself": "1"}).headers["etag"]
    app.state.board.version += 1
    signed_in(client, "registrar")
    text = client.get("/round/lines", headers={"x-by-itself": "1", "if-none-match": held}).text
    assert seen(text) <= sees("registrar")
    ids = {f'id="d-{key_of("drain", key_of("patient", patient), "1")}"' for patient in sees("nurse") - {"W-5"}}
    assert not any(one in text for one in ids)


def test_before_the_record_is_read_nobody_is_told_that_no_drain_is_in(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (app, client):
        signed_in(client)
        stopped(app, client)  # else it would read the record meanwhile
        app.state.board._lines, app.state.board.trouble = {}, UNREAD
        app.state.board.version += 1
        page = client.get("/").text
        assert "has not been read yet" in page and "No drain is in" not in page


def test_what_is_kept_is_bounded(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "nurse")
    for number in range(200):
        client.get(f"/round/lines?text={number}", headers={"x-by-itself": "1"})
    assert len(app.state.fragments._views) <= 128
