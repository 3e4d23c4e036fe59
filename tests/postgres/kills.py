"""A writer that goes on while its server is killed under it, and what is left of what it was promised."""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from typing import Protocol

from postgres.server import Server

ROWS_AN_ACT = 5
ANSWER_WITHIN_S = 120.0


class Gone(Exception):
    """The server is not there; whether the act was kept is not known."""


class Keeper(Protocol):
    """A record, as the writer uses it."""

    def keep(self, number: int) -> None:
        """One act of ROWS_AN_ACT rows; return when it is promised, or raise Gone. Asked again, it adds nothing."""

    def kept(self) -> list[int]:
        """The act's number, once for every row there is."""


OpenKeeper = Callable[[str], AbstractContextManager[Keeper]]


@dataclass(frozen=True)
class Verdict:
    kills: int
    promised: int
    lost: int
    """Acts that were promised and are not there."""
    doubled: int
    half: int

    @property
    def is_clean(self) -> bool:
        return self.lost == self.doubled == self.half == 0

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.promised} acts promised: "
            f"{self.lost} lost, {self.doubled} doubled, {self.half} half there"
        )


def kill_often(
    server: Server, url: str, open_keeper: OpenKeeper, kills: int, told: Callable[[str], object] = str, seed: int = 1
) -> Verdict:
    """Kill and start the server, each time at a moment drawn anew, under one writer that goes on and on."""
    chance = random.Random(seed)
    spawn = get_context("spawn")
    hears, tells = spawn.Pipe(duplex=False)
    stop = spawn.Event()
    writer = spawn.Process(target=_keep_on, args=(open_keeper, url, tells, stop), daemon=True)
    writer.start()
    tells.close()  # ours; when the writer ends too, hearing ends
    promised: set[int] = set()
    for kill in range(kills):
        promised.add(_next(hears))  # at least one act between two kills
        time.sleep(chance.uniform(0.0, 0.4))
        server.restart()
        while hears.poll():
            promised.add(hears.recv())
        told(f"{kill + 1} of {kills} kills, {len(promised)} acts promised")
    promised.add(_next(hears))
    stop.set()
    promised.update(_rest(hears))
    writer.join(ANSWER_WITHIN_S)
    with open_keeper(url) as keeper:
        rows = Counter(keeper.kept())
    return Verdict(
        kills,
        len(promised),
        lost=len(promised - set(rows)),
        doubled=sum(count > ROWS_AN_ACT for count in rows.values()),
        half=sum(count < ROWS_AN_ACT for count in rows.values()),
    )


def _next(hears: Connection) -> int:
    if not hears.poll(ANSWER_WITHIN_S):
        raise TimeoutError(f"no act was promised within {ANSWER_WITHIN_S:.0f} s after a start of the server")
    return int(hears.recv())


def _rest(hears: Connection) -> list[int]:
    rest = []
    while True:
        try:
            rest.append(_next(hears))
        except EOFError:
            return rest


def _keep_on(open_keeper: OpenKeeper, url: str, tells: Connection, stop: Event) -> None:
    """Acts 0, 1, 2 ...: the next only when this one is promised; when the server goes, this one again."""
    number = 0
    while not stop.is_set():
        try:
            with open_keeper(url) as keeper:
                while not stop.is_set():
                    keeper.keep(number)
                    tells.send(number)
                    number += 1
        except Gone:
            time.sleep(0.02)
