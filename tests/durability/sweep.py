"""Cut a piece of work off at every call that changes the disk, and see what it left behind.

Three sweeps: `kills` ends the process just before the n-th call, or half-way through a write; `errors` lets the n-th
call fail and sees that the work says so, can be taken up again, and kept nothing by halves; `power` rebuilds what the
disk may hold (disk.py) after every call. Python starts once under the shim, then forks for each point.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from durability.disk import Disk, Image, Style, read_image, write_image
from durability.scenario import Scenario
from durability.shim import KILLED, Event, Shim, environment, read_log

LONGEST_S = 300  # a child that takes longer hangs
SHOWN = 5  # faults told in full

GROWING = ("write", "sync", "link", "rename", "create", "mkdir")  # what a full disk may refuse
ANY = (*GROWING, "length", "unlink")
# plan, error, whether it stays, which calls it can befall
MISHAPS = [
    ("fail", "ENOSPC", False, GROWING),
    ("fail", "ENOSPC", True, GROWING),
    ("fail", "EDQUOT", False, GROWING),
    ("fail", "EIO", False, ANY),
    ("fail", "EIO", True, ANY),
    ("fail", "EINTR", False, ("write", "sync", "length", "create")),
    ("short", "EIO", False, ("write",)),
]


@dataclass
class Report:
    scenario: str
    sweep: str
    points: int = 0
    calls: int = 0
    surfaced: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    examples: list[str] = field(default_factory=list)
    worst_s: float = 0.0
    seconds: float = 0.0

    def add(self, where: str, faults: list[str]) -> None:
        for fault in faults:
            kind = fault.partition(":")[0]
            self.faults[kind] = self.faults.get(kind, 0) + 1
        if faults and len(self.examples) < SHOWN:
            self.examples.append(f"{where}: {'; '.join(faults[:3])}")

    def __str__(self) -> str:
        faults = ", ".join(f"{n} {kind}" for kind, n in sorted(self.faults.items())) or "no fault"
        surfaced = f"{self.surfaced} surfaced, " if self.surfaced else ""
        lines = [
            f"{self.scenario}, {self.sweep}: {self.points} points of {self.calls} calls, {surfaced}{faults}, "
            f"worst reopening and check {self.worst_s:.2f} s, {self.seconds:.0f} s in all"
        ]
        return "\n".join(lines + [f"  {example}" for example in self.examples])


# ---- children ----


@dataclass
class Came:
    """What a child said before it ended, and how it ended."""

    code: int
    said: list[tuple[str, Any]]

    def of(self, kind: str) -> list[Any]:
        return [what for said, what in self.said if said == kind]


Say = Callable[[str, Any], None]


def in_child(work: Callable[[Say], None]) -> Came:
    """Run it in a forked child that says things down a pipe; a line said is a line kept, however the child ends."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.close(reading)
            signal.alarm(LONGEST_S)
            work(lambda kind, what: _write_all(writing, json.dumps([kind, what]).encode() + b"\n"))
            code = 0
        except BaseException:  # noqa: BLE001 - whatever it was, the parent is to hear of it
            _write_all(writing, json.dumps(["raised", traceback.format_exc()]).encode() + b"\n")
        finally:
            os._exit(code)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said = [tuple(json.loads(line)) for line in pipe]
    return Came(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said)


def _write_all(fd: int, data: bytes) -> None:
    while data:
        data = data[os.write(fd, data) :]


def once(step: Callable[[], Any], broken: Callable[[], list[str]] = list) -> Any:
    """An attempt where nothing is made to fail."""
    return step()


# ---- the sweeps ----


