"""One drain's page, read back from its HTML: what stands where, what is missing, whose it is, and what is entered."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from behaviour.report.a_hostile_record import TEXTS
from behaviour.report.read_page import Node, read_page, skeleton
from behaviour.web.drain.a_full_drain import HOUR, MINUTE, fill, key
from slackwater.report.page import TURNING
from slackwater.store.acts import key_of
from ward.a_ward import NOW_MS, Clock, a_ward, signed_in

ABOVE = ["cau-C1", "cau-C4", "cau-C6", "cau-C9", "cau-C10", "cau-C11"]
Ward = tuple[FastAPI, TestClient]


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ward(tmp_path: Path, clock: Clock) -> Iterator[Ward]:
    with a_ward(tmp_path, clock) as both:
        yield both


def opened(ward: Ward, name: str = "W-1/1", query: str = "", role: str = "nurse") -> Node:
    app, client = ward
    signed_in(client, role)
    answer = client.get(f"/drain/{key(app.state.record, name)}{query}")
    assert answer.status_code == 200, answer.text
    return read_page(answer.text)


def section(page: Node, name: str) -> Node:
    return page.one("section", id=name)


def place(page: Node, found: Node) -> int:
    return next(at for at, node in enumerate(page) if node is found)


# --- what stands above the verdict ----------------------------------------------------------------


@pytest.mark.parametrize("name", ["W-1/1", "W-2/1", "W-3/1", "W-4/1", "W-5/1"])
def test_items_then_six_cautions_in_order_stand_above_the_verdict(ward: Ward, name: str) -> None:
    """The order: this project's own list of where each caution must show (its page of a patient)."""
    page = opened(ward, name)
    verdict = place(page, section(page, "answer"))
    before = section(page, "before")
    assert [node.attrs["data-caution"] for node in before.all("p")] == ABOVE
    assert all(len(node.text) > 20 for node in before.all("p"))
    assert place(page, section(page, "act")) < place(page, before) < verdict
    assert not [
        node for node in page if "status" in node.attrs.get("class", "").split() and place(page, node) < verdict
    ]
    assert len(page.all("h1")) == 1


@pytest.mark.parametrize("name", ["W-1/1", "W-4/1", "W-5/1"])
def test_every_verdict_names_drain_side_and_space(ward: Ward, name: str) -> None:
    page = opened(ward, name)
    said = section(page, "answer").one("p", cls="which-drain").text
    assert said.startswith(f"Patient {name[:3]} · drain 1 · ") and ("left" in said or "right" in said)
    head = page.one("h1").text
    assert name[:3] in head and "drain 1" in head
    assert "Confirm name, number, side and site at the bedside." in page.one("div", id="banner").text


def test_the_picture_and_the_words_are_those_of_the_one_file_page(ward: Ward) -> None:
    page = opened(ward)
    trace = json.loads(str(page.one("script", id="trace").children[0]))
    assert trace["format"] == "slackwater-lanes-1" and trace["readings"] is None
    assert section(page, "picture") and page.all("ul", cls="parts")
    app, client = ward
    whole = client.get(f"/drain/{key(app.state.record, 'W-1/1')}/picture").json()
    assert whole["readings"]["rows"] > 100_000
    assert {**whole, "readings": None} == trace


# --- what is missing ------------------------------------------------------------------------------


def test_what_is_missing_is_spelt_out(ward: Ward) -> None:
    text = opened(ward, "W-5/1").text
    for words in ("site not recorded", "Bed not recorded", "goal of drainage is not recorded", "No rule is pinned",
                  "No order is recorded", "No hold is recorded", "No unit is recorded", "No chest X-ray is recorded",
                  "No removal is recorded", "No task is open", "cannot tell; no log", "Not recorded here: what",
                  "No log: this rests on what was charted", "since when is not recorded"):  # fmt: skip
        assert words in text, words


