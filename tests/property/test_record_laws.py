"""Laws of the record: however and whenever a stay was handed in (M5-M9, M21, M22, M25, M27, M34, M39, M44)."""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from behaviour.store.a_drain import (
    LAST,
    LAYOUT,
    ROWS,
    RULE,
    bundle,
    chart_text,
    course_held,
    episode,
    log,
    log_rows,
    log_text,
    ms,
    removal,
    row,
    said,
    taken,
)
from postgres.any_acts import act_at_random
from property.quick_and_many import Laws
from slackwater.assessment.document import document
from slackwater.store import Record, open_record
from slackwater.store.acts import FIRST, hash_of
from slackwater.store.nouns import NOUNS
from slackwater.store.read_out import assess_drain
from slackwater.store.take_in import Bundle, GivenLog
from slackwater.store.verify import verify
from slackwater.store.write_out import files_of

LAWS = Laws()

SEEDS = st.integers(0, 2**32 - 1)
MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None  # the laws ask nothing of the disk
# A contradiction, a late row, another drain's row and one of no known item, besides the usual ones.
CHARTED = (
    *ROWS,
    row(60, "swing", "absent"),
    row(100, "fluid_appearance", "serous"),
    row(110, "fluid_output", "25", "mL", late=45),
    row(115, "fluid_output", "400", "mL", drain="2"),
    row(130, "dressing_colour", "clean"),
    row(140, "surgical_emphysema", "1", drain=""),
)
LOGGED = 90  # minutes: pieces of a log never lie an hour apart


@cache
def _empty() -> Path:
    """An empty record: its tables take longer to make than to copy."""
    folder = Path(tempfile.mkdtemp(prefix="slackwater-laws-", dir=MEMORY)) / "record"
    open_record(folder, create=True).close()
    return folder


@contextmanager
def a_record() -> Iterator[Record]:
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        shutil.copytree(_empty(), Path(folder) / "record")
        with open_record(Path(folder) / "record") as record:
            yield record


@pytest.fixture(scope="module", autouse=True)
def tidy() -> Iterator[None]:
    yield
    shutil.rmtree(_empty().parent)
    _empty.cache_clear()


def pieces(chance: random.Random, rows: list[str]) -> list[list[str]]:
    """The rows over one to four files: shuffled, each at least once, some twice."""
    files: list[list[str]] = [[] for _ in range(chance.randint(1, 4))]
    for one in rows:
        for file in chance.sample(files, chance.randint(1, min(2, len(files)))):
            file.append(one)
    for file in files:
        chance.shuffle(file)
    return [file for file in files if file]


@cache
def as_one() -> tuple[Any, frozenset[str]]:
    """What is concluded where log and chart come in one piece each, and the keys of the entries."""
    with a_record() as record:
        drain = taken(record, bundle(logs=[log(0, LOGGED)], rows=CHARTED, rule=RULE)).drain
        return said(assess_drain(record, drain, now_ms=ms(LAST))), entry_keys(record)


def entry_keys(record: Record) -> frozenset[str]:
    return frozenset(one.key for one in record.things("entry"))


@LAWS.law(SEEDS)
def test_rows_in_any_order_in_any_files_more_than_once_are_the_stay(seed: int) -> None:
    """M5, M6, M7, M9."""
    chance = random.Random(seed)
    logs = [
        GivenLog(f"log-{number}.csv", log_text(rows), LAYOUT)
        for number, rows in enumerate(pieces(chance, log_rows(0, LOGGED)))
    ]
    charts = [(f"chart-{number}.csv", chart_text(rows)) for number, rows in enumerate(pieces(chance, list(CHARTED)))]
    parts = [*({"logs": (one,)} for one in logs), *({"charts": (one,)} for one in charts)]
    chance.shuffle(parts)
    with a_record() as record:
        for part in [*parts, chance.choice(parts)]:
            drain = taken(record, Bundle("episode.toml", episode(), **part, protocol=("r.toml", RULE))).drain  # type: ignore[arg-type]
        assert (said(assess_drain(record, drain, now_ms=ms(LAST))), entry_keys(record)) == as_one()


@LAWS.law(SEEDS)
def test_handing_in_again_is_one_act_that_changes_nothing(seed: int) -> None:
    """M7."""
    chance = random.Random(seed)
    rows = chance.sample(CHARTED, chance.randint(1, len(CHARTED)))
    given = bundle(logs=[log(0, chance.randint(2, LOGGED))], rows=rows, rule=RULE)
    with a_record() as record:
        drain = taken(record, given).drain
        before, head = document(assess_drain(record, drain)), record.head()
        for _ in range(chance.randint(1, 3)):
            assert taken(record, given).rows == 0
        after = record.head()
        assert head is not None and after is not None
        assert document(assess_drain(record, drain)) == before and after.changes == "[]"


