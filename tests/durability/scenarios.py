"""The record at work, rightly and wrongly."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import alembic.command
import alembic.config  # noqa: F401 - imported before the fork, not in each child
import sqlalchemy.dialects.sqlite  # noqa: F401
from sqlalchemy import event
from sqlalchemy.pool import Pool

from durability.scenario import Ack, Attempt, Scenario
from durability.ward import (
    BY,
    NOON_MS,
    WARD_CHANGES,
    Fill,
    at_work,
    entry,
    faults_of,
    keep,
    looked_at,
    opened,
    prepare,
    scenario,
    ward,
)  # fmt: skip
from slackwater.episode.episode import read_episode
from slackwater.errors import RecordError, SlackwaterError
from slackwater.reading.layout import Layout
from slackwater.simulate import scenario as simulated
from slackwater.simulate import simulate
from slackwater.store import Record, migrate, open_record
from slackwater.store.backup import backup, read_manifest, restore
from slackwater.store.engine import engine_of
from slackwater.store.group import GroupCommit, Message
from slackwater.store.nouns import NOUNS
from slackwater.store.place import place_of
from slackwater.store.record import Acting
from slackwater.store.take_in import Bundle, GivenLog, take_in
from slackwater.store.verify import verify

# ---- making a record ----


def create(folder: Path, ack: Ack, attempt: Attempt) -> None:
    record = attempt(lambda: opened(folder, create=True))
    with record:
        at_work(record, ack, attempt, {"the ward": ward})


# ---- an import: a stay of an hour, its log in two parts ----


def bundles() -> tuple[Bundle, ...]:
    stay = simulate(replace(simulated("demo"), hours=1), 1)
    episode = read_episode(stay.episode_toml.encode(), "episode.toml")
    layout = Layout.from_toml(stay.layout_toml, "layout.toml")
    head, *lines = stay.logs[0].splitlines(keepends=True)
    half = len(lines) // 2
    logs = [b"".join([head, *part]) for part in (lines[:half], lines[half:])]
    charts = (("chart.csv", stay.chart_csv.encode()),)
    return tuple(Bundle("stay", episode, (GivenLog(f"{n}.csv", log, layout),), charts) for n, log in enumerate(logs))


BUNDLES = bundles()  # before the fork, not in each child


def held(record: Record) -> dict[str, Any]:
    """What the record says, whichever acts it took."""
    return {f"{noun} {thing.key}": dict(thing.fields) for noun in NOUNS for thing in record.things(noun)}


def prepare_import(folder: Path) -> None:
    opened(folder, create=True).close()
    with open_record(folder / "undisturbed", create=True) as record:
        for bundle in BUNDLES:
            take_in(record, bundle, by=BY)
        (folder / "expected.json").write_text(json.dumps(held(record)))
    shutil.rmtree(folder / "undisturbed")


def import_files(folder: Path, ack: Ack, attempt: Attempt) -> None:
    record = attempt(lambda: opened(folder))
    with record:
        for n, bundle in enumerate(BUNDLES):
            attempt(lambda bundle=bundle: take_in(record, bundle, by=BY), broken=looked_at(record, reason=False))
            ack(str(n))


def check_imported(folder: Path, acks: list[str]) -> list[str]:
    """Imported again: what was acknowledged adds nothing, and the whole is what it would have been undisturbed."""
    try:
        with opened(folder) as record:
            faults = [f"broken: {fault}" for fault in verify(record).faults]
            for n, bundle in enumerate(BUNDLES):
                again = take_in(record, bundle, by=BY)
                if again.rows and str(n) in acks:
                    faults.append(f"lost: import {n} was acknowledged, and again adds {again.rows} rows")
            now, expected = held(record), json.loads((folder / "expected.json").read_text())
            faults += [f"broken: {fault}" for fault in verify(record).faults]
    except RecordError as error:
        return [f"broken: {error}"]
    return faults + [
        f"{'doubled' if key not in expected else 'half'}: {key} {now.get(key)}"
        for key in sorted(now.keys() | expected.keys())
        if now.get(key) != expected.get(key)
    ]


# ---- rows of the chart, one by one: entered, corrected, taken back ----


CHART: dict[str, Fill] = {
    **{f"row {n}": (lambda act, n=n: entry(act, str(n), n)) for n in range(5)},
    "row 1 corrected": lambda act: act.change("entry", "1", {"value": "60"}, version=1),
    "row 2 taken back": lambda act: act.take_back("entry", "2", version=1),
}


def chart(folder: Path, ack: Ack, attempt: Attempt) -> None:
    record = attempt(lambda: opened(folder))
    with record:
        at_work(record, ack, attempt, CHART)


# ---- a protocol: its file, two approvals, and the goal that names it ----


def approve(folder: Path, ack: Ack, attempt: Attempt) -> None:
    record = attempt(lambda: opened(folder))

    def adopt(act: Acting) -> None:
        act.add("protocol", "r", {"sha256": record.files.put(b"[rule]\n" * 200), "name": "invented", "status": "draft"})

    def approval(person: str) -> Fill:
        return lambda act: act.add("approval", person, {"protocol": "r", "person": person, "role": "nurse"})

    def in_force(act: Acting) -> None:
        act.change("protocol", "r", {"status": "approved"}, version=1)
        act.add("goal", "g", {"drain": "d", "protocol": "r"})

    work = {"adopted": adopt, "first": approval("one"), "second": approval("two"), "in force": in_force}
    with record:
        at_work(record, ack, attempt, work, reason=False)


# ---- what units send by themselves, many messages to an act ----

MESSAGES = 12


def receive(folder: Path, ack: Ack, attempt: Attempt) -> None:
    record = attempt(lambda: opened(folder))
    with record:
        group = GroupCommit(record, "intake")
        for n in range(0, MESSAGES, 3):
            three = [Message("u", k, "flow 30") for k in range(n, n + 3)]
            attempt(lambda three=three: [done.result(30) for done in [group.send(one) for one in three]])
            for one in three:
                ack(one.key)
        group.close()


def check_messages(folder: Path, acks: list[str]) -> list[str]:
    faults = faults_of(folder / "record", ["the ward"], lambda why: WARD_CHANGES if why == "the ward" else 0)
    faults = [fault for fault in faults if not fault.startswith(("doubled: ", "half: "))]  # these acts give no reason
    with open_record(folder / "record") as record:
        kept = Counter(thing["sequence"] for thing in record.things("message"))
        keys = {thing.key for thing in record.things("message")}
    doubled = [f"doubled: message {number}" for number, n in kept.items() if n > 1]
    return faults + doubled + [f"lost: message {key} was acknowledged" for key in acks if key not in keys]


# ---- an older record brought up to date ----

OLD = migrate.REVISIONS[-2]


def prepare_old(folder: Path) -> None:
    place = place_of(folder / "record")
    place.folder.mkdir()
    engine = engine_of(place)
    migrate.upgrade(engine, OLD)
    with Record(place, engine, lambda: NOON_MS) as record:
        keep(record, "the ward", ward)
        keep(record, "row", lambda act: entry(act, "0"))


def bring_up_to_date(folder: Path, ack: Ack, attempt: Attempt) -> None:
    attempt(lambda: opened(folder)).close()
    ack("up to date")


def check_migrated(folder: Path, acks: list[str]) -> list[str]:
    copy = folder / "record" / f"record.before-{migrate.REVISIONS[-1]}.sqlite"
    faults = [] if copy.exists() or not acks else ["lost: the copy from before"]
    if copy.exists():
        beside = folder / "copy"
        beside.mkdir()
        shutil.copyfile(copy, beside / "record.sqlite")
        faults += faults_of(beside, ["the ward", "row"], {"the ward": WARD_CHANGES, "row": 1}.__getitem__)
    return faults + faults_of(folder / "record", ["the ward", "row"], {"the ward": WARD_CHANGES, "row": 1}.__getitem__)


# ---- backups, and what comes back from them ----


def prepare_full(folder: Path) -> None:
    prepare(folder)
    with opened(folder) as record:
        for n in range(4):
            log = record.files.put(b"%d,30,-20\n" % n * 500)
            new = {"drain": "d", "sha256": log, "layout": record.files.put(b"layout"), "name": f"{n}"}
            keep(record, f"log {n}", lambda act, n=n, new=new: act.add("log", str(n), new))


FULL = ["the ward", *(f"log {n}" for n in range(4))]


def full_changes(why: str) -> int:
    return WARD_CHANGES if why == "the ward" else 1


def take_backups(folder: Path, ack: Ack, attempt: Attempt) -> None:
    def fresh_backup(target: Path) -> None:
        shutil.rmtree(target, ignore_errors=True)  # as the message asks
        backup(record, target)

    record = attempt(lambda: opened(folder))
    with record:
        attempt(lambda: fresh_backup(folder / "backup 1"))
        ack("backup 1")
        at_work(record, ack, attempt, {"row": lambda act: entry(act, "0")})
        attempt(lambda: fresh_backup(folder / "backup 2"))
        ack("backup 2")


def check_backups(folder: Path, acks: list[str]) -> list[str]:
    """What was acknowledged comes back whole; what was not is refused or whole; the record lost nothing over it."""
    faults = faults_of(folder / "record", [*FULL, *(ack for ack in acks if ack == "row")], full_changes)
    for name, held in (("backup 1", FULL), ("backup 2", [*FULL, "row"])):
        try:
            restore(folder / name, folder / f"from {name}")
        except RecordError as error:
            faults += [f"lost: {name}: {error}"] if name in acks else []
            continue
        faults += [f"{fault} ({name})" for fault in faults_of(folder / f"from {name}", held, full_changes)]
    return faults


def prepare_restore(folder: Path) -> None:
    prepare_full(folder)
    with opened(folder) as record:
        backup(record, folder / "backup")
    shutil.rmtree(folder / "record")


def bring_back(folder: Path, ack: Ack, attempt: Attempt) -> None:
    def step() -> None:
        shutil.rmtree(folder / "record", ignore_errors=True)  # what a failed one may have left
        restore(folder / "backup", folder / "record")

    attempt(step)
    ack("restored")


def check_restored(folder: Path, acks: list[str]) -> list[str]:
    """Whole, or not there at all and then restored at the second try."""
    read_manifest(folder / "backup")
    if not (folder / "record").exists():
        if acks:
            return ["lost: the restored record"]
        restore(folder / "backup", folder / "record")
    return faults_of(folder / "record", FULL, full_changes)


# ---- wrong on purpose: each must be found out ----


def chart_not_synced(folder: Path, ack: Ack, attempt: Attempt) -> None:
    event.listen(Pool, "checkout", lambda raw, *_: raw.execute("PRAGMA synchronous = OFF"))
    chart(folder, ack, attempt)


def chart_early(folder: Path, ack: Ack, attempt: Attempt) -> None:
    def fill(act: Acting, why: str) -> None:
        CHART[why](act)
        ack(why)  # before the commit

    with opened(folder) as record:
        for why in CHART:
            keep(record, why, lambda act, why=why: fill(act, why))


def chart_swallowed(folder: Path, ack: Ack, attempt: Attempt) -> None:
    with opened(folder) as record:
        for why, fill in CHART.items():
            with suppress(SlackwaterError):
                keep(record, why, fill)
            ack(why)


def copy_files(folder: Path, ack: Ack, attempt: Attempt) -> None:
    """The database's file copied while it is open: what came last is still in the -wal beside it."""
    with opened(folder) as record:
        for why, fill in CHART.items():
            keep(record, why, fill)
        shutil.copytree(folder / "record", folder / "copy", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
        for why in CHART:
            ack(why)


def check_copy(folder: Path, acks: list[str]) -> list[str]:
    return faults_of(folder / "copy", ["the ward", *acks], full_changes) if acks else []


SCENARIOS = [
    scenario("creation", create, lambda why: 0, lambda folder: None, before=()),
    Scenario("import", prepare_import, import_files, check_imported, (SlackwaterError,)),
    scenario("chart entry", chart, lambda why: 1),
    scenario("protocol approval", approve, lambda why: 2 if why == "in force" else 1),
    Scenario("messages", prepare, receive, check_messages, (SlackwaterError,)),
    Scenario("migration", prepare_old, bring_up_to_date, check_migrated, (SlackwaterError,)),
    Scenario("backup", prepare_full, take_backups, check_backups, (SlackwaterError,)),
    Scenario("restore", prepare_restore, bring_back, check_restored, (SlackwaterError,)),
]

NOT_SYNCED, EARLY = "chart entry, not synced", "chart entry, acknowledged before the commit"
SWALLOWED, FILE_COPY = "chart entry, an error swallowed", "backup by copying the file"
WRONG = [
    scenario(NOT_SYNCED, chart_not_synced, lambda why: 1),
    scenario(EARLY, chart_early, lambda why: 1),
    scenario(SWALLOWED, chart_swallowed, lambda why: 1),
    Scenario(FILE_COPY, prepare, copy_files, check_copy, (SlackwaterError,)),
]
