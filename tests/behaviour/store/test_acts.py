"""An act is whole or not there at all, and follows the act before it."""

from __future__ import annotations

import hashlib
import json

import pytest

from behaviour.store.a_drain import ms
from slackwater.errors import RecordError, StaleError
from slackwater.store import Record, open_record, rows
from slackwater.store.acts import FIRST, Act
from slackwater.store.verify import verify

HOLD = {"drain": "d", "reason": "other", "from_ms": ms(0)}


def acts_of(record: Record) -> list[Act]:
    with record.reading() as connection:
        return list(rows.acts(connection))


def enter(record: Record, key: str = "h", **fields: object) -> None:
    with record.act(by="nurse", what="held") as act:
        act.add("hold", key, {**HOLD, **fields})  # type: ignore[dict-item]


def test_an_act_keeps_who_what_why_and_when(place: str) -> None:
    with open_record(place, create=True, clock=lambda: ms(5)) as record:
        with record.act(by="nurse", what="held", why="no bed") as act:
            act.add("hold", "h", HOLD)
        (kept,) = acts_of(record)
    assert (kept.seq, kept.by, kept.what, kept.why, kept.at_ms) == (1, "nurse", "held", "no bed", ms(5))


def test_each_act_holds_the_hash_of_the_one_before(record: Record) -> None:
    for key in "abc":
        enter(record, key)
    first, second, third = acts_of(record)
    assert [first.previous, second.previous, third.previous] == [FIRST, first.hash, second.hash]


def test_the_hash_is_the_sha256_of_the_act_as_json_in_one_line(record: Record) -> None:
    # SHA-256 and JSON are open standards; the order of the parts is ours (store/acts.py) and must not drift.
    enter(record)
    (kept,) = acts_of(record)
    parts = [kept.seq, kept.at_ms, kept.by, kept.what, kept.why, kept.changes, kept.previous]
    text = json.dumps(parts, separators=(",", ":"), ensure_ascii=False)
    assert kept.hash == hashlib.sha256(text.encode()).hexdigest()


def test_an_act_that_fails_leaves_nothing(record: Record) -> None:
    def half_an_act() -> None:
        with record.act(by="nurse", what="held") as act:
            act.add("hold", "h", HOLD)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half_an_act()
    assert record.head() is None
    assert record.things("hold", gone=True) == ()


def test_an_act_without_a_change_is_not_kept(record: Record) -> None:
    with record.act(by="nurse", what="looked"):
        assert record.head() is None
    assert record.head() is None


def test_an_act_without_a_change_is_kept_where_it_is_asked_for(record: Record) -> None:
    with record.act(by="nurse", what="import", even_if_empty=True):
        assert record.head() is None
    assert record.head() is not None


@pytest.mark.parametrize(("by", "what"), [("", "held"), (" ", "held"), ("nurse", "")])
def test_an_act_without_a_name_is_refused(record: Record, by: str, what: str) -> None:
    with pytest.raises(RecordError, match="needs who did it and what"), record.act(by=by, what=what):
        pytest.fail("the act began")


def test_time_never_runs_backwards_in_the_ledger(place: str) -> None:
    moments = iter([ms(10), ms(4), ms(11)])
    with open_record(place, create=True, clock=lambda: next(moments)) as record:
        for key in "abc":
            enter(record, key)
        assert [act.at_ms for act in acts_of(record)] == [ms(10), ms(10) + 1, ms(11)]


def test_a_change_makes_another_version_and_keeps_the_old_one(record: Record) -> None:
    enter(record, note="first")
    with record.act(by="nurse", what="mended") as act:
        act.change("hold", "h", {"note": "second"}, version=1)
    with record.reading() as connection:
        assert [(one.version, one["note"]) for one in rows.versions(connection, "hold")] == [
            (1, "first"),
            (2, "second"),
        ]
    change = json.loads(acts_of(record)[-1].changes)[0]
    assert change["old"] == {"note": "first"}


