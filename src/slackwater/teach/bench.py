"""The bench-top: one invented drain whose suction, tube and lung are changed by hand, minute by minute.

The drain is a function of what was done: the same deeds always give the same trace, and a later deed changes
nothing that was recorded before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.errors import UsageError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log
from slackwater.simulate import Scenario, Stay, simulate
from slackwater.simulate.by_hand import ByHand
from slackwater.simulate.fault import Fault, FaultKind
from slackwater.simulate.nurse import Nurse
from slackwater.simulate.patient import Patient
from slackwater.simulate.suction import SuctionStep
from slackwater.simulate.unit_types import PEBBLE
from slackwater.teach.told import truth_says

LONGEST_MIN = 480
MOST_DEEDS = 80
SUCTIONS = ("none", "5", "8", "10", "15", "20")  # cmH2O below the room's
LEAKS = ("0", "20", "60", "150", "600")  # mL/min at 20 cmH2O
WAITS = ("1", "5", "15", "60")  # minutes
SHUTS: dict[str, FaultKind] = {
    "clamp": "clamped",
    "kink": "kinked",
    "loop": "loop",
    "apart": "open_circuit",
    "off": "off",
}
ENDS = {"unclamp": "clamp", "straighten": "kink", "lift": "loop", "reconnect": "apart", "on": "off"}
WALK_MIN = 10
EFFORT = 3.0  # the leak with a cough, as a multiple of that at rest (ours)
START = ("suction:20", "leak:60", "wait:60")

DEEDS = (
    *(f"suction:{one}" for one in SUCTIONS), *(f"leak:{one}" for one in LEAKS), "cough", "walk", *SHUTS, *ENDS,
    *(f"wait:{one}" for one in WAITS),
)  # fmt: skip
"""Every deed there is."""


@dataclass
class _Bench:
    """The deeds as the simulator takes them."""

    minute: int = 0
    suction: list[SuctionStep] = field(default_factory=list)
    leak: list[tuple[int, float, float]] = field(default_factory=list)
    faults: list[tuple[str, int, int | None]] = field(default_factory=list)
    coughs: list[float] = field(default_factory=list)
    walks: list[tuple[int, int]] = field(default_factory=list)

    def do(self, deed: str) -> None:
        what, _, how = deed.partition(":")
        if deed not in DEEDS:
            raise UsageError(f"nobody can {deed[:40]!r} at the bench", mend=_mend(what, how))
        if what == "wait":
            self.minute += int(how)
        elif what == "suction":
            at_h = self.minute / 60.0
            self.suction = [one for one in self.suction if one.at_h < at_h]
            self.suction.append(SuctionStep(at_h, None if how == "none" else float(how)))
        elif what == "leak":
            self.leak.append((self.minute, float(how), EFFORT * float(how)))
        elif what == "cough":
            self.coughs += [60.0 * self.minute + after for after in (10.0, 11.6, 13.2)]
            self.minute += 1
        elif what == "walk":
            self.walks.append((self.minute, self.minute + WALK_MIN))
            self.minute += WALK_MIN
        elif what in SHUTS:
            if not self.is_on(what):
                self.faults.append((what, self.minute, None))
        else:
            self.faults = [
                (name, start, self.minute if name == ENDS[what] and end is None else end)
                for name, start, end in self.faults
            ]

    def is_on(self, what: str) -> bool:
        return any(name == what and end is None for name, _, end in self.faults)

    def plan(self) -> Scenario:
        return Scenario(
            name="bench", summary="Changed by hand.", hours=LONGEST_MIN / 60.0, zone="UTC",
            patient=Patient(id="PRACTICE-BENCH", early_air_ml=30.0), unit=PEBBLE,
            nurse=Nurse(looks_at_cough=0.0, check_h=99.0, xray_each_day=False, observe_h=99.0),
            suction=tuple(self.suction) or (SuctionStep(0.0, None),),
            faults=tuple(
                Fault(SHUTS[name], start / 60.0, 999.0 if end is None else end / 60.0, charted=name == "clamp")
                for name, start, end in self.faults if end is None or end > start
            ),
        )  # fmt: skip


def _mend(what: str, how: str) -> str:
    """What to write instead. A sign is never guessed: suction has a size here, and '-20' is told to be written 20."""
    size = how.lstrip("-\N{MINUS SIGN}")
    if what == "suction" and size != how and size in SUCTIONS:
        return f"Suction is given by its size, in cmH2O below the room's pressure: suction:{size}."
    return f"Deeds: {', '.join(DEEDS)}."


@dataclass(frozen=True, eq=False)
class Bench:
    """The drain after its deeds. deeds: all of them; on: what stands (clamp, kink, ...)."""

    deeds: tuple[str, ...]
    minute: int
    on: frozenset[str]
    stay: Stay

    @property
    def left_min(self) -> int:
        return LONGEST_MIN - self.minute

    def found(self) -> Assessment:
        """What the tool concludes of the recorded minutes; nothing later is in it."""
        layout = Layout.from_toml(self.stay.layout_toml, "layout.toml")
        return assess(
            [read_log(self.stay.logs[0], layout, "log.csv")],
            chart=read_chart(self.stay.chart_csv.encode(), "chart.csv"),
            episode=read_episode(self.stay.episode_toml.encode(), "episode.toml"),
            now_ms=1000 * self.stay.scenario.start_s + MINUTE_MS * self.minute,
        )  # fmt: skip

    @property
    def truth(self) -> str:
        """What is truly so now, in a sentence."""
        return truth_says(self.stay, self.minute - 1)


def bench(deeds: Sequence[str], seed: int = 1) -> Bench:
    """The drain after these deeds, from connection on. UsageError for what cannot be done, or goes on too long."""
    deeds = tuple(deeds) or START
    if len(deeds) > MOST_DEEDS:
        raise UsageError(f"more than {MOST_DEEDS} deeds", where="bench", mend="Begin anew.")
    made = _Bench()
    for deed in deeds:
        made.do(deed)
    if not 1 <= made.minute <= LONGEST_MIN:
        raise UsageError(
            f"{made.minute} minutes at the bench", where="bench", mend=f"Wait for 1 to {LONGEST_MIN} minutes in all."
        )
    hand = ByHand(tuple(made.leak), tuple(made.coughs), tuple(made.walks))
    on = frozenset(name for name in SHUTS if made.is_on(name))
    return Bench(deeds, made.minute, on, simulate(made.plan(), seed, hand))
