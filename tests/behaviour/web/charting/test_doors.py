"""Every charting page: who may open it, a form that is not ours, hostile text in every field, and the cautions.

What a browser would run is written out by hand here; no outside list is used.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, HOSTILE, LOGGED, NOW_MS, Bedside, a_bedside, inert
from slackwater.store.acts import key_of

ALL = {"nurse", "specialist_nurse", "physiotherapist", "registrar", "surgeon"}
DOORS = {
    "set": ALL, "handle": ALL, "xray": ALL, "try": ALL, "correct": ALL, "fluid": ALL, "after": ALL, "set/told": ALL,
    "order": ALL - {"nurse", "physiotherapist"}, "canister": ALL - {"physiotherapist"},
    "clamp": ALL - {"physiotherapist"}, "hold": ALL - {"physiotherapist"}, "remove": ALL - {"physiotherapist"},
}  # fmt: skip
FORMS = [page for page in DOORS if page not in ("correct", "set/told")]
EVERY = (*sorted(ALL), "engineer", "audit_lead", "keeper")


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "surgeon") as one:
        yield one


def test_who_may_open_and_send_which_page(bedside: Bedside) -> None:
    for role in EVERY:
        bedside.as_(role)
        for page, roles in DOORS.items():
            status = bedside.get(f"/drain/{LOGGED}/{page}").status_code
            assert (status == 200) == (role in roles), f"{role} {page} {status}"
        for page in FORMS:
            status = bedside.post(f"/drain/{LOGGED}/{page}").status_code
            assert (status == 403) == (role not in DOORS[page]), f"{role} sends {page}: {status}"
        assert (bedside.get("/drain/new").status_code == 200) == (role in ALL - {"physiotherapist"})


@pytest.mark.parametrize("page", [*FORMS, "set/told"])
def test_a_form_without_our_token_is_refused_and_so_is_a_drain_of_another_ward(bedside: Bedside, page: str) -> None:
    assert bedside.post(f"/drain/{LOGGED}/{page}", csrf="").status_code == 403
    with bedside.app.state.record.act(by="tests", what="wards") as act:
        tube = act.thing("drain", LOGGED)
        stay = act.thing("episode", tube["episode"])
        act.change("episode", stay.key, {"ward": "North"}, version=stay.version)
        person = act.thing("person", key_of("person", "surgeon"))
        act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
    bedside.as_("surgeon")  # the server knows who was let in for a few seconds
    for answer in (bedside.get(f"/drain/{LOGGED}/{page}"), bedside.post(f"/drain/{LOGGED}/{page}", swing="present")):
        assert answer.status_code in (404, 405) and "W-1" not in answer.text


@pytest.mark.parametrize("page", [*FORMS, "new"])
def test_hostile_text_in_every_field_stays_text(bedside: Bedside, page: str) -> None:
    if page == "after":
        with bedside.app.state.record.act(by="tests", what="out") as act:
            act.add("removal", "r" * 20, {"drain": CHARTED, "kind": "unplanned", "time_ms": NOW_MS - 3_600_000})
            act.add("check", "c" * 20, {"drain": CHARTED, "what": "chest_xray", "due_ms": NOW_MS})
    path = "/drain/new" if page == "new" else f"/drain/{CHARTED}/{page}"
    shown = bedside.get(path).text
    names = set(re.findall(r'<(?:input|select|textarea)[^>]* name="([^"]+)"', shown)) - {
        "csrf",
        "once",
        "password",
        "to",
    }
    assert names
    for show in ("", "1"):
        answer = bedside.post(path, **{**dict.fromkeys(names, HOSTILE), "show": show})
        assert answer.status_code in (200, 422) and inert(answer), page
    for name in names:
        assert inert(bedside.post(path, **{name: HOSTILE})), f"{page} {name}"


def test_hostile_text_that_is_kept_stays_text_on_every_page_that_shows_it(bedside: Bedside) -> None:
    bedside.post(f"/drain/{CHARTED}/set", once="hostile-set", note=HOSTILE, site_text=HOSTILE, swing="present")
    bedside.post(f"/drain/{CHARTED}/hold", reason="other", note=HOSTILE)
    bedside.post(f"/drain/{CHARTED}/clamp", kind="ordered", ordered_by=HOSTILE, minutes="5", note=HOSTILE)
    bedside.post(f"/drain/{CHARTED}/handle", what="tubing:milked", note=HOSTILE, at="2041-03-07T08:59")
    kept = bedside.rows(CHARTED)
    assert kept["note"]["value"] == HOSTILE and "&lt;script&gt;" in bedside.get(f"/drain/{CHARTED}/correct").text
    for page in (*DOORS, "set/told?set=hostile-set", f"entry/{kept['note'].key}/correct"):
        answer = bedside.get(f"/drain/{CHARTED}/{page}")
        assert answer.status_code == 200 and inert(answer), page


@pytest.mark.parametrize("page", FORMS)
def test_every_page_says_whose_drain_it_is_and_who_records(bedside: Bedside, page: str) -> None:
    text = bedside.get(f"/drain/{LOGGED}/{page}").text
    assert 'data-caution="cau-C9"' in text and 'data-caution="cau-C2"' in text and 'data-caution="cau-C3"' in text
    assert "Patient <b>W-1</b>" in text and "drain <b>1</b>" in text and "<b>right</b>" in text
    assert len(re.findall("<h1", text)) == 1
    if page != "after":
        assert "Recorded as Invented surgeon, surgeon." in text


def test_opening_a_page_is_kept_as_a_look(bedside: Bedside) -> None:
    bedside.get(f"/drain/{LOGGED}/set")
    bedside.app.state.looks.flush()
    looks = [one for one in bedside.app.state.record.things("look") if one["drain"] == LOGGED]
    assert {one["what"] for one in looks} == {"charting"}