def test_a_change_that_changes_nothing_is_no_act(record: Record) -> None:
    enter(record, note="first")
    with record.act(by="nurse", what="mended") as act:
        act.change("hold", "h", {"note": "first"}, version=1)
    assert len(acts_of(record)) == 1


def test_a_field_can_become_unknown_again(record: Record) -> None:
    enter(record, note="first")
    with record.act(by="nurse", what="mended") as act:
        act.change("hold", "h", {"note": None}, version=1)
    held = record.thing("hold", "h")
    assert held is not None and held["note"] is None


def test_a_change_of_a_version_that_was_not_seen_is_stale(record: Record) -> None:
    enter(record)
    with record.act(by="nurse", what="mended") as act:
        act.change("hold", "h", {"note": "second"}, version=1)
    with (
        pytest.raises(StaleError, match=r"changed meanwhile \(version 2, you saw 1\)"),
        record.act(by="other", what="mended") as act,
    ):
        act.change("hold", "h", {"note": "third"}, version=1)
    held = record.thing("hold", "h")
    assert held is not None and held["note"] == "second"


def test_a_thing_that_is_there_already_is_stale_to_add(record: Record) -> None:
    enter(record)
    with pytest.raises(StaleError, match="recorded the same thing meanwhile"):
        enter(record)


def test_what_was_taken_back_no_longer_counts_but_stays(record: Record) -> None:
    enter(record, note="first")
    with record.act(by="nurse", what="took back") as act:
        act.take_back("hold", "h", version=1)
    assert record.things("hold") == ()
    (tombstone,) = record.things("hold", gone=True)
    assert (tombstone.version, tombstone["note"]) == (2, "first")


def test_what_was_taken_back_is_neither_changed_nor_taken_back_again(record: Record) -> None:
    enter(record)
    with record.act(by="nurse", what="took back") as act:
        act.take_back("hold", "h", version=1)
    with pytest.raises(RecordError, match="was taken back"), record.act(by="nurse", what="x") as act:
        act.change("hold", "h", {"note": "again"}, version=2)
    with pytest.raises(RecordError, match="was taken back"), record.act(by="nurse", what="x") as act:
        act.take_back("hold", "h", version=2)


def test_a_key_is_never_used_again(record: Record) -> None:
    enter(record)
    with record.act(by="nurse", what="took back") as act:
        act.take_back("hold", "h", version=1)
    with pytest.raises(StaleError):
        enter(record)


def test_what_is_not_there_cannot_be_changed(record: Record) -> None:
    with pytest.raises(RecordError, match="there is no hold h"), record.act(by="nurse", what="x") as act:
        act.change("hold", "h", {"note": "x"}, version=1)


def test_whose_a_thing_is_never_changes(record: Record) -> None:
    enter(record)
    with (
        pytest.raises(RecordError, match=r"hold h, drain: never changes\. Take it back"),
        record.act(by="nurse", what="x") as act,
    ):
        act.change("hold", "h", {"drain": "other"}, version=1)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"reason": "tired"}, r"hold h, reason: 'tired' is no word for it\. Known: .*awaiting_imaging"),
        ({"reason": None}, r"hold h, reason: is missing\. Give it\."),
        ({"from_ms": None}, r"hold h, from_ms: is missing"),
        ({"from_ms": "noon"}, r"hold h, from_ms: 'noon' is no instant"),
        ({"from_ms": 1.5}, r"hold h, from_ms: 1\.5 is no instant"),
        ({"from_ms": True}, r"hold h, from_ms: True is no instant"),
        ({"from_ms": 2**62 + 1}, r"hold h, from_ms: .* cannot be"),
        ({"note": 5}, r"hold h, note: 5 is no text"),
        ({"note": "a\x00b"}, r"hold h, note: is no plain text"),
        ({"note": "x" * 1_000_001}, r"hold h, note: is no plain text"),
        ({"bed": "4"}, r"hold h, bed: is not a field of it\. Known: .*reason"),
        ({"to_ms": ms(-1)}, r"hold h: to_ms lies before from_ms"),
    ],
)
def test_a_field_that_is_wrong_is_refused_by_its_name(record: Record, fields: dict[str, object], said: str) -> None:
    with pytest.raises(RecordError, match=said):
        enter(record, **fields)
    assert record.head() is None