@LAWS.law(SEEDS)
def test_as_received_is_as_handed_in_whole(seed: int) -> None:
    """M8: after each piece that arrived, the answer is that of all of them handed in at once."""
    chance = random.Random(seed)
    rows = log_rows(0, LOGGED)
    cuts = sorted(chance.sample(range(1, LOGGED), 2))
    parts = [rows[: cuts[0]], rows[cuts[0] : cuts[1]], rows[cuts[1] :]]
    chance.shuffle(parts)
    with a_record() as live:
        for number in range(len(parts)):
            drain = taken(live, bundle(logs=[GivenLog("log.csv", log_text(parts[number]), LAYOUT)], rule=RULE)).drain
            got = said(assess_drain(live, drain, now_ms=ms(LAST)))
            with a_record() as batch:
                whole = [GivenLog("log.csv", log_text([one for part in parts[: number + 1] for one in part]), LAYOUT)]
                taken(batch, bundle(logs=whole, rule=RULE))
                assert said(assess_drain(batch, drain, now_ms=ms(LAST))) == got


@LAWS.law(SEEDS)
def test_swapping_the_labels_of_two_drains_swaps_their_answers(seed: int) -> None:
    """M21, between two pleural spaces."""
    chance = random.Random(seed)
    leaks = (chance.choice((0, 20, 100)), chance.choice((0, 20, 100)))
    rows = chance.sample(CHARTED, 7)

    def answers(numbers: tuple[str, str]) -> list[Any]:
        with a_record() as record:
            found = []
            drains = []
            for number, side, leak, unit in zip(numbers, ("left", "right"), leaks, ("U-1", "U-2"), strict=True):
                given = bundle(
                    episode(number=number, side=side), logs=[log(0, LOGGED, unit, leak)],
                    rows=[_renumbered(one, numbers) for one in rows], rule=RULE,
                )  # fmt: skip
                drains.append(taken(record, given).drain)
            for number, drain in zip(numbers, drains, strict=True):
                told = said(assess_drain(record, drain, now_ms=ms(LAST)))
                assert told["drain"]["number"] == number
                told["drain"].pop("number")
                found.append(told)
            return found

    assert answers(("1", "2")) == answers(("2", "1"))


def _renumbered(one: str, numbers: tuple[str, str]) -> str:
    cells = one.split(",")
    cells[5] = {"1": numbers[0], "2": numbers[1]}.get(cells[5], cells[5])
    return ",".join(cells)


@LAWS.law(SEEDS)
def test_another_patient_changes_no_byte_of_this_one(seed: int) -> None:
    """M22: neither of the answer nor of the export."""
    chance = random.Random(seed)
    with a_record() as record:
        drain = taken(record, bundle(logs=[log(0, LOGGED)], rows=CHARTED, rule=RULE)).drain

        def seen() -> tuple[str, dict[str, bytes]]:
            answer = json.dumps(document(assess_drain(record, drain)), ensure_ascii=False)
            return answer, files_of(record, course_held(record, drain))

        before = seen()
        for number in range(chance.randint(1, 3)):
            other = episode(f"INV-1{number}", side=chance.choice(("left", "right")), weight_kg=chance.randint(40, 90))
            rows = chance.sample(CHARTED, 4)
            out = removal(170) if chance.random() < 0.5 else '[stay]\nward = "Süd"\nbed = "4"\n'
            rule = chance.choice((None, RULE, RULE.replace(b"50 mL/min", b"20 mL/min")))
            logs = [log(0, LOGGED, f"V-{number}", chance.choice((0, 100)))]
            taken(record, bundle(other, logs=logs, rows=rows, course=out, rule=rule))
            assert seen() == before


