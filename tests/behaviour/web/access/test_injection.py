"""Whatever people type, import or send: it is shown as text, and never becomes part of a page.

Every text of the record that is no word of a closed list is hostile here, and so is every field of every form that
any page shows; pages and forms are found by following the links. Safety hazards I01, H10; OWASP ASVS 5.0.0, chapter 1.
The reader is the standard library's HTML parser, beside rules that hold for every page of ours: no inline script,
no event handler, no style attribute, no address elsewhere.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from itertools import cycle, pairwise
from pathlib import Path
from urllib.parse import quote, urlsplit

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from behaviour.web.access.hostile import CORPUS, MARK, SHORT, WHOLE, Form, read
from behaviour.web.charting.a_bedside import AT
from property.quick_and_many import DEEP
from slackwater.episode.episode import read_episode
from slackwater.errors import SlackwaterError
from slackwater.protocol.shipped import shipped_bytes
from slackwater.store.accounts import open_session
from slackwater.store.acts import key_of
from slackwater.store.chart_text import entry_key
from slackwater.store.nouns import COUNT, FLAG, INSTANT, NOUNS, NUMBER, WORDS, Value
from slackwater.store.record import Acting
from slackwater.store.take_in import Bundle, take_in
from slackwater.web.guard import COOKIE
from slackwater.web.policy import POLICY
from slackwater.web.routes import every
from ward.a_board import looked
from ward.a_ward import NOW_MS, a_ward

ROUTERS = list(every())
HOUR = 3_600_000
PATIENT, STAY, SPACE, DRAIN = (key_of(noun, "hostile") for noun in ("patient", "episode", "space", "drain"))
OUT = key_of("drain", "hostile and out")
LOGGED = key_of("drain", key_of("patient", "W-1"), "1")
# Texts with a form of their own, which no free text can be: keys of other things, numbers, hashes, lists.
FORMED: dict[tuple[str, str], Value] = {
    ("person", "wards"): None, ("drain", "shares_unit_with"): None, ("drain", "shares_space_with"): None,
    ("episode", "patient"): PATIENT, ("space", "episode"): STAY, ("drain", "episode"): STAY, ("drain", "space"): SPACE,
    ("pairing", "patient"): PATIENT, ("entry", "episode"): STAY, ("entry", "drain"): "1", ("entry", "item"): "note",
    ("order", "level"): "-20", ("order", "unit"): "cmH2O", ("drain", "number"): "1",
    ("setup", "checked"): '["filter"]', ("goal", "protocol"): None, ("unit", "layout"): None,
    ("removal", "overall"): None, ("removal", "protocol"): None,
    ("decision", "overall"): None, ("decision", "protocol"): None,
}  # fmt: skip
# no person types a word of them
MADE_BY_THE_PROGRAM = {
    "protocol", "approval", "log", "table", "message", "look", "lesson", "sealed", "unit_key", "disputed",
}  # fmt: skip


def fields_of(noun: str, text: str, **given: Value) -> dict[str, Value]:
    """A thing of that noun in which everything that can be typed is `text`."""
    found: dict[str, Value] = {}
    for field in NOUNS[noun].fields:
        if field.name in given:
            found[field.name] = given[field.name]
        elif (noun, field.name) in WORDS:
            found[field.name] = WORDS[noun, field.name][0]
        elif (noun, field.name) in FORMED:
            found[field.name] = FORMED[noun, field.name]
        elif field.name in ("drain", "unit") and field.fixed:
            found[field.name] = {"drain": DRAIN, "unit": key_of("unit", "hostile")}[field.name]
        elif field.kind in (INSTANT, COUNT, NUMBER, FLAG):
            begins = field.name in ("from_ms", "time_ms", "connected_ms", "written_ms")
            number = 1 if field.needed else None
            found[field.name] = {INSTANT: NOW_MS - HOUR if begins else None, FLAG: False}.get(field.kind, number)
        else:
            found[field.name] = text
    return found


def spoil(act: Acting, text: str) -> None:
    """A patient, and one thing of every noun, with `text` wherever a person types."""
    tube = {"connected_ms": NOW_MS - 30 * HOUR}
    act.add("patient", PATIENT, fields_of("patient", text))
    act.add("episode", STAY, fields_of("episode", text))
    act.add("space", SPACE, fields_of("space", text))
    act.add("drain", DRAIN, fields_of("drain", text, **tube))
    act.add("drain", OUT, fields_of("drain", text, number="2", **tube))
    act.add("unit", key_of("unit", "hostile"), fields_of("unit", text))
    done = {"entry", "patient", "episode", "space", "drain", "unit", *MADE_BY_THE_PROGRAM}
    for noun in NOUNS:
        if noun in done:
            continue
        more: dict[str, Value] = {"drain": OUT} if noun in ("removal", "check") else {}
        act.add(noun, key_of(noun, "hostile"), fields_of(noun, text, **more))
    for item, value in (
        ("swing", "present"),
        ("chest_xray", "expanded"),
        ("fluid_output", text),
        ("note", text),
        (text, text),
    ):
        row = fields_of("entry", text, item=item, value=value)
        act.add("entry", entry_key(STAY, row), row)


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    folder: Path = tmp_path_factory.mktemp("ward")
    with a_ward(folder, here=True) as (app, client):
        with app.state.record.act(by=WHOLE, what="told", why=WHOLE) as act:
            spoil(act, WHOLE)
        client.headers["x-forwarded-for"] = "test"
        yield app, client


def as_(app: FastAPI, client: TestClient, role: str) -> str:
    """A session of that role without the password's work."""
    held, session = open_session(app.state.record, key_of("person", role), NOW_MS, 0)
    client.cookies.clear()
    client.headers["cookie"] = f"{COOKIE}={held}"
    return session.csrf


