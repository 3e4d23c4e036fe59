"""A record of one drain, what is done to it, and how to tell that all of it survived.

Every act bears its own reason (`why`), which is what is acknowledged; so a lost, doubled or halved act has a name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from durability.scenario import Ack, Attempt, Scenario
from slackwater.errors import RecordError, SlackwaterError
from slackwater.store import Record, open_record, rows
from slackwater.store.acts import Act
from slackwater.store.record import Acting
from slackwater.store.verify import verify

NOON_MS = 1_767_268_800_000  # 2026-01-01 12:00 UTC
BY = "Nurse One"

Fill = Callable[[Acting], None]


def opened(folder: Path, create: bool = False) -> Record:
    return open_record(folder / "record", create=create, clock=lambda: NOON_MS)


def acts_of(record: Record) -> list[Act]:
    with record.reading() as connection:
        return list(rows.acts(connection))


def keep(record: Record, why: str, fill: Fill) -> None:
    """Once: an act that was in doubt and had come through is not done again."""
    if why not in {act.why for act in acts_of(record)}:
        with record.act(by=BY, what="entered", why=why) as act:
            fill(act)


def looked_at(record: Record, reason: bool = True) -> Callable[[], list[str]]:
    """While the disk fails: what is recorded can be read, and the record says why it takes nothing."""

    def look() -> list[str]:
        faults = []
        if reason and record.read_only_because is None:
            faults.append("silent: no reason is given why the record takes nothing")
        try:
            record.head()
        except SlackwaterError as error:
            faults.append(f"unreadable: {error}")
        return faults

    return look


def at_work(record: Record, ack: Ack, attempt: Attempt, work: dict[str, Fill], reason: bool = True) -> None:
    for why, fill in work.items():
        attempt(lambda why=why, fill=fill: keep(record, why, fill), broken=looked_at(record, reason))
        ack(why)


def faults_of(place: Path, acks: Sequence[str], changes: Callable[[str], int]) -> list[str]:
    """Open the record anew: every act acknowledged, once, with all its changes; and it goes on taking acts."""
    try:
        with open_record(place) as record:
            found = verify(record)
            acts = acts_of(record)
            with record.act(by=BY, what="entered", why="afterwards") as act:
                act.add("unit", "afterwards", {"serial": "after"})
    except RecordError as error:
        if not acks and "there is no record here" in str(error):
            return []
        return [f"broken: {error}"]
    times = Counter(act.why for act in acts)
    return [
        *(f"broken: {fault}" for fault in found.faults),
        *(f"lost: {why} was acknowledged" for why in acks if not times[why]),
        *(f"doubled: {why}" for why, n in times.items() if n > 1),
        *(
            f"half: {act.why} made {made} of {changes(act.why)} rows"
            for act in acts
            if (made := sum(1 for _ in act.rows())) != changes(act.why)
        ),
    ]


# ---- a drain on the ward, before anything happens ----


def ward(act: Acting) -> None:
    for key in ("one", "two"):
        act.add("person", key, {"name": f"Person {key}", "role": "nurse"})
    act.add("patient", "p", {"label": "P-1"})
    act.add("episode", "e", {"patient": "p"})
    act.add("space", "s", {"episode": "e", "kind": "pleural", "side": "left"})
    act.add("drain", "d", {"episode": "e", "space": "s", "number": "1"})
    act.add("unit", "u", {"serial": "U-1"})
    act.add("pairing", "w", {"patient": "p", "drain": "d", "unit": "u", "from_ms": NOON_MS})


WARD_CHANGES = 8


def prepare(folder: Path) -> None:
    with opened(folder, create=True) as record:
        keep(record, "the ward", ward)


def entry(act: Acting, key: str, line: int = 1) -> None:
    act.add("entry", key, {"episode": "e", "item": "fluid", "value": "40", "unit": "mL", "time_ms": NOON_MS + line})


def scenario(
    name: str,
    act: Callable[[Path, Ack, Attempt], None],
    changes: Callable[[str], int],
    prepare: Callable[[Path], None] = prepare,
    before: Sequence[str] = ("the ward",),
) -> Scenario:
    def check(folder: Path, acks: list[str]) -> list[str]:
        known = {"the ward": WARD_CHANGES}
        return faults_of(folder / "record", [*before, *acks], lambda why: known.get(why) or changes(why))

    return Scenario(name, prepare, act, check, (SlackwaterError,))
