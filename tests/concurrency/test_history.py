"""The judge is judged first: each fault written into a small history by hand is found, and a true history passes."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from concurrency.history import Found, Held, Operation, faults

A = Operation(1, "append", 10, 20, "ok", "list", token="a")
B = Operation(2, "append", 30, 40, "ok", "list", token="b")
EDIT = Operation(1, "edit", 50, 60, "ok", "list", "hold", "e", 1, "made")
REFUSED = Operation(2, "edit", 52, 62, "refused", "list", "hold", "r", 1, "made")
READ = Operation(3, "read", 70, 80, "ok", "list", "hold", version=2, held="e", seen=("a", "b", "e"))
HISTORY = [A, B, EDIT, REFUSED, READ]
CHAIN = (Held(1, "made", ""), Held(2, "e", "made"))
FOUND = Found({"list": ["a", "b", "e"]}, {"hold": CHAIN})


def test_a_true_history_has_no_fault():
    assert not faults(HISTORY, FOUND)


def test_an_unanswered_write_may_be_there_or_not():
    unsure = replace(A, outcome="error", error="server closed the connection")
    read = replace(READ, seen=("b", "e"))
    for tokens in (["a", "b", "e"], ["b", "e"]):
        found = Found({"list": tokens}, {"hold": CHAIN})
        assert set(faults([unsure, B, EDIT, read], found)) == {"error, unhandled: server closed the connection"}


@pytest.mark.parametrize(
    ("name", "history", "found"),
    [
        ("lost append", HISTORY, Found({"list": ["b", "e"]}, {"hold": CHAIN})),
        ("doubled", HISTORY, Found({"list": ["a", "a", "b", "e"]}, {"hold": CHAIN})),
        ("from nowhere", HISTORY, Found({"list": ["a", "b", "e", "x"]}, {"hold": CHAIN})),
        ("half an act", HISTORY, Found({"list": ["a", "b", "e", "r"]}, {"hold": CHAIN})),
        ("lost update", HISTORY, Found(FOUND.lists, {"hold": CHAIN[:1]})),
        ("lost update", HISTORY, Found(FOUND.lists, {"hold": (*CHAIN, Held(3, "z", "made"))})),
        ("lost update", HISTORY, Found(FOUND.lists, {"hold": (*CHAIN, Held(2, "z", "made"))})),
        ("locked, unhandled", [*HISTORY, replace(A, token="c", outcome="error", error="database is locked")], FOUND),
        ("stale read", [A, B, EDIT, replace(READ, seen=("a", "e"))], FOUND),
        ("stale read", [A, B, EDIT, replace(READ, version=1, held="made")], FOUND),
        ("stale read", [A, B, EDIT, replace(REFUSED, start_ns=61, end_ns=70)], FOUND),
        ("dirty read", [A, B, EDIT, REFUSED, replace(READ, seen=("a", "b", "e", "r"))], FOUND),
        ("from nowhere", [A, B, EDIT, replace(READ, start_ns=12, end_ns=14, version=1, held="made")], FOUND),
        ("doubled", [A, B, EDIT, replace(READ, seen=("a", "a", "b", "e"))], FOUND),
        ("half an act", [A, B, EDIT, replace(READ, start_ns=55, end_ns=58, seen=("a", "b"))], FOUND),
        (
            "reads in two orders",
            [
                replace(A, end_ns=100),
                replace(B, end_ns=100),
                replace(READ, hold="", held="", seen=("a",)),
                replace(READ, hold="", held="", seen=("b",)),
            ],
            Found({"list": ["a", "b"]}, {}),
        ),
    ],
)
def test_each_fault_is_found_and_no_other_is_named(name: str, history: list[Operation], found: Found):
    assert set(faults(history, found)) == {name}


def test_any_histories_of_a_true_record_pass():
    """500 histories drawn from a record that acts at one instant within each call, the source: its own definition."""
    for seed in range(500):
        history, found = _true_history(random.Random(seed))
        assert not faults(history, found), f"seed {seed}"


def _true_history(chance: random.Random) -> tuple[list[Operation], Found]:
    tokens: list[str] = []
    chain = [Held(1, "made", "")]
    history = []
    for instant in range(100, 4100, 100):
        # calls overlap, for each begins and ends up to five instants away
        start, end = instant - chance.randrange(500), instant + 1 + chance.randrange(500)
        kind = chance.choice(["append", "edit", "read"])
        token = "" if kind == "read" else f"t{instant}"
        now = chain[-1]
        looked = chance.choice(chain[-2:]) if kind == "edit" and start < instant - 100 else now
        blank = Operation(0, "append", start, end, "ok", "list")
        if kind == "append":
            tokens.append(token)
            history.append(replace(blank, token=token))
        elif kind == "read":
            seen = tuple(tokens)
            history.append(replace(blank, kind="read", hold="hold", version=now.version, held=now.token, seen=seen))
        else:
            kept = looked is now
            outcome = "ok" if kept else "refused"
            asked = replace(blank, kind="edit", outcome=outcome, hold="hold", token=token)
            # an older version can have been looked at only before the newer one was acknowledged
            last = next((one for one in reversed(history) if one.kind == "edit" and one.outcome == "ok"), None)
            if not kept and last is not None:
                asked = replace(asked, start_ns=min(start, last.end_ns))
            history.append(replace(asked, version=looked.version, held=looked.token))
            if kept:
                tokens.append(token)
                chain.append(Held(now.version + 1, token, now.token))
    return history, Found({"list": tokens}, {"hold": chain})