def crawl(client: TestClient, most: int = 400) -> dict[str, str]:
    """Every page to which links lead, by its path; of drains only the hostile one and one that has a log."""
    pages: dict[str, str] = {}
    asked_by_scripts = ["/round/lines", f"/drain/{DRAIN}/live", f"/drain/{LOGGED}/live", f"/drain/{LOGGED}/picture"]
    waiting = ["/", f"/drain/{DRAIN}", f"/drain/{OUT}", f"/drain/{LOGGED}", *asked_by_scripts]
    while waiting and len(pages) < most:
        path = waiting.pop(0)
        where = urlsplit(path)
        short = where.path if not where.query else f"{where.path}?"  # one question of each page is enough
        drain = where.path.split("/")[2] if where.path.startswith("/drain/") and where.path.count("/") > 1 else ""
        if short in pages or where.path.startswith("/static/") or (where.fragment and not where.path):
            continue
        if drain not in ("", "new", DRAIN, OUT, LOGGED):
            continue
        answer = client.get(path, follow_redirects=True)
        pages[short] = answer.text if "html" in answer.headers.get("content-type", "") else ""
        assert answer.status_code < 500, path
        if pages[short]:
            waiting += [link for link in read(pages[short]).links if link.startswith("/")]
        else:
            assert answer.headers["x-content-type-options"] == "nosniff", path
    return pages


def unharmed(answer: object, where: object) -> None:
    text, headers = str(getattr(answer, "text")), getattr(answer, "headers")  # noqa: B009
    assert getattr(answer, "status_code") < 500, where  # noqa: B009
    if "html" in headers.get("content-type", ""):
        assert read(text).faults == [], where
    assert MARK not in headers.get("set-cookie", ""), where


def test_the_reader_finds_what_it_should() -> None:
    """The check can fail: each of these, put raw into a page of ours, is found."""
    for one in (WHOLE, SHORT, f"<script>{MARK}</script>", f"<img src=x onerror={MARK}>", "<a href=javascript:1>",
                "<a href=//x.example>", "<a style='x'>", "\u202e", "\x00", f"{MARK}49", f"<!--{MARK}-->"):  # fmt: skip
        assert read(f"<p>{one}</p>").faults, one
    assert read(f'<p title="{MARK}">&lt;{MARK}&gt;</p><a href="/x?{MARK}">').faults == []


