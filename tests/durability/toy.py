"""A plain table written in batches, and files: the harness is proved on them, done rightly and wrongly.

Rows are (batch, part); a batch is three rows in one transaction, acknowledged after the commit.
"""

from __future__ import annotations

import os
import sqlite3
from collections import Counter
from pathlib import Path

from durability.scenario import Ack, Attempt, Scenario

BATCHES, PARTS = 6, 3


def table(folder: Path, synchronous: str = "FULL") -> sqlite3.Connection:
    db = sqlite3.connect(folder / "toy.sqlite", isolation_level=None)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute(f"PRAGMA synchronous={synchronous}")
    db.execute("PRAGMA wal_autocheckpoint=12")  # so few pages that a short run meets one
    return db


def prepare(folder: Path) -> None:
    db = table(folder)
    db.execute("CREATE TABLE batches (batch INTEGER, part INTEGER, filler TEXT)")
    db.close()


def write(db: sqlite3.Connection, batch: int) -> None:
    if db.execute("SELECT count(*) FROM batches WHERE batch = ?", (batch,)).fetchone()[0]:
        return  # it was in doubt, and had come through
    try:
        db.execute("BEGIN IMMEDIATE")
        for part in range(PARTS):
            db.execute("INSERT INTO batches VALUES (?, ?, ?)", (batch, part, "x" * 1500))
        db.execute("COMMIT")
    except sqlite3.Error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def check(folder: Path, acks: list[str]) -> list[str]:
    try:
        with sqlite3.connect(folder / "toy.sqlite") as db:
            sound = db.execute("PRAGMA integrity_check").fetchone()[0]
            rows = db.execute("SELECT batch, part FROM batches").fetchall()
    except sqlite3.Error as error:
        return [f"broken: {error}"]
    batches = Counter(batch for batch, _ in rows)
    return [
        *([] if sound == "ok" else [f"broken: {sound}"]),
        *(f"lost: batch {ack} was acknowledged" for ack in acks if int(ack) not in batches),
        *(f"doubled: {row}" for row, n in Counter(rows).items() if n > 1),
        *(f"half: batch {batch} has {n} rows" for batch, n in batches.items() if n < PARTS),
    ]


def rows_toy(name: str, synchronous: str = "FULL") -> Scenario:
    def act(folder: Path, ack: Ack, attempt: Attempt) -> None:
        db = attempt(lambda: table(folder, synchronous))
        for batch in range(BATCHES):
            attempt(lambda batch=batch: write(db, batch))
            ack(str(batch))
        db.close()

    return Scenario(name, prepare, act, check, (sqlite3.Error, OSError))


# ---- a file that replaces another, the way originals are kept ----


def synced(path: Path) -> None:
    fd = os.open(path, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def file_toy(name: str, *, sync: bool = True, sync_folder: bool = True) -> Scenario:
    def keep(folder: Path, text: str) -> None:
        with open(folder / "temporary", "wb") as file:
            file.write(text.encode() * 1000)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        os.rename(folder / "temporary", folder / text)
        if sync_folder:
            synced(folder)

    def act(folder: Path, ack: Ack, attempt: Attempt) -> None:
        for n in range(3):
            attempt(lambda n=n: keep(folder, f"file-{n}"))
            ack(f"file-{n}")

    def check_files(folder: Path, acks: list[str]) -> list[str]:
        there = {path.name: path.read_text() for path in folder.iterdir() if path.name != "temporary"}
        lost = [f"lost: {ack}" for ack in acks if ack not in there]
        return lost + [f"half: {path}" for path, text in there.items() if text != path * 1000]

    return Scenario(name, lambda folder: None, act, check_files, (OSError,))


ROWS, FILES = "rows", "files"
NORMAL, OFF = "rows, synchronous=NORMAL", "rows, synchronous=OFF"
NOT_SYNCED, FOLDER_NOT_SYNCED = "files, not synced", "files, their folder not synced"

SCENARIOS = [rows_toy(ROWS), file_toy(FILES)]
WRONG = [
    rows_toy(NORMAL, "NORMAL"),
    rows_toy(OFF, "OFF"),
    file_toy(NOT_SYNCED, sync=False),
    file_toy(FOLDER_NOT_SYNCED, sync_folder=False),
]
