"""Practice on the ward's pages: unfolding, answered once, one's own alone, and never to be taken for a patient."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.store.acts import key_of
from slackwater.store.nouns import ROLES
from slackwater.teach.practice import Practice
from slackwater.teach.recorded import keep, lessons_of
from slackwater.teach.told import BANNER
from ward.a_ward import NOW_MS, a_ward, signed_in

DAY_MS = 86_400_000
UNIT = Practice(365 * DAY_MS, 1, 1.0, text="all of the latest answer right; valid 365 d")
PAGES = ("/practice", "/practice/no-swing", "/practice/bench", "/practice/people")


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path_factory.mktemp("practice"), practice=UNIT) as both:
        yield both


def asked(client: TestClient, exercise: str, moment: int = 1) -> tuple[str, str]:
    """The page and its draw."""
    page = client.get(f"/practice/{exercise}?moment={moment}").text
    found = re.search(r'name="draw" value="(\d+)"', page)
    assert found is not None
    return page, found[1]


def answer(client: TestClient, csrf: str, exercise: str, **said: str) -> Any:
    _, draw = asked(client, exercise)
    given = {"csrf": csrf, "draw": draw, "moment": "1", **said}
    return client.post(f"/practice/{exercise}", data=given)


def trace(page: str) -> Any:
    found = re.search(r'id="trace">(.*?)</script>', page, re.S)
    assert found is not None
    return json.loads(found[1])


@pytest.mark.parametrize("path", PAGES)
def test_every_page_says_that_it_is_no_patient(ward: tuple[FastAPI, TestClient], path: str) -> None:
    _, client = ward
    signed_in(client, "specialist_nurse")
    page = client.get(path).text
    assert f'role="note">{BANNER}</p>' in page
    assert "<title>Practice: " in page
    assert page.count("<h1") == 1
    for label in ("W-1", "W-2", "W-3", "W-4"):  # and no patient is on it
        assert label not in page


def test_nothing_of_what_the_tool_concludes_is_on_the_page_that_asks(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "registrar")
    page, _ = asked(client, "silent-unit", 3)
    picture = trace(page)
    minutes = picture["minutes"]
    assert set(minutes["state"]) == {"3"} and set(minutes["reason"]) == {"0"}
    assert [minutes[name] for name in ("low", "mid", "high", "open")] == [None] * 4
    assert picture["runs"] == [] and picture["not_judged"]
    assert {event["kind"] for event in picture["events"]} <= {"handled", "seen"}
    for word in ("cannot tell because", "In truth", "concludes"):
        assert word not in page


def test_it_unfolds_without_look_ahead(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "registrar")
    pages = [asked(client, "no-swing", moment)[0] for moment in (1, 2, 3)]
    ends = [trace(page)["data_until"] for page in pages]
    assert ends == sorted(set(ends))
    early, late = (trace(page)["minutes"]["flow"] for page in (pages[0], pages[2]))
    assert late[: len(early)] == early
    assert "Moment 1 of 3" in pages[0] and "See the next moment first" in pages[0]
    assert "See the next moment first" not in pages[2]


def test_an_answer_without_its_confidence_is_shown_again_with_what_was_chosen(
    ward: tuple[FastAPI, TestClient],
) -> None:
    app, client = ward
    csrf = signed_in(client, "surgeon")
    page = answer(client, csrf, "no-swing", answer="open")
    assert page.status_code == 422
    assert "Say how sure you are." in page.text
    assert 'value="open" checked' in page.text
    assert lessons_of(app.state.record, key_of("person", "surgeon")) == ()


def test_the_first_answer_of_a_draw_counts_and_the_next_draw_is_another(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "nurse")
    _, draw = asked(client, "no-swing")
    first = answer(client, csrf, "no-swing", answer="shut", confidence="60")
    assert (first.status_code, first.headers["location"]) == (303, f"/practice/no-swing/{draw}")
    again = client.post(
        "/practice/no-swing", data={"csrf": csrf, "draw": draw, "moment": "1", "answer": "open", "confidence": "100"}
    )
    assert again.headers["location"] == f"/practice/no-swing/{draw}"
    (lesson,) = lessons_of(app.state.record, key_of("person", "nurse"))
    assert (lesson.answer, lesson.confidence, str(lesson.draw)) == ("shut", 60.0, draw)
    assert not keep(app.state.record, key_of("person", "nurse"), "Invented nurse", lesson)
    assert asked(client, "no-swing")[1] != draw


def test_the_truth_is_shown_with_its_reason_and_the_minutes_that_show_it(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client, "physiotherapist")
    where = answer(client, csrf, "quiet-since-supper", answer="at_rest", confidence="80").headers["location"]
    page = client.get(where).text
    assert "In truth" in page and "What the tool concludes of the same record" in page
    found = re.search(r'data-from="(\d+)" data-to="(\d+)"', page)
    assert found is not None
    picture = trace(page)
    assert picture["from"] <= int(found[1]) < int(found[2]) <= picture["until"]
    assert set(picture["minutes"]["state"]) <= {"0", "1", "2"}
    # and on the list it is now due on a day to come
    assert "done 1 time" in client.get("/practice").text


def test_a_truth_is_shown_to_whom_answered_alone(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client, "engineer")
    where = answer(client, csrf, "two-limbs", answer="none", confidence="50").headers["location"]
    assert client.get(where).status_code == 200
    signed_in(client, "keeper")
    assert client.get(where).status_code == 404


def test_the_least_that_can_be_said_is_a_guess_of_that_question(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "surgeon")
    for exercise, guess in (("no-swing", 33), ("two-limbs", 25), ("silent-unit", 14)):
        page, _ = asked(client, exercise)
        found = re.findall(r'name="confidence" value="(\d+)"', page)
        assert int(found[0]) == guess and f"{guess} %, a guess" in page and found[-1] == "100"


def test_an_exercise_that_was_changed_since_is_not_drawn_again(ward: tuple[FastAPI, TestClient]) -> None:
    """Another file would simulate another drain, with another truth beside the answer that was given."""
    app, client = ward
    from slackwater.teach import Lesson

    person = key_of("person", "surgeon")
    told = Lesson("no-swing", 4, 0, "open", "shut", 70.0, NOW_MS - DAY_MS, "0" * 64)
    keep(app.state.record, person, "tests", told)
    assert told in lessons_of(app.state.record, person)
    signed_in(client, "surgeon")
    page = client.get("/practice/no-swing/4")
    assert page.status_code == 200 and "was changed since you answered it" in page.text
    assert "Not so: No, it is shut" in page.text and 'id="trace"' not in page.text and "In truth" not in page.text


def test_the_way_to_the_film_is_asked_by_the_rule_s_own_margin(ward: tuple[FastAPI, TestClient]) -> None:
    """[trip] of the shipped rule: planned time x 2 + 30 min, in the planner's words."""
    _, client = ward
    signed_in(client, "surgeon")
    page, _ = asked(client, "walk-to-the-film")
    for words in ("planned time x 2 + 30 min", "a nominal figure is not this battery&#39;s", "Charge covers it",
                  "Charge does not cover it"):  # fmt: skip
        assert words in page


