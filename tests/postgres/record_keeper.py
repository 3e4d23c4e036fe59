"""The record as the writer of tests/postgres/kills.py: charting into one stay, and importing stay after stay."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from end_to_end.a_ward_folder import CHART, EPISODE, LAYOUT, log
from postgres.kills import ROWS_AN_ACT, Gone
from slackwater.episode.episode import read_episode
from slackwater.errors import NotWritten
from slackwater.reading.layout import Layout
from slackwater.store import Record, open_record
from slackwater.store.take_in import Bundle, GivenLog, take_in

MOMENT_MS = 2_246_000_000_000  # an invented day in 2041
FOUR_ENTRIES = "\n".join(CHART.splitlines()[:5]).encode()  # with the log the five rows of an act


class Charting:
    def __init__(self, record: Record) -> None:
        self._record = record

    def keep(self, number: int) -> None:
        with self._record.act(by="writer", what="charted") as act:
            if act.thing("entry", f"{number}-0") is None:
                act.add_all("entry", [(f"{number}-{place}", _entry(number)) for place in range(ROWS_AN_ACT)])

    def kept(self) -> list[int]:
        return [int(entry["line"]) for entry in self._record.things("entry")]


class Importing:
    def __init__(self, record: Record) -> None:
        self._record = record

    def keep(self, number: int) -> None:
        take_in(self._record, _bundle(number), by="writer")

    def kept(self) -> list[int]:
        number = {one.key: int(one["label"]) for one in self._record.things("patient")}
        by_stay = {one.key: number[one["patient"]] for one in self._record.things("episode")}
        by_drain = {one.key: by_stay[one["episode"]] for one in self._record.things("drain")}
        entries = [by_stay[one["episode"]] for one in self._record.things("entry")]
        return entries + [by_drain[one["drain"]] for one in self._record.things("log")]


def _entry(number: int) -> dict[str, str | int]:
    return {"episode": "stay", "item": "swing", "value": "present", "time_ms": MOMENT_MS, "line": number}


def _bundle(number: int) -> Bundle:
    """A small drain of its own patient and unit."""
    episode = read_episode(EPISODE.replace('"INV-1"', f'"{number}"').encode(), "episode.toml")
    layout = Layout.from_toml(LAYOUT, "layout.toml")
    logs = (GivenLog("log.csv", log(rows=30, box=f"B-{number}").encode(), layout),)
    return Bundle(f"{number}", episode, logs, (("chart.csv", FOUR_ENTRIES),))


@contextmanager
def record_keeper(how: type[Charting] | type[Importing], url: str) -> Iterator[Charting | Importing]:
    try:
        with open_record(url, create=True) as record:
            yield how(record)
    except NotWritten as error:
        raise Gone from error
