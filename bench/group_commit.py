"""Messages that many units send at once: how many outlast a loss of power a second, and how long each one waits.

A message counts once its Future is done, that is after the commit's sync to the disk. Flood: four threads hand over
as fast as they may. Steady: one thread hands over a given number a second, and the wait of each message is taken from
the moment it was due, so a hold-up of the sender counts too. Afterwards every message is counted in the record.
The yardstick is one write and sync of 4 kB on the same disk.

    python bench/group_commit.py [--rate 3000] [--seconds 10] [--record PLACE ...]

--record: empty places beside the folder of its own, e.g. postgresql://user@host/empty. Nothing is ever deleted from a
record, so a place that holds one is refused.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future, wait
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from slackwater.store.group import GroupCommit, Message
    from slackwater.store.record import Record

FLOOD, THREADS, UNITS = 40_000, 4, 20
BODY = (
    '{"time":"2041-03-04T15:19:01Z","flow":"120 mL/min","pressure":"-19.6 cmH2O","set":"-20 cmH2O","state":"running"}'
)


def message(number: int) -> Message:
    from slackwater.store.group import Message

    return Message(f"BENCH-{number % UNITS:02d}", number // UNITS, BODY)


def flood(intake: GroupCommit) -> float:
    """Seconds until all of FLOOD messages are durable."""
    futures: list[list[Future[None]]] = [[] for _ in range(THREADS)]

    def send(thread: int) -> None:
        futures[thread] = [intake.send(message(number)) for number in range(thread, FLOOD, THREADS)]

    threads = [threading.Thread(target=send, args=(thread,)) for thread in range(THREADS)]
    before = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for done in (future for some in futures for future in some):
        done.result()
    return time.perf_counter() - before


def steady(intake: GroupCommit, rate: int, seconds: float) -> list[float]:
    """The wait of each message in ms, in order, when `rate` a second are handed over evenly."""
    count = int(rate * seconds)
    done_at = [0.0] * count
    futures: list[Future[None]] = []
    began = time.perf_counter() + 0.1
    for number in range(count):
        early = began + number / rate - time.perf_counter()
        if early > 0:
            time.sleep(early)
        future = intake.send(message(FLOOD + number))
        future.add_done_callback(lambda _, number=number: done_at.__setitem__(number, time.perf_counter()))
        futures.append(future)
    wait(futures)
    for future in futures:
        future.result()
    return [(done_at[number] - began - number / rate) * 1000 for number in range(count)]


def sync_ms(folder: Path, times: int = 50) -> float:
    """The middle of so many writes and syncs of 4 kB."""
    took = []
    with open(folder / "yardstick", "wb") as file:
        for _ in range(times):
            before = time.perf_counter()
            file.write(bytes(4096))
            file.flush()
            os.fsync(file.fileno())
            took.append((time.perf_counter() - before) * 1000)
    return statistics.median(took)


def measure(record: Record, rate: int, seconds: float) -> bool:
    from slackwater.store.group import GroupCommit

    intake = GroupCommit(record, "bench")
    took = flood(intake)
    acts = record.head().seq  # type: ignore[union-attr]  # something was just written
    waits = sorted(steady(intake, rate, seconds))
    intake.close()
    kept = len(record.things("message"))
    middle, late = waits[len(waits) // 2], waits[len(waits) * 99 // 100]
    print(f"{record.place.says}")
    print(f"  flood of {FLOOD}: {FLOOD / took:,.0f} durable messages a second, {FLOOD / acts:.0f} in an act")
    print(f"  {rate:,} a second for {seconds:g} s: acknowledged after p50 {middle:.1f} ms, p99 {late:.1f} ms, "
          f"longest {waits[-1]:.1f} ms")  # fmt: skip
    whole = kept == FLOOD + len(waits)
    print(f"  {kept} of {FLOOD + len(waits)} in the record")
    return whole


def places(told: argparse.Namespace, scratch: Path) -> Iterator[Record]:
    from slackwater.store import open_record

    os.environ.setdefault("SLACKWATER_FILES", str(scratch / "files"))
    for name in (str(scratch / "record"), *told.record):
        with open_record(name, create=True) as record:
            yield record


def main() -> int:
    asked = argparse.ArgumentParser(description="Durable messages a second, and how long each one waits.")
    asked.add_argument("--rate", type=int, default=3000)
    asked.add_argument("--seconds", type=float, default=10.0)
    asked.add_argument("--record", nargs="*", default=[])
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        print(f"write and sync of 4 kB: {sync_ms(Path(scratch)):.2f} ms")
        for record in places(told, Path(scratch)):
            if record.head() is not None:
                print(f"{record.place.says} holds a record already: give an empty place", file=sys.stderr)
                return 2
            if not measure(record, told.rate, told.seconds):
                return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
