"""Eight writers at one record: nothing lost, nothing stale, nobody told 'locked'.

Limits: one machine, one SQLite build, one PostgreSQL; no fault in so many operations is a bound, not a proof.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from concurrency.careless_subjects import careless_postgres, careless_sqlite
from concurrency.history import faults
from concurrency.load import Outcome, run
from concurrency.record_subject import the_record
from slackwater.store import open_record
from slackwater.store.verify import verify

pytestmark = pytest.mark.durability

WRITERS, EACH = 8, 60


def test_eight_writers_on_sqlite_lose_nothing(tmp_path: Path):
    place = tmp_path / "record"
    outcome = run(the_record, f"{place}", tmp_path / "notes", WRITERS, EACH)
    _all_is_kept(outcome, f"{place}")


@pytest.mark.postgres
def test_eight_writers_on_postgres_lose_nothing(tmp_path: Path, database_url: str):
    outcome = run(the_record, database_url, tmp_path / "notes", WRITERS, EACH)
    _all_is_kept(outcome, database_url)


def _all_is_kept(outcome: Outcome, place: str) -> None:
    assert not faults(outcome.history, outcome.found)
    counts = outcome.counts
    # else the load asked too little: two writers must have met at one hold
    assert min(counts["append ok"], counts["edit ok"], counts["read ok"], counts["edit refused"]) > 0, counts
    with open_record(place) as record:
        verified = verify(record)
    assert verified.faults == ()
    assert verified.acts == counts["append ok"] + counts["edit ok"] + 1  # and the one that made the holds


def test_careless_writers_on_sqlite_are_caught(tmp_path: Path):
    outcome = run(careless_sqlite, f"{tmp_path / 'careless.sqlite'}", tmp_path / "notes", WRITERS, EACH)
    assert {"lost update", "locked, unhandled"} <= set(faults(outcome.history, outcome.found))


@pytest.mark.postgres
def test_careless_writers_on_postgres_are_caught(tmp_path: Path, database_url: str):
    outcome = run(careless_postgres, database_url, tmp_path / "notes", WRITERS, EACH)
    assert "lost update" in faults(outcome.history, outcome.found)