@pytest.fixture(scope="module")
def pages(ward: tuple[FastAPI, TestClient]) -> dict[str, dict[str, str]]:
    looked(*ward)
    return pages_of(*ward)


def test_no_page_takes_what_was_recorded_for_its_own(pages: dict[str, dict[str, str]]) -> None:
    """Every page that shows a role anything is reached by a link, but those that a form leads to."""
    shown = 0
    for role, texts in pages.items():
        for path, text in texts.items():
            assert read(text).faults == [], f"{role}: {path}"
            shown += MARK in text
    assert shown > 30, "the hostile words were there to be seen"
    reached = {shape(path) for texts in pages.values() for path in texts}
    asked = {path for (method, path), rule in POLICY.items() if method == "GET" and rule.roles and "api" not in path}
    assert {shape(path) for path in asked} - reached <= {"/drain/{}/set/told", "/practice/{}/{}"}


# What stands behind these is a name, and which words there are none.
NAMED = {"first-minutes": ("edit",), "practice": ("next", "bench", "people"), "sheets": ()}


def shape(path: str) -> str:
    """An address with its keys and names left out."""
    parts = [
        "{}" if part.startswith("{") or len(part) >= 20 or (before in NAMED and part not in NAMED[before]) else part
        for before, part in pairwise(["", *path.rstrip("?").split("/")])
    ]
    return "/".join(parts)


def filled(form: Form, text: str, csrf: str, once: str, names: Iterable[str] | None = None) -> dict[str, str]:
    said = {
        name: AT if name == "at" or name.endswith(("_at", "from", "until")) else "1" for name in form.free
    } | form.given
    return {**said, **dict.fromkeys(form.free if names is None else names, text), "csrf": csrf, "once": once}


def pages_of(app: FastAPI, client: TestClient) -> dict[str, dict[str, str]]:
    """Role -> path -> page. Roles that together may see every page."""
    found = {}
    for role in ("specialist_nurse", "keeper", "engineer"):
        as_(app, client, role)
        found[role] = crawl(client)
    return found


def forms_of(pages: dict[str, dict[str, str]]) -> dict[str, tuple[str, Form]]:
    """Every form of every page, once for each shape of its address: role, form."""
    found: dict[str, tuple[str, Form]] = {}
    for role, texts in pages.items():
        for text in texts.values():
            for form in read(text).forms:
                if form.action not in ("/logout", "/lock", "/unlock", "/login"):
                    found.setdefault(f"{shape(form.action)} {sorted(form.names)}", (role, form))
    return found


def test_no_form_gives_back_what_was_typed_as_its_own(
    ward: tuple[FastAPI, TestClient], pages: dict[str, dict[str, str]]
) -> None:
    """All that is typed freely at once; then every field at once, choices and hidden values too."""
    app, client = ward
    forms = forms_of(pages)
    asked = {path for (method, path), rule in POLICY.items() if method == "POST" and rule.roles and "api" not in path}
    # the hostile drain's chart cannot be judged, so its page for home shows why, and not its form
    beside = {"/logout", "/lock", "/touch", "/drain/{}/set/told", "/drain/{}/home/{}"}
    found = {key.split()[0] for key in forms} | beside
    assert {shape(path) for path in asked} - found == set(), "a form that no link leads to"
    for number, (role, form) in enumerate(forms.values()):
        csrf = as_(app, client, role)
        for turn, (text, names) in enumerate(((SHORT, form.free), (WHOLE, form.names))):
            said = filled(form, text, csrf, f"hostile-{number}-{turn}", names)
            unharmed(client.post(form.action, data=said, follow_redirects=True), (form.action, turn))


