"""Every route x every role x own ward and another: what the policy says is what happens, and no denied answer
holds a byte of what it denies (OWASP ASVS 5.0.0, chapter 8: authorisation).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from slackwater.store.acts import key_of
from slackwater.store.nouns import ROLES
from slackwater.web.policy import POLICY
from ward.a_ward import a_ward, signed_in

CANARY = "CANARY-7731"
MINE = key_of("drain", key_of("patient", "W-2"), "1")
THEIRS = key_of("drain", key_of("patient", CANARY), "1")
ENDING = (
    "/logout", "/login", "/lock", "/unlock", "/first",
    *(f"/api/v1/{one}" for one in ("logout", "login", "lock", "unlock")),
)  # fmt: skip  # they begin or end a session: test_getting_in.py
# What the rest of a path is filled with; `{drain}` is filled by the test.
FILLED = {
    "sha256": "0" * 64,
    "card": "fell_out",
    "unit": "0" * 20,
    "person": "0" * 20,
    "path": "ward.css",
    "entry": "0" * 20,
    "task": "0" * 20,
    "hold": "0" * 20,
    "check": "0" * 20,
    "trip": "0" * 20,
    "call": "0" * 20,
    "stay": "0" * 20,
    "exercise": "no-swing",
    "draw": "1",
    "kind": "handover",
}


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    """W-2 lies in ward South; a patient whose label is the canary in ward North; everybody here is of South."""
    folder: Path = tmp_path_factory.mktemp("ward")
    with a_ward(folder) as (app, client):
        with app.state.record.act(by="tests", what="wards") as act:
            (stay,) = act.things("episode", {"patient": key_of("patient", "W-2")})
            act.change("episode", stay.key, {"ward": "South"}, version=stay.version)
            patient = key_of("patient", CANARY)
            act.add("patient", patient, {"label": CANARY})
            act.add("episode", "canary-stay", {"patient": patient, "ward": "North", "initials": CANARY})
            act.add("space", "canary-space", {"episode": "canary-stay", "kind": "pleural", "side": "left"})
            act.add("drain", THEIRS, {"episode": "canary-stay", "space": "canary-space", "number": "1"})
            act.add(
                "entry", "canary-row",
                {"episode": "canary-stay", "drain": "1", "item": "note", "value": CANARY, "time_ms": act.at_ms},
            )  # fmt: skip
            for role in ROLES:
                person = act.thing("person", key_of("person", role))
                assert person is not None
                act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
        yield app, client


def routes(app: FastAPI) -> list[tuple[str, str]]:
    """(method, path) of every route that is hung."""
    found = []
    pending = list(app.routes)
    while pending:
        route = pending.pop()
        pending += getattr(getattr(route, "original_router", None), "routes", [])
        if isinstance(route, APIRoute):
            found += [(method, route.path) for method in route.methods]
    return sorted(set(found))


def path_of(path: str, drain: str) -> str:
    filled = path.replace("{path:path}", FILLED["path"]).replace("{drain}", drain)
    for name, value in FILLED.items():
        filled = filled.replace(f"{{{name}}}", value)
    assert "{" not in filled, f"{path}: say in FILLED what stands for its last part"
    return filled


def sent(client: TestClient, method: str, path: str, csrf: str) -> Any:
    """An empty form, or an empty object where programs send JSON; each with our token."""
    if method == "GET":
        return client.get(path)
    if path.startswith("/api/"):
        return client.request(method, path, json={}, headers={"x-csrf-token": csrf})
    return client.request(method, path, data={"csrf": csrf})


def test_every_route_has_a_rule_and_every_rule_a_route(ward: tuple[FastAPI, TestClient]) -> None:
    app, _ = ward
    assert set(routes(app)) == set(POLICY)


def test_without_logging_in_nothing_is_told(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    client.cookies.clear()
    for method, path in routes(app):
        rule = POLICY[(method, path)]
        for drain in (MINE, THEIRS):
            answer = client.request(method, path_of(path, drain))
            if rule.roles is not None:
                assert answer.status_code in (303, 401), f"{method} {path}"
            assert CANARY not in answer.text and "W-2" not in answer.text, f"{method} {path}"


def test_each_role_may_what_the_policy_says_and_a_denied_answer_holds_nothing(
    ward: tuple[FastAPI, TestClient],
) -> None:
    app, client = ward
    cells = 0
    for role in ROLES:
        csrf = signed_in(client, role)
        kept = dict(client.cookies)
        for (method, path), drain in product(routes(app), (MINE, THEIRS)):
            if path in ENDING:
                continue
            rule = POLICY[(method, path)]
            client.cookies.clear()
            client.cookies.update(kept)
            app.state.looks.flush()
            before = app.state.record.head().seq
            answer = sent(client, method, path_of(path, drain), csrf)
            where = f"{role}: {method} {path} ({'own' if drain == MINE else 'other'} ward)"
            allowed = rule.roles is None or role in rule.roles
            if not allowed:
                assert answer.status_code == 403, where
            elif rule.drain and drain == THEIRS:
                assert answer.status_code == 404, where
            else:  # what a form or a path names beside the drain is nowhere: that may be a 404
                assert answer.status_code not in (401, 403), f"{where}: {answer.status_code}"
            if not allowed or drain == THEIRS:
                app.state.looks.flush()
                acts = app.state.record.head()
                assert acts.seq == before or acts.what in ("who looked", "person", "left"), where
            assert CANARY not in answer.text, where
            assert CANARY not in str(answer.headers), where
            cells += 1
    looked_at = [path for _, path in routes(app) if path not in ENDING]
    assert cells == len(ROLES) * 2 * len(looked_at)


def test_a_form_without_our_token_changes_nothing_anywhere(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    for role in ROLES:
        signed_in(client, role)
        for method, path in routes(app):
            rule = POLICY[(method, path)]
            if method == "GET" or rule.roles is None or role not in rule.roles:
                continue
            assert client.request(method, path_of(path, MINE)).status_code == 403, f"{role}: {method} {path}"