class Sweep:
    """One scenario, and the folder its runs happen in: always the same path, always fresh."""

    def __init__(self, scenario: Scenario, base: Path, shim: Shim) -> None:
        self.scenario, self.shim = scenario, shim
        self.folder, self.base = base / "run", base
        self.folder.mkdir()
        made = in_child(lambda say: scenario.prepare(self.folder))
        assert made.code == 0, f"{scenario.name}: could not be prepared: {made.said}"
        self.folder.rename(base / "prepared")
        self.start = read_image(base / "prepared")
        self.events = self._undisturbed()
        self.calls = [event for event in self.events if event.kind != "note"]

    def _undisturbed(self) -> list[Event]:
        """The log of one whole run. Replayed it must give the folder, or something changes behind the shim's back."""
        came, events = self._logged()
        assert came.code == 0, f"{self.scenario.name}: an undisturbed run failed: {came.said}"
        replayed, there = self._after(events).image("there", Random(0)), read_image(self.folder)
        differing = [name for name in replayed.keys() | there.keys() if replayed.get(name, 0) != there.get(name, 0)]
        assert not differing, f"{self.scenario.name}: changed behind the shim's back: {differing}"
        return events

    def _after(self, events: list[Event]) -> Disk:
        disk = Disk(self.folder, self.start)
        for event in events:
            disk.follow(event)
        return disk

    def _logged(self, arm: Callable[[], None] = lambda: None, errors: bool = False) -> tuple[Came, list[Event]]:
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(self.base / "prepared", self.folder)
        with tempfile.TemporaryFile(dir=self.base) as log:

            def work(say: Say) -> None:
                def ack(what: str) -> None:
                    say("ack", what)
                    self.shim.note(what)

                self.shim.watch(self.folder, log.fileno())
                arm()
                attempt = Failing(self.scenario, self.shim, say) if errors else once
                try:
                    self.scenario.act(self.folder, ack, attempt)
                except self.scenario.errors as error:
                    if not (errors and self.shim.met):
                        raise
                    say("surfaced", repr(error))
                say("met", self.shim.met)

            came = in_child(work)
            return came, list(read_log(log.fileno()))

    def check(self, report: Report, where: str, acks: list[str]) -> None:
        """Open what is in the folder, in a process of its own."""

        def work(say: Say) -> None:
            started = time.perf_counter()
            for fault in self.scenario.check(self.folder, acks):
                say("fault", fault)
            say("seconds", time.perf_counter() - started)

        came = in_child(work)
        report.worst_s = max(report.worst_s, *came.of("seconds"), 0.0)
        report.add(where, came.of("fault") + [f"broken: {_last(text)}" for text in came.of("raised")])
        if came.code < 0:
            report.add(where, [f"broken: the check ended by signal {-came.code}"])

    def kills(self, sample: Sample) -> Report:
        report = Report(self.scenario.name, "kills", calls=len(self.calls))
        points = [(n, "kill", call) for n, call in enumerate(self.calls, 1)]
        points += [(n, "kill halfway", call) for n, call in enumerate(self.calls, 1) if call.length > 1]
        for n, plan, call in sample(points):
            came, _ = self._logged(lambda n=n, plan=plan: self.shim.arm(n, plan))
            where = f"{plan} at {n}, {called(call)}"
            if came.code == 0:
                continue  # threads: this run took fewer calls
            if came.code != KILLED:
                report.add(where, [f"broken: ended by {came.code}, {_last(''.join(came.of('raised')))}"])
            self.check(report, where, came.of("ack"))
            report.points += 1
        return report

    def errors(self, sample: Sample) -> Report:
        report = Report(self.scenario.name, "errors", calls=len(self.calls))
        points = [
            (n, call, mishap)
            for n, call in enumerate(self.calls, 1)
            for mishap in MISHAPS
            if call.kind in mishap[3] and (mishap[0] != "short" or call.length > 1)
        ]
        for n, call, (plan, error, sticky, kinds) in sample(points):
            where = f"{plan} {error}{' from' if sticky else ' at'} {n}, {called(call)}"
            came, events = self._logged(
                lambda n=n, p=plan, e=error, s=sticky, k=kinds: self.shim.arm(n, p, e, sticky=s, kinds=k), errors=True
            )
            faults = [f"raw: {_last(text)}" for text in came.of("raised")] + came.of("fault")
            report.add(where, faults + ([f"broken: ended by {came.code}"] if came.code not in (0, 1) else []))
            report.surfaced += bool(came.of("surfaced"))
            report.points += 1
            self.check(report, where, came.of("ack"))
            # What was said to be kept is on the disk, not only in its cache: an error swallowed shows here. Looked at
            # from the last acknowledgement, as a clean closing would heal much.
            last = max((at for at, event in enumerate(events) if event.kind == "note"), default=len(events))
            self._put(self._after(events[: last + 1]).image("lacking", Random(0)))
            self.check(report, f"{where}, then power lost", came.of("ack"))
        return report

    def power(self, sample: Sample, torn: int = 1) -> Report:
        report = Report(self.scenario.name, "power loss", calls=len(self.calls))
        wanted = {n for n, _ in sample(list(enumerate(self.events)))}
        disk, acks, seen = Disk(self.folder, self.start), list[str](), set[int]()
        for n, event in enumerate(self.events):
            disk.follow(event)
            if event.kind == "note":
                acks.append(event.path)
            if n not in wanted:
                continue
            styles: list[Style] = ["lacking", "there", *["torn"] * torn]
            for k, style in enumerate(styles):
                image = disk.image(style, Random(f"{n} {k}"))
                mark = hash((tuple(image.items()), len(acks)))
                if mark in seen:
                    continue
                seen.add(mark)
                self._put(image)
                self.check(report, f"power lost after {n}, {called(event)}, waiting {style}", acks)
                report.points += 1
        return report

    def _put(self, image: Image) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
        write_image(image, self.folder)