def test_no_address_is_taken_for_a_page(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    for (method, path), rule in POLICY.items():
        if method != "GET":
            continue
        as_(app, client, sorted(rule.roles or {"nurse"})[0])
        parts = [quote(SHORT, safe="") if part.startswith("{") else part for part in path.split("/")]
        for query in (
            "",
            f"?{'&'.join(f'{name}={quote(WHOLE)}' for name in ('to', 'text', 'ward', 'show', 'rows', 'beside'))}",
        ):
            unharmed(client.get("/".join(parts) + query), path)
    client.headers["cookie"] = ""
    for data in ({"login": WHOLE, "password": WHOLE, "to": WHOLE}, {"login": SHORT, "to": f"/{SHORT}"}):
        unharmed(client.post("/login", data=data), "/login")
        unharmed(client.post("/unlock", data=data), "/unlock")
        unharmed(client.get("/login", params=data), "/login")


def hostile_bundle(number: int, text: str) -> Bundle:
    """A drain that comes by files: every text of its episode, chart and rule."""
    cell = '"' + text.replace('"', '""') + '"'
    chart = f"time,item,value,unit,note,by\n2041-03-07T04:00:00+00:00,note,{cell},,{cell},{cell}\n"
    quoted = json.dumps(text, ensure_ascii=False)
    label = json.dumps(f"{number} {text}", ensure_ascii=False)
    episode = f'[patient]\nid = {label}\n[drain]\nnumber = "1"\nside = "left"\nspace = "pleural"\nsite = {quoted}\n'
    rule = shipped_bytes("air-50-8h").decode()
    named = [f"title = {quoted}" if line.startswith("title = ") else line for line in rule.splitlines()]
    return Bundle(
        f"{number}", read_episode(episode.encode(), "episode.toml"), charts=((f"{text[:40]}.csv", chart.encode()),),
        zone="UTC", protocol=("rule.toml", "\n".join(named).encode()),
    )  # fmt: skip


@pytest.mark.parametrize("texts", [(SHORT, WHOLE), pytest.param(CORPUS, marks=pytest.mark.slow)], ids=["two", "corpus"])
def test_no_page_takes_what_was_imported_for_its_own(tmp_path: Path, texts: tuple[str, ...]) -> None:
    with a_ward(tmp_path, here=True) as (app, client):
        taken = []
        for number, text in enumerate(texts):
            try:
                taken.append(take_in(app.state.record, hostile_bundle(number, text), by=text[:60]).drain)
            except (SlackwaterError, UnicodeError):
                continue  # refused whole is fine: then nothing of it is ever shown
        assert len(taken) >= len(texts) / 3
        looked(app, client)
        as_(app, client, "surgeon")
        for path in ("/", "/protocols", "/round/lines", *(f"/drain/{drain}" for drain in taken)):
            unharmed(client.get(path), path)


def batched(names: list[str], size: int) -> list[list[str]]:
    return [names[at : at + size] for at in range(0, len(names), size)]


SHARED = 12  # forms that share the corpus between them


@pytest.mark.slow
def test_no_field_of_any_form_takes_any_of_the_corpus(tmp_path: Path) -> None:
    """Each string in all that is typed freely (in the deep run of every form, else of one form or another); each field
    alone (else two together) with one after the other; then every page is read."""
    with a_ward(tmp_path, here=True) as (app, client):
        with app.state.record.act(by=SHORT, what="told", why=SHORT) as act:
            spoil(act, SHORT)
        looked(app, client)
        each = cycle(CORPUS)
        for number, (role, form) in enumerate(forms_of(pages_of(app, client)).values()):
            csrf = as_(app, client, role)
            corpus = CORPUS if DEEP else CORPUS[number % SHARED :: SHARED]
            turns = [(text, form.free) for text in corpus] + [
                (next(each), names) for names in batched(form.names, 1 if DEEP else 2)
            ]
            for turn, (text, names) in enumerate(turns):
                said = filled(form, text, csrf, f"hostile-{number}-{turn}", names)
                unharmed(client.post(form.action, data=said, follow_redirects=True), (form.action, names, text[:80]))
        looked(app, client)
        for role, texts in pages_of(app, client).items():
            for path, page in texts.items():
                assert read(page).faults == [], f"{role}: {path}"
