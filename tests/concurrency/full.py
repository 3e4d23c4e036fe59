"""The long run: `python tests/concurrency/full.py [writers] [operations]`; it ends with the figures.

No fault in n operations bounds the rate at 3/n (95 %), on this machine, with these versions.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, f"{Path(__file__).parents[1]}")

from concurrency.careless_subjects import careless_postgres, careless_sqlite
from concurrency.history import faults
from concurrency.load import Open, run
from concurrency.record_subject import the_record
from postgres.server import find_server, fresh_database
from slackwater.store import open_record
from slackwater.store.place import FILES
from slackwater.store.verify import verify


def main(writers: int = 16, operations: int = 100_000) -> bool:
    each = operations // writers
    server = find_server()
    try:
        with tempfile.TemporaryDirectory() as folder, fresh_database(server) as url, fresh_database(server) as other:
            os.environ[FILES] = f"{folder}/files"
            clean = [
                one("SQLite", the_record, f"{folder}/record", Path(folder) / "a", writers, each),
                one("PostgreSQL", the_record, url, Path(folder) / "b", writers, each),
            ]
            caught = [
                one("careless SQLite", careless_sqlite, f"{folder}/careless.sqlite", Path(folder) / "c", writers, 60),
                one("careless PostgreSQL", careless_postgres, other, Path(folder) / "d", writers, 60),
            ]
    finally:
        server.stop()
    return all(clean) and not any(caught)


def one(name: str, subject: Open, place: str, notes: Path, writers: int, each: int) -> bool:
    outcome = run(subject, place, notes, writers, each)
    found = faults(outcome.history, outcome.found)
    print(f"{name}, {writers} writers: {outcome}: {dict(found) or 'no fault'}", flush=True)
    if subject is not the_record:
        return not found
    begun = time.monotonic()
    with open_record(place) as record:
        verified = verify(record)
    print(
        f"{name}: verify of {verified.acts} acts took {time.monotonic() - begun:.1f} s: {verified.faults or 'no fault'}"
    )
    return not found and not verified.faults


if __name__ == "__main__":
    sys.exit(0 if main(*map(int, sys.argv[1:])) else 1)