@pytest.mark.parametrize("number", [float("nan"), float("inf"), "70"])
def test_a_number_is_a_number(record: Record, number: object) -> None:
    with pytest.raises(RecordError, match="weight_kg"), record.act(by="nurse", what="x") as act:
        act.add("episode", "e", {"patient": "p", "weight_kg": number})  # type: ignore[dict-item]


def test_odd_text_comes_back_as_it_was(record: Record) -> None:
    odd = ["'; DROP TABLE ledger; --", '"', "a\nb\r\n", "שלום", "😀", "\u202e", "%s %(x)s :x ?", "e\u0301", " x ", "\\"]
    for number, text in enumerate(odd):
        enter(record, f"h{number}", note=text)
    assert [record.things("hold")[number]["note"] for number in range(len(odd))] == odd
    assert verify(record).faults == ()


def test_a_million_characters_are_still_text(record: Record) -> None:
    enter(record, note="é" * 1_000_000)
    held = record.thing("hold", "h")
    assert held is not None and len(held["note"]) == 1_000_000


def test_the_record_is_read_as_it_was_known_at_a_moment(place: str) -> None:
    now = [ms(0)]
    with open_record(place, create=True, clock=lambda: now[0]) as record:
        enter(record, note="first")
        now[0] = ms(10)
        with record.act(by="nurse", what="mended") as act:
            act.change("hold", "h", {"note": "second"}, version=1)
        now[0] = ms(20)
        with record.act(by="nurse", what="took back") as act:
            act.take_back("hold", "h", version=2)

        def known(minute: float) -> list[str]:
            return [one["note"] for one in record.things("hold", known_ms=ms(minute))]

        assert [known(-1), known(0), known(9), known(10), known(19), known(20)] == [
            [], ["first"], ["first"], ["second"], ["second"], [],
        ]  # fmt: skip


def test_the_moment_of_the_bedside_is_kept_beside_that_of_the_entry(place: str) -> None:
    # Hazard B07: an old finding that is entered late must not look new.
    with open_record(place, create=True, clock=lambda: ms(500)) as record:
        with record.act(by="nurse", what="held") as act:
            act.add("hold", "h", HOLD, happened_ms=ms(0))
        held = record.thing("hold", "h")
    assert held is not None and (held.happened_ms, held.at_ms) == (ms(0), ms(500))


def test_one_person_approves_a_rule_once(record: Record) -> None:
    with record.act(by="audit", what="entered") as act:
        act.add("person", "p1", {"name": "One", "role": "surgeon"})
        act.add("approval", "a1", {"protocol": "x", "person": "p1"})
    with pytest.raises(RecordError, match="has approved it already"), record.act(by="audit", what="x") as act:
        act.add("approval", "a2", {"protocol": "x", "person": "p1"})


def test_nobody_unknown_approves_a_rule(record: Record) -> None:
    with pytest.raises(RecordError, match="is not a person of this record"), record.act(by="audit", what="x") as act:
        act.add("approval", "a1", {"protocol": "x", "person": "p1"})


def test_a_drain_is_taken_out_once(record: Record) -> None:
    out = {"drain": "d", "kind": "planned", "time_ms": ms(5)}
    with record.act(by="nurse", what="removed") as act:
        act.add("removal", "r1", out)
    with pytest.raises(RecordError, match="this drain is out already"), record.act(by="nurse", what="x") as act:
        act.add("removal", "r2", out)


def test_the_record_is_there_when_it_is_opened_again(place: str) -> None:
    with open_record(place, create=True) as record:
        enter(record, note="kept")
    with open_record(place) as again:
        held = again.thing("hold", "h")
    assert held is not None and held["note"] == "kept"
