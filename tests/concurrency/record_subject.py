"""The record under load: each list is a drain's chart, each token an entry in it, and each hold a hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from concurrency.history import Found, Held
from concurrency.load import MADE, Refused
from slackwater.errors import StaleError
from slackwater.store import Record, open_record
from slackwater.store.rows import versions

MOMENT_MS = 2_246_000_000_000  # an invented day in 2041


class RecordSubject:
    def __init__(self, record: Record) -> None:
        self._record = record

    def make(self, holds: Sequence[str]) -> None:
        with self._record.act(by="load", what="made") as act:
            made = {"drain": "shared", "reason": "other", "from_ms": MOMENT_MS, "note": f"{MADE} after "}
            act.add_all("hold", [(hold, made) for hold in holds])

    def append(self, list_: str, token: str) -> None:
        with self._record.act(by="load", what="charted") as act:
            act.add("entry", token, _entry(list_))

    def look(self, hold: str) -> tuple[int, str]:
        seen = self._record.thing("hold", hold)
        assert seen is not None
        return seen.version, seen["note"].partition(" after ")[0]

    def edit(self, hold: str, version: int, held: str, list_: str, token: str) -> None:
        try:
            with self._record.act(by="load", what="mended") as act:
                act.add("entry", token, _entry(list_))
                act.change("hold", hold, {"note": f"{token} after {held}"}, version=version)
        except StaleError as error:
            raise Refused from error

    def read(self, list_: str) -> tuple[str, ...]:
        return tuple(entry.key for entry in self._record.things("entry", {"drain": list_}))

    def everything(self) -> Found:
        lists, holds = defaultdict(list), defaultdict(list)
        with self._record.reading() as connection:
            for entry in versions(connection, "entry"):
                lists[entry["drain"]].append(entry.key)
            for hold in versions(connection, "hold"):
                token, _, after = hold["note"].partition(" after ")
                holds[hold.key].append(Held(hold.version, token, after))
        return Found(lists, holds)


def _entry(list_: str) -> dict[str, str | int]:
    return {"episode": "load", "drain": list_, "item": "swing", "value": "present", "time_ms": MOMENT_MS}


@contextmanager
def the_record(place: str) -> Iterator[RecordSubject]:
    with open_record(place, create=True) as record:
        yield RecordSubject(record)
