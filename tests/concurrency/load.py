"""Many writers at one record, each in its own process, each writing down what it asked for and was answered."""

from __future__ import annotations

import json
import random
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from multiprocessing.synchronize import Barrier
from pathlib import Path
from typing import Protocol

from concurrency.history import Found, Operation

MADE = "made"  # the token of each hold's first version
WHILE = 25  # operations of each writer on the same few lists and holds, so that lists and chains stay short
HOLDS_A_WHILE = 4  # shared by all writers


class Refused(Exception):
    """Another version was there."""


class Subject(Protocol):
    """A record, as one writer uses it."""

    def make(self, holds: Sequence[str]) -> None:
        """Write version 1 of every hold."""

    def append(self, list_: str, token: str) -> None: ...
    def look(self, hold: str) -> tuple[int, str]: ...
    def edit(self, hold: str, version: int, held: str, list_: str, token: str) -> None:
        """Write the next version of the hold and append to the list, in one act; or raise Refused."""

    def read(self, list_: str) -> tuple[str, ...]: ...
    def everything(self) -> Found: ...


Open = Callable[[str], AbstractContextManager[Subject]]


@dataclass(frozen=True)
class Outcome:
    """A load when it is done."""

    history: list[Operation]
    found: Found
    lasted_s: float

    @property
    def counts(self) -> Counter[str]:
        return Counter(f"{one.kind} {one.outcome}" for one in self.history)

    def write_ms(self, share: float) -> float:
        """Latency of that share of the writes that were answered."""
        writes = [one for one in self.history if one.kind != "read" and one.outcome == "ok"]
        lasted = sorted(one.end_ns - one.start_ns for one in writes)
        return lasted[int(share * (len(lasted) - 1))] / 1e6

    def __str__(self) -> str:
        a_second = len(self.history) / self.lasted_s
        return (
            f"{len(self.history)} operations in {self.lasted_s:.1f} s ({a_second:.0f}/s), "
            f"write p50 {self.write_ms(0.5):.1f} ms, p99 {self.write_ms(0.99):.1f} ms, {dict(self.counts)}"
        )


def run(open_subject: Open, place: str, folder: Path, writers: int, each: int) -> Outcome:
    """`each` operations by each of `writers` processes on the record at `place`; `folder` for what they write down."""
    folder.mkdir(exist_ok=True)
    with open_subject(place) as subject:
        subject.make([hold for number in range(0, each, WHILE) for hold in _holds(number)])
    spawn = get_context("spawn")
    gate = spawn.Barrier(writers + 1)
    notes = [folder / f"{writer}.jsonl" for writer in range(writers)]
    processes = [
        spawn.Process(target=_write, args=(open_subject, place, note, writer, writers, each, gate))
        for writer, note in enumerate(notes)
    ]
    for process in processes:
        process.start()
    gate.wait(120)
    begun = time.monotonic()
    for process in processes:
        process.join()
    lasted_s = time.monotonic() - begun
    if codes := {process.exitcode for process in processes} - {0}:
        raise RuntimeError(f"a writer ended with {codes}")
    history = [_operation(line) for note in notes for line in note.read_text(encoding="utf-8").splitlines()]
    with open_subject(place) as subject:
        return Outcome(history, subject.everything(), lasted_s)


def _holds(number: int) -> list[str]:
    """Those of a writer's operation of that number."""
    return [f"hold-{number // WHILE}-{place}" for place in range(HOLDS_A_WHILE)]


def _operation(line: str) -> Operation:
    values = json.loads(line)
    return Operation(**values | {"seen": tuple(values["seen"])})


def _write(open_subject: Open, place: str, note: Path, writer: int, writers: int, each: int, gate: Barrier) -> None:
    chance = random.Random(writer)
    with open_subject(place) as subject, note.open("w", encoding="utf-8") as out:
        gate.wait(120)
        for number in range(each):
            kind = chance.choices(["append", "edit", "read"], [4, 3, 3])[0]
            # two writers share a list; a reader looks at any list of about now
            of_writer = chance.randrange(writers) if kind == "read" else writer
            asked = Operation(
                writer=writer,
                kind=kind,
                start_ns=0,
                end_ns=0,
                outcome="ok",
                list=f"list-{of_writer // 2}-{number // WHILE}",
                hold="" if kind == "append" else chance.choice(_holds(number)),
                token="" if kind == "read" else f"{writer}-{number}",
            )
            out.write(json.dumps(asdict(_ask(subject, asked))) + "\n")


def _ask(subject: Subject, asked: Operation) -> Operation:
    """The operation with its times and its answer. One clock for all processes: CLOCK_MONOTONIC is the machine's."""
    asked = replace(asked, start_ns=time.monotonic_ns())
    try:
        if asked.hold:
            version, held = subject.look(asked.hold)
            asked = replace(asked, version=version, held=held)
        if asked.kind == "append":
            subject.append(asked.list, asked.token)
        elif asked.kind == "edit":
            subject.edit(asked.hold, asked.version, asked.held, asked.list, asked.token)
        else:
            asked = replace(asked, seen=subject.read(asked.list))
    except Refused:
        return replace(asked, end_ns=time.monotonic_ns(), outcome="refused")
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what the test is after
        return replace(asked, end_ns=time.monotonic_ns(), outcome="error", error=f"{type(error).__name__}: {error}")
    return replace(asked, end_ns=time.monotonic_ns())