@LAWS.law(SEEDS)
def test_what_was_known_then_stays_what_was_known_then(seed: int) -> None:
    """M25: each act at a moment of its own (that a clock may stand still is another test's matter)."""
    chance = random.Random(seed)
    now = [ms(1000)]

    def clock() -> int:
        now[0] += chance.randint(1, 60_000)
        return now[0]

    later: list[tuple[Bundle, str]] = [
        (bundle(logs=[log(LOGGED, LAST)], rows=None), ""),
        (bundle(logs=[], rows=CHARTED[5:]), ""),
        (bundle(logs=[], rows=[row(1, "fluid_output", "900", "mL")]), ""),
        (bundle(episode(connected=30), logs=[]), "a slip"),
        (bundle(logs=[], rows=None, course=removal(LOGGED + 5)), ""),  # no log begins after it
        (bundle(logs=[], rows=None, rule=RULE.replace(b"50 mL/min", b"5 mL/min")), "another rule"),
        (bundle(episode(weight_kg=90, side="right"), logs=[]), "wrong side"),
        (bundle(logs=[replace(log(0, LOGGED, serial="U-9"), name="b.csv")], rows=None), ""),
    ]  # fmt: skip
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        shutil.copytree(_empty(), Path(folder) / "record")
        with open_record(Path(folder) / "record", clock=clock) as record:
            drain = taken(record, bundle(logs=[log(0, LOGGED)], rule=RULE)).drain
            known: list[tuple[int, str]] = []
            for given, why in chance.sample(later, 3):
                moment = now[0]
                known.append((moment, json.dumps(document(assess_drain(record, drain, known_ms=moment)))))
                taken(record, given, correct=why or "told anew")
            for moment, then in known:
                assert json.dumps(document(assess_drain(record, drain, known_ms=moment))) == then


@LAWS.law(st.sampled_from((b"5", b"20", b"80")), st.booleans())
def test_a_new_version_of_a_rule_leaves_those_pinned_to_the_old_one(limit: bytes, same_patient: bool) -> None:
    """M27: the file of the rule is pinned by its hash, whatever its name says."""
    edited = RULE.replace(b"50 mL/min", limit + b" mL/min").replace(b'version = "1"', b'version = "2"')
    with a_record() as record:
        drain = taken(record, bundle(logs=[log(0, LOGGED, leak=30)], rule=RULE)).drain
        before = document(assess_drain(record, drain))
        other = episode("INV-1" if same_patient else "INV-2", "2", side="right")
        second = taken(record, bundle(other, logs=[log(0, LOGGED, "U-2", 30)], rows=None, rule=edited)).drain
        after = document(assess_drain(record, drain))
        assert after["protocol"] == before["protocol"] and after["criteria"] == before["criteria"]
        assert same_patient or after == before
        assert document(assess_drain(record, second))["protocol"] != before["protocol"]


@LAWS.law(
    st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=30),
    st.sampled_from(("ward", "bed", "initials")),
)
def test_ward_bed_and_initials_change_nothing(words: str, where: str) -> None:
    """M34, hazard C07: where a bed stands joins nothing to anything."""
    given = bundle(logs=[log(0, LOGGED)], rows=CHARTED, rule=RULE)
    with a_record() as record:
        drain = taken(record, given).drain
        before = document(assess_drain(record, drain))
        course = f"[stay]\n{where} = {json.dumps(words, ensure_ascii=False)}\n"
        taken(record, replace(given, course=bundle(course=course).course))
        assert document(assess_drain(record, drain)) == before
        assert verify(record).faults == ()


@LAWS.law(SEEDS)
def test_what_was_logged_before_the_connection_or_after_the_removal_changes_nothing(seed: int) -> None:
    """M39."""
    chance = random.Random(seed)
    early, late = chance.randint(0, 200), chance.randint(0, 200)
    leak, stray = chance.choice((0, 30, 100)), chance.choice((0, 30, 300))

    def answer(logged: list[str], rows: list[str]) -> Any:
        with a_record() as record:
            given = bundle(logs=[GivenLog("log.csv", log_text(logged), LAYOUT)], rows=rows, rule=RULE)
            drain = taken(record, replace(given, course=bundle(course=removal(LOGGED)).course)).drain
            found = assess_drain(record, drain, now_ms=ms(LOGGED))
            return said(found)

    inside = log_rows(0, LOGGED, leak=leak)
    around = [*log_rows(-early, 0, leak=stray), *inside, *log_rows(LOGGED, LOGGED + late, leak=stray)]
    charted = [one for one in CHARTED if one < row(LOGGED, "", "")]
    after = row(LOGGED + 5, "fluid_output", "900", "mL")
    before = answer(inside, charted)
    assert answer(around, [*charted, after]) == before