class Failing:
    """An attempt where a call is made to fail: the step says so, and goes through once the disk is whole again."""

    def __init__(self, scenario: Scenario, shim: Shim, say: Say) -> None:
        self.scenario, self.shim, self.say = scenario, shim, say

    def __call__(self, step: Callable[[], Any], broken: Callable[[], list[str]] = list) -> Any:
        try:
            return step()
        except self.scenario.errors as error:
            if not self.shim.met:
                raise
            self.say("surfaced", repr(error))
        for fault in broken():
            self.say("fault", fault)
        with suppress(*self.scenario.errors):
            return step()  # where the error stays: it fails again, or the way round it was found
        self.shim.disarm()
        try:
            return step()
        except self.scenario.errors as error:
            self.say("fault", f"stuck: the disk is whole, yet {error!r}")
            raise


def called(event: Event) -> str:
    return f"{event.kind} {os.path.basename(event.path)}"


def _last(text: str) -> str:
    return text.strip().rpartition("\n")[2]


# ---- running one: here under the shim, or from a test ----

Sample = Callable[[list[Any]], Iterable[Any]]


def sampled(every: int, seed: int) -> Sample:
    """One in so many of them, seeded, in order; 1: all."""
    return lambda points: [points[n] for n in sorted(Random(seed).sample(range(len(points)), -(-len(points) // every)))]


def told(points: list[Any]) -> Iterator[Any]:
    """The points, with how far it is on a terminal's line."""
    for n, point in enumerate(points, 1):
        if sys.stderr.isatty():
            print(f"\r{n} of {len(points)} ", end="", file=sys.stderr, flush=True)
        yield point


def run(library: Path, where: str, name: str, sweep: str, every: int = 1, seed: int = 1, torn: int = 1) -> Report:
    """Sweep the scenario `name` of the module durability.`where`, in a process under the shim."""
    words = [where, name, sweep, "--every", str(every), "--seed", str(seed), "--torn", str(torn)]
    command = [sys.executable, "-m", "durability.sweep", *words]
    done = subprocess.run(command, env=environment(library), stdout=subprocess.PIPE, check=False)
    assert done.returncode == 0, f"the sweep itself failed ({done.returncode}): {' '.join(words)}"
    return Report(**json.loads(done.stdout.splitlines()[-1]))


def main() -> None:
    words = argparse.ArgumentParser()
    words.add_argument("where")
    words.add_argument("name")
    words.add_argument("sweep", choices=["kills", "errors", "power"])
    words.add_argument("--every", type=int, default=1)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--torn", type=int, default=1)
    asked = words.parse_args()
    where = importlib.import_module(f"durability.{asked.where}")
    found = {scenario.name: scenario for scenario in [*where.SCENARIOS, *where.WRONG]}
    started = time.perf_counter()
    gc.freeze()  # children that collect would copy all that they share
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # killing a process needs no real disk
    with tempfile.TemporaryDirectory(prefix="durability-", dir=memory) as base:
        sweep = Sweep(found[asked.name], Path(base), Shim())
        sample = sampled(asked.every, asked.seed)
        if asked.sweep == "power":
            report = sweep.power(sample, asked.torn)
        else:
            report = getattr(sweep, asked.sweep)(lambda points: told(sample(points)))
    report.seconds = time.perf_counter() - started
    print(json.dumps(asdict(report)))


if __name__ == "__main__":
    main()