def test_a_lead_sees_who_is_current_and_no_answer(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    from slackwater.teach import Lesson

    person = key_of("person", "registrar")
    keep(app.state.record, person, "tests", Lesson("after-the-step", 3, 0, "step", "step", 90.0, NOW_MS - DAY_MS))
    keep(app.state.record, person, "tests", Lesson("no-swing", 3, 0, "open", "open", 90.0, NOW_MS - 400 * DAY_MS))
    signed_in(client, "audit_lead")
    page = client.get("/practice/people").text
    row = page[page.index("Invented registrar") :]
    row = row[: row.index("</tr>")]
    assert "current" in row and "expired" in row and "not yet" in row
    assert "after-the-step" not in page and "no-swing" not in page
    for role in set(ROLES) - {"audit_lead", "specialist_nurse"}:
        signed_in(client, role)
        assert client.get("/practice/people").status_code == 403


def test_a_draw_that_is_not_one_s_own_leads_to_one_s_own(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "keeper")
    assert client.get("/practice/no-swing?draw=77").headers["location"] == "/practice/no-swing"


def test_the_bench_does_what_is_pressed_and_records_nothing(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "nurse")
    app.state.looks.flush()
    before = app.state.record.head().seq
    page = client.get("/practice/bench?did=suction:20+leak:60+wait:60&do=clamp&then=15").text
    assert "the drain was clamped" in page
    assert "take the clamp off" in page
    assert 'value="suction:20 leak:60 wait:60 clamp wait:15"' in page
    wrong = client.get("/practice/bench?did=dance")
    assert wrong.status_code == 422 and "nobody can" in wrong.text
    app.state.looks.flush()  # who looked at what is written by itself, now and then: it would count nothing of this
    assert app.state.record.head().seq == before


def test_without_the_unit_s_measure_nobody_is_current_or_expired(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (_, client):
        signed_in(client, "audit_lead")
        assert "has not said how long" in client.get("/practice/people").text
