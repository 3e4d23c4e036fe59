"""The long run of the tests here: `python tests/postgres/full.py [stays] [kills]`; it ends with the figures.

No fault in n tries bounds the rate at 3/n (95 %), on this machine and this version of PostgreSQL.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from itertools import count
from pathlib import Path

sys.path.insert(0, f"{Path(__file__).parents[1]}")

from postgres.answers import differences, of_a_drain, of_the_list, of_the_tables
from postgres.any_acts import MOMENT_MS, act_at_random
from postgres.careless import careless
from postgres.kills import kill_often
from postgres.record_keeper import Charting, Importing, record_keeper
from postgres.server import Server, find_server, fresh_database
from postgres.stays import hand_in
from slackwater.store import open_record
from slackwater.store.place import FILES
from slackwater.store.verify import verify


def main(stays: int = 1000, kills: int = 300) -> bool:
    server = find_server()
    try:
        found = [
            same_answers(server, stays),
            killed(server, Charting, kills // 2),
            killed(server, Importing, kills // 2),
            caught(server),
        ]
    finally:
        server.stop()
    return all(found)


def same_answers(server: Server, stays: int) -> bool:
    """As many random acts as stays, each on a record of its own kind."""
    begun, faults = time.monotonic(), 0
    for what in (hand_in, act_at_random):
        with fresh_database(server) as url, tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
            os.environ[FILES] = f"{folder}/files"
            places = (f"{folder}/record", url)
            both = [stack.enter_context(open_record(at, create=True, clock=count(MOMENT_MS).__next__)) for at in places]
            for number in range(stays):
                here, there = (what(record, number) for record in both)
                faults += here != there
                if what is hand_in:
                    faults += _told(differences(*(of_a_drain(record, here) for record in both)))
                if (number + 1) % 50 == 0:
                    print(
                        f"{number + 1} of {stays}, {time.monotonic() - begun:.0f} s, {faults} differences", flush=True
                    )
            faults += _told(differences(*map(of_the_tables, both)))
            if what is hand_in:
                faults += _told(differences(*map(of_the_list, both)))
                faults += len(verify(both[0]).faults) + len(verify(both[1]).faults)
    print(f"SAME ANSWERS: {stays} stays and {stays} acts: {faults} differences, {time.monotonic() - begun:.0f} s")
    return faults == 0


def _told(found: Iterator[str]) -> int:
    lines = list(found)
    for line in lines[:5]:
        print(line)
    return len(lines)


def killed(server: Server, how: type[Charting] | type[Importing], kills: int) -> bool:
    begun = time.monotonic()
    with fresh_database(server) as url, tempfile.TemporaryDirectory() as folder:
        os.environ[FILES] = folder
        verdict = kill_often(server, url, partial(record_keeper, how), kills, told=partial(print, end="\r", flush=True))
        with open_record(url) as record:
            verified = verify(record)
    print(
        f"\nKILLS, {how.__name__}: {verdict}; verify: {verified.faults or 'no fault'}; {time.monotonic() - begun:.0f} s"
    )
    return verdict.is_clean and not verified.faults


def caught(server: Server) -> bool:
    """The controls: each careless writer must be caught, or the run above shows nothing."""
    verdicts = []
    for fault in ("promises too soon", "commits row by row", "does not know its acts again"):
        with fresh_database(server) as url:
            verdicts.append(kill_often(server, url, partial(careless, fault), 20))
        print(f"CONTROL, {fault}: {verdicts[-1]}")
    return not any(verdict.is_clean for verdict in verdicts)


if __name__ == "__main__":
    sys.exit(0 if main(*map(int, sys.argv[1:])) else 1)