@LAWS.law(SEEDS)
def test_the_acts_alone_make_every_row(seed: int) -> None:
    """M44: each stored row is of exactly one act, and the acts replayed from nothing give all rows."""
    chance = random.Random(seed)
    with a_record() as record:
        taken(record, bundle(logs=[log(0, 10)], rows=chance.sample(CHARTED, 5), course=removal(170)))
        for number in range(25):
            act_at_random(record, seed + number)
        database = record.place.database
        with sqlite3.connect(database) as raw:
            assert rows_held(raw) == rows_replayed(raw)
        assert faults_of_acts_and_rows(record) == []


def rows_held(raw: sqlite3.Connection) -> dict[str, list[str]]:
    raw.row_factory = sqlite3.Row
    return {noun: sorted(_plain(dict(one)) for one in raw.execute(f"SELECT * FROM {noun}_rows")) for noun in NOUNS}


def rows_replayed(raw: sqlite3.Connection) -> dict[str, list[str]]:
    """The rows as the ledger's JSON tells them, made here anew: no line of this is the program's."""
    made: dict[str, list[str]] = {noun: [] for noun in NOUNS}
    raw.row_factory = sqlite3.Row
    previous = FIRST
    for act in raw.execute("SELECT * FROM ledger ORDER BY seq").fetchall():
        assert act["previous"] == previous
        previous = act["hash"]
        for change in json.loads(act["changes"]):
            row_: dict[str, Any] = {field.name: change["new"].get(field.name) for field in NOUNS[change["noun"]].fields}
            row_ |= {"key": change["key"], "version": change["version"], "seq": act["seq"], "at_ms": act["at_ms"]}
            row_ |= {"gone": 1 if change.get("gone") else 0, "happened_ms": change.get("happened_ms")}
            made[change["noun"]].append(_plain(row_))
    return {noun: sorted(rows) for noun, rows in made.items()}


def _plain(fields: dict[str, Any]) -> str:
    plain = {name: int(value) if isinstance(value, bool) else value for name, value in fields.items()}
    return json.dumps({name: plain[name] for name in sorted(plain)})


@LAWS.law(SEEDS)
def test_any_changed_byte_of_the_ledger_is_found_at_its_act_or_later(seed: int) -> None:
    """M44."""
    chance = random.Random(seed)
    with a_record() as record:
        taken(record, bundle(logs=[], rows=chance.sample(CHARTED, 5)))
        for number in range(8):
            act_at_random(record, seed + number)
        record.close()
        with sqlite3.connect(record.place.database) as raw:
            raw.execute("DROP TRIGGER ledger_no_update")
            seqs = [seq for (seq,) in raw.execute("SELECT seq FROM ledger")]
        for _ in range(5):
            seq, column = (
                chance.choice(seqs),
                chance.choice(("at_ms", "by", "what", "why", "changes", "previous", "hash")),
            )
            with sqlite3.connect(record.place.database) as raw:
                (whole,) = raw.execute(f"SELECT {column} FROM ledger WHERE seq = ?", [seq]).fetchone()
                raw.execute(f"UPDATE ledger SET {column} = ? WHERE seq = ?", [_altered(chance, whole), seq])
            faults = faults_of_acts_and_rows(record)
            assert any(f"act {later} " in fault for fault in faults for later in range(seq, seqs[-1] + 1)), faults
            with sqlite3.connect(record.place.database) as raw:
                raw.execute(f"UPDATE ledger SET {column} = ? WHERE seq = ?", [whole, seq])
        assert faults_of_acts_and_rows(record) == []


def faults_of_acts_and_rows(record: Record) -> list[str]:
    """Acts drawn at random name files that were never there, and whoever alters a byte takes the guard away first."""
    with open_record(record.place) as again:
        return [fault for fault in verify(again).faults if not fault.startswith(("file ", "the guard "))]


def _altered(chance: random.Random, whole: str | int) -> str | int:
    if isinstance(whole, int):
        return whole + chance.choice((-1, 1))
    if not whole:
        return "x"
    place = chance.randrange(len(whole))
    return whole[:place] + chr((ord(whole[place]) ^ 1) or 2) + whole[place + 1 :]


def test_the_hash_covers_each_part_of_an_act() -> None:
    """M44."""
    parts = (1, 2, "by", "what", "why", "[]", FIRST)
    others = (2, 3, "bx", "whap", "whx", "[1]", "1" * 64)
    whole = hash_of(*parts)
    for place, other in enumerate(others):
        assert hash_of(*parts[:place], other, *parts[place + 1 :]) != whole  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.parametrize("name", LAWS.names)
def test_the_laws_hold_for_many_more(name: str) -> None:
    LAWS.many(name)