def test_a_drain_with_neither_log_nor_chart_says_that_it_cannot_tell(ward: Ward) -> None:
    app, _ = ward
    fill(app.state.record, "W-5/1")
    episode = app.state.record.thing("drain", key(app.state.record, "W-5/1"))["episode"]
    with app.state.record.act(by="tests", what="taken back") as act:
        for entry in act.things("entry", {"episode": episode}):
            act.take_back("entry", entry.key, version=entry.version)
    page = opened(ward, "W-5/2")
    answer = section(page, "answer").text
    assert "Cannot tell: neither a log nor a chart is recorded yet." in answer and "drain 2" in answer
    assert [node.attrs["data-caution"] for node in section(page, "before").all("p")] == ABOVE
    assert not page.all("script", id="trace")


def test_an_answer_that_fails_is_cannot_tell_and_never_the_last_one(
    ward: Ward, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    app, _ = ward
    assert "leaking" in section(opened(ward, "W-2/1"), "answer").text

    async def broken(*_: object) -> object:
        raise ZeroDivisionError

    clock.ms += MINUTE
    monkeypatch.setattr(app.state.judges, "ask", broken)
    answer = section(opened(ward, "W-2/1"), "answer").text
    assert "Cannot tell: the program failed" in answer and "leaking" not in answer


# --- everything there is ----------------------------------------------------------------------------


def test_a_full_drain_tells_orders_holds_tasks_films_and_corrections(ward: Ward) -> None:
    fill(ward[0].state.record)
    page = opened(ward)
    orders = section(page, "orders").text
    assert "review overdue Suction −10 cmH2O" in orders and "may be off for 30 min" in orders
    assert orders.index("−10") < orders.index("−20") and "Earlier orders (1)" in orders
    assert "awaiting imaging" in section(page, "holds").text and "on hold" in section(page, "act").text
    assert "overdue by 2 h" in section(page, "tasks").text
    assert "not yet read" in section(page, "xrays").text
    assert "plain words" in section(page, "purpose").text and "not approved for use" in section(page, "purpose").text
    history = section(page, "history").text
    assert "drain, site: not recorded → “plain words”" in history and "corrected" in history
    assert "who looked" not in history
    rows = section(page, "chart").all("tr")[1:]
    assert "which drain is not told: not counted" in section(page, "chart").text
    assert rows[0].text > "" and len(rows) > 100


def test_the_map_and_its_list_say_the_same(ward: Ward) -> None:
    fill(ward[0].state.record)
    chart = section(opened(ward), "map")
    assert "patient's right" in chart.text and "patient's left" in chart.text
    marks = {node.one("text", cls="number").text: node for node in chart.all("g", cls="marker")}
    assert set(marks) == {"1", "2", "3"}
    assert [number for number in marks if marks[number].all("rect")] == ["3"]  # out is square, and says so
    assert marks["3"].one("text", cls="word").text == "out" and marks["1"].one("text", cls="word").text == "in"
    assert all(float(node.one("text", cls="number").attrs["x"]) < 180 for node in marks.values())  # right: on the left
    told = [node.text for node in chart.all("li")]
    assert [line[:7] for line in told] == ["Drain 1", "Drain 2", "Drain 3"]
    assert "this one" in told[0] and "Joined to one unit with drain 2" in told[0]
    assert "out since" in told[2] and "unplanned" in told[2]
    assert len(chart.all("line", cls="joint")) == 1
    assert "Drains 1 and 2 are joined to one unit" in chart.text


def test_a_side_that_is_not_recorded_is_placed_on_neither(ward: Ward) -> None:
    record = ward[0].state.record
    fill(record)
    space = record.thing("space", record.thing("drain", key(record, "W-1/1"))["space"])
    with record.act(by="tests", what="corrected") as act:
        act.change("space", space.key, {"side": None}, version=space.version)
    page = opened(ward)
    assert "side not recorded" in page.one("h1").text
    assert "its side is not recorded" in section(page, "map").text


def test_a_drain_that_is_out_is_judged_as_of_its_removal(ward: Ward) -> None:
    record = ward[0].state.record
    drain = key(record, "W-2/1")
    with record.act(by="tests", what="removal") as act:
        act.add("removal", key_of("removal", drain), {"drain": drain, "kind": "planned", "time_ms": NOW_MS - 3 * HOUR})
        act.add("check", key_of("check", drain), {"drain": drain, "what": "chest_xray", "due_ms": NOW_MS - HOUR})
    page = opened(ward, "W-2/1")
    assert "This drain is out; judged as of its removal, Thu 07 Mar 06:00." in section(page, "act").text
    assert "at Thu 07 Mar 06:00" in section(page, "answer").text
    out = section(page, "out").text
    assert (
        "Out since Thu 07 Mar 06:00, planned" in out and "breath phase not recorded" in out and "overdue by 1 h" in out
    )
    assert "square" in section(page, "map").text.lower()


def test_what_can_be_done_is_grouped_by_task_each_once(ward: Ward) -> None:
    """In a nurse's words; a page that belongs to no task here stands under the last head."""
    tasks = section(opened(ward, role="registrar"), "doing").all("div", cls="task")
    told = {task.one("h2").text: [link.text for link in task.all("a")] for task in tasks}
    assert list(told) == ["Chart", "Order, clamp, remove", "Trips and home", "Print", "Look back"]
    assert told["Chart"][0] == "Chart a set" and "Order suction" in told["Order, clamp, remove"]
    assert "Trip on battery" in told["Trips and home"] and told["Print"] == ["Sheets"]
    every = [word for words in told.values() for word in words]
    assert len(every) == len(set(every)) and "After removal" not in every


def test_nothing_is_linked_that_is_not_there(ward: Ward) -> None:
    _, client = ward
    page = opened(ward)
    assert len(section(page, "doing").all("a")) > 5
    for link in page.all("a"):
        href = link.attrs["href"]
        if href.startswith("#"):
            assert page.all(id=href[1:]), href
        elif href != "/":
            assert client.get(href).status_code in (200, 303), href


# --- whose it is ------------------------------------------------------------------------------------


def test_a_drain_of_another_ward_is_not_there(ward: Ward) -> None:
    app, client = ward
    record = app.state.record
    drain = fill(record, text="CANARY")
    person = record.thing("person", key_of("person", "nurse"))
    with record.act(by="tests", what="wards") as act:
        act.change("person", person.key, {"wards": '["elsewhere"]'}, version=person.version)
    csrf = signed_in(client)
    for path in ("", "/live", "/picture"):
        answer = client.get(f"/drain/{drain}{path}")
        assert answer.status_code == 404 and "CANARY" not in answer.text and "W-1" not in answer.text
    for path in ("goal", "stay", "task"):
        said = {"csrf": csrf, "version": "1", "goal": "x", "what": "x", "once": "abcdefgh1234"}
        assert client.post(f"/drain/{drain}/{path}", data=said).status_code in (403, 404)
    assert record.thing("goal", key_of("goal", drain))["text"] == "CANARY"


def test_answers_carry_the_drain_that_they_are_about(ward: Ward) -> None:
    app, client = ward
    signed_in(client)
    for name in ("W-1/1", "W-2/1"):
        drain = key(app.state.record, name)
        for path in ("live", "picture"):
            answer = client.get(f"/drain/{drain}/{path}")
            assert answer.headers["x-drain"] == drain and answer.headers["cache-control"] == "no-store"
        assert read_page(client.get(f"/drain/{drain}/live").text).one(id="sheet").attrs["data-drain"] == drain


def test_a_page_that_refreshes_itself_is_no_look_but_its_parts_asked_for_by_hand_are(ward: Ward) -> None:
    app, client = ward
    signed_in(client)
    drain = key(app.state.record, "W-5/1")

    def looks() -> int:
        app.state.looks.flush()
        return sum(one["drain"] == drain for one in app.state.record.things("look"))

    client.get(f"/drain/{drain}")
    assert looks() == 1
    client.get(f"/drain/{drain}/live", headers={"x-by-itself": "1"})
    assert looks() == 1
    client.get(f"/drain/{drain}/live")
    assert looks() == 2
    signed_in(client, "surgeon")  # who calls by a script what was never opened has looked
    for _ in range(2):
        client.get(f"/drain/{drain}/live", headers={"x-by-itself": "1"})
    assert looks() == 3


def test_an_unchanged_page_is_not_sent_again(ward: Ward, clock: Clock) -> None:
    app, client = ward
    page = opened(ward, "W-5/1").one(id="sheet").attrs
    drain = key(app.state.record, "W-5/1")
    path = f"/drain/{drain}/live?state={page['data-state']}&minute={page['data-minute']}"
    assert client.get(path).status_code == 204
    with app.state.record.act(by="tests", what="hold") as act:
        act.add("hold", "h", {"drain": drain, "reason": "other", "from_ms": NOW_MS - MINUTE})
    answer = client.get(path)
    assert answer.status_code == 200 and "on hold" in answer.text
    clock.ms += MINUTE
    assert client.get(path).status_code == 200


# --- age ------------------------------------------------------------------------------------------------


def test_data_past_the_rules_age_are_no_longer_shown_as_an_answer(ward: Ward, clock: Clock) -> None:
    """The limit is the rule's own data_age: 1 h in air-50-8h."""
    page = opened(ward)
    assert "Data until Thu 07 Mar 09:00 (UTC), 0 min old" in page.one(data_caution="cau-C5").text
    assert "After Thu 07 Mar 10:00 this page or print is out of date." in page.one(data_caution="cau-C5").text
    clock.ms += HOUR
    assert not section(opened(ward), "answer").one("div", cls="verdict").attrs.get("hidden")
    clock.ms += MINUTE
    page = opened(ward)
    assert "Data older than 1 h: what they say of the leak is no longer shown." in section(page, "answer").text
    covered = page.all(cls="under")
    assert len(covered) == 3 and all("hidden" in node.attrs for node in covered)
    assert "61 min old" in page.one(data_caution="cau-C5").text


# --- looking back -----------------------------------------------------------------------------------------


def test_looking_back_is_labelled_and_takes_nothing(ward: Ward) -> None:
    fill(ward[0].state.record)
    page = opened(ward, query="?at=2041-03-06T08:00", role="registrar")
    back = page.one("section", aria_label="Looking back").text
    assert "not the present state" in back and "Wed 06 Mar 08:00" in back
    assert page.one("title").children[0].strip().startswith("Looking back")  # type: ignore[union-attr]
    assert "at Wed 06 Mar 08:00" in section(page, "answer").text
    assert not [
        form
        for form in page.all("form")
        if "/drain/" in form.attrs.get("action", "") and form.attrs["method"] == "post"
    ]
    rows = section(page, "chart").all("tr")[1:]
    assert rows and not [row for row in rows if row.text.startswith("Thu 07")]
    assert "−10" not in section(page, "orders").text  # ordered five hours later


def test_as_the_record_stood_then_later_corrections_are_not_known(ward: Ward) -> None:
    fill(ward[0].state.record)
    page = opened(ward, query="?known=2041-03-07T08:59:30")
    assert "As the record stood at Thu 07 Mar 08:59" in page.one("section", aria_label="Looking back").text
    assert "site not recorded" in page.one("h1").text
    assert "plain words" not in page.text and "Drain 2" not in page.text
    assert "cannot tell" not in section(page, "answer").one("h2", cls="leak").text  # no other drain was known to share


def test_a_moment_that_cannot_be_looked_at_is_refused_in_words(ward: Ward) -> None:
    app, client = ward
    signed_in(client)
    drain = key(app.state.record, "W-1/1")
    for query, why in (
        ("at=2041-03-08T09:00", "has not come yet"), ("at=yesterday", "is not a date and time"),
        ("known=2041-03-01T09:00", "was not in the record then"),
    ):  # fmt: skip
        answer = client.get(f"/drain/{drain}?{query}")
        assert answer.status_code == 422 and why in answer.text


# --- texts that somebody typed ------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [kind for kind in TEXTS if kind not in ("plain", "long")])
def test_no_text_of_the_record_becomes_part_of_the_page(tmp_path: Path, kind: str) -> None:
    pages = []
    for text in (TEXTS["plain"], TEXTS[kind]):
        with a_ward(tmp_path / str(len(pages))) as (app, client):
            drain = fill(app.state.record, text=text)
            signed_in(client, "registrar")
            answer = client.get(f"/drain/{drain}").text
            assert not re.search(r'<[a-z][^>]*\s(?:style|on[a-z]+)="', answer)
            pages.append(read_page(answer))
    plain, other = pages
    assert skeleton(plain) == skeleton(other)
    assert other.text.count(" ".join(TEXTS[kind][:60].translate(TURNING).split())) >= 5
    assert not set(other.text) & {chr(code) for code in TURNING}


# --- what is entered -------------------------------------------------------------------------------------------


def test_the_goal_is_set_by_doctors_and_specialist_nurses_and_nothing_is_lost_when_somebody_was_quicker(
    ward: Ward,
) -> None:
    app, client = ward
    drain = key(app.state.record, "W-5/1")
    path = f"/drain/{drain}/goal"
    csrf = signed_in(client, "nurse")
    assert client.post(path, data={"csrf": csrf, "version": "0", "goal": "air"}).status_code == 403
    csrf = signed_in(client, "registrar")
    assert client.post(path, data={"csrf": csrf, "version": "0", "goal": "drain the air"}).status_code == 303
    assert app.state.record.thing("goal", key_of("goal", drain))["text"] == "drain the air"
    answer = client.post(path, data={"csrf": csrf, "version": "0", "goal": "drain pus"})
    page = read_page(answer.text)
    assert answer.status_code == 422 and "Somebody changed this while you wrote" in page.one(id="faults").text
    assert "drain pus" in page.one("textarea", id="f-goal").text
    assert "drain the air" in section(page, "purpose").text
    assert page.one("form", id="goal").one("input", name="version").attrs["value"] == "1"
    empty = client.post(path, data={"csrf": csrf, "version": "1", "goal": " "})
    assert empty.status_code == 422 and "Write what this drain is for" in empty.text


def test_a_bed_changes_nothing_but_itself(ward: Ward) -> None:
    app, client = ward
    drain = key(app.state.record, "W-1/1")
    before = section(opened(ward), "answer").text
    csrf = signed_in(client)
    said = {"csrf": csrf, "version": "1", "ward": "thoracic", "bed": "7", "initials": "QX"}
    assert client.post(f"/drain/{drain}/stay", data=said).status_code == 303
    page = opened(ward)
    assert "Bed 7, QX, thoracic." in page.one("div", id="banner").text
    assert section(page, "answer").text == before
    answer = client.post(f"/drain/{drain}/stay", data={**said, "csrf": signed_in(client), "version": "2", "ward": ""})
    assert answer.status_code == 422 and "cannot be left blank" in answer.text


def test_a_task_is_added_once_and_done_once(ward: Ward) -> None:
    app, client = ward
    drain = key(app.state.record, "W-5/1")
    csrf = signed_in(client, "physiotherapist")
    said = {"csrf": csrf, "what": "walk to the gym", "due": "2041-03-07T12:00", "once": "abcdefgh1234"}
    for _ in range(2):  # a double click
        assert client.post(f"/drain/{drain}/task", data=said).status_code == 303
    (task,) = app.state.record.things("task", {"drain": drain})
    assert task["what"] == "walk to the gym" and task["due_ms"] == NOW_MS + 3 * HOUR
    done = {"csrf": csrf, "key": task.key, "version": "1", "result": "forty metres"}
    assert client.post(f"/drain/{drain}/task", data=done).status_code == 303
    assert "Invented physiotherapist: forty metres" in section(opened(ward, "W-5/1"), "tasks").text
    again = client.post(f"/drain/{drain}/task", data={**done, "csrf": signed_in(client)})
    assert again.status_code == 422 and "Somebody changed this" in again.text
    other = client.post(f"/drain/{key(app.state.record, 'W-1/1')}/task", data={**done, "csrf": signed_in(client)})
    assert other.status_code == 422
    assert client.post(f"/drain/{drain}/task", data={**said, "csrf": signed_in(client, "engineer")}).status_code == 403
