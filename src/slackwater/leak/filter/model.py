"""The numbers of both filters, and the file they are kept in.

The size filter answers for this minute; the trend filter, in steps of ten minutes, for where it is going.
Every number is learnt from simulated stays or ours: the file says which, and none comes from a patient.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from functools import cache
from importlib.resources import files
from typing import Any

from slackwater.errors import RefusedInput, SlackwaterError

BLOCK_MIN = 10  # minutes of one step of the trend filter (ours)
SPEEDS = ("stuck", "slow", "medium", "fast", "intermittent")


@dataclass(frozen=True)
class SizeModel:
    """How much leaks now. Cells even in log(1 + flow / softness), at `reference_cmh2o` of driving pressure.

    sharpness: of the logistic error in log(flow + softness); its standard deviation there is 1.81 / sharpness.
    A multiple of four, so that powers are products.
    """

    cells: int = 64
    softness_ml_per_min: float = 4.0
    top_ml_per_min: float = 16_000.0
    reference_cmh2o: float = 20.0
    sharpness: int = 24
    walk: float = 0.2  # of the two-sided geometric walk, a minute: ratio of the chances of k + 1 and k cells
    silent: float = 0.02  # chance a minute of growing by a cell while nothing can be seen
    seals: float = 0.02  # chance a minute that the smallest leak seals
    opens: float = 0.001  # and that a sealed lung leaks again, smallest first
    suction_step: float = 1.25  # ratio of driving pressures from which it is a step
    widens: int = 6  # walks taken at such a step beside the usual one
    memory_min: float = 5.0  # of the recent conductance, in minutes
    burst: float = 1.6  # times the recent flow: above, a minute counts no more than this
    surprises_min: float = 4.0  # minutes in a row so far off that it is another level


@dataclass(frozen=True)
class TrendModel:
    """Where the leak is going. Levels even in log(flow), at `reference_cmh2o`; of five numbers, one a speed."""

    levels: int = 40
    lowest_ml_per_min: float = 4.0
    spacing: float = 0.2
    reference_cmh2o: float = 20.0
    softness_ml_per_min: float = 4.0
    sharpness: int = 8
    stray: float = 1e-4  # weight of a block unlike any state
    # healing
    falls_per_h: tuple[float, ...] = (0.002, 0.02, 0.05, 0.12, 0.01)  # of log flow
    wanders_per_h: float = 0.002  # moves of a level up, and as many down, beside the falling
    seals_per_h: tuple[float, ...] = (0.004, 0.006, 0.012, 0.03, 0.006)  # at any level
    seals_low_per_h: float = 0.35  # more, at the lowest levels
    low_ml_per_min: float = 9.0  # where that has faded to a half
    effort_left: float = 0.12  # share of seals at rest that leave a leak with effort
    effort_seals_per_h: float = 0.025
    reopens_per_h: float = 0.002
    changes_per_h: float = 0.004  # of speed
    # deviation from the level: posture, secretions, a slow wandering
    deviation: float = 0.3  # of log flow, one step up or down
    deviates_per_h: float = 0.45
    # intermittent only
    shuts_per_h: float = 1.0
    opens_per_h: float = 0.8
    # bursts in a block
    bursts_sealed: float = 0.01
    bursts_effort: float = 0.35
    bursts_leaking: float = 0.2
    # at connection
    speeds: tuple[float, ...] = (0.15, 0.25, 0.3, 0.2, 0.1)
    sealed: float = 0.3
    effort_only: float = 0.05
    first_ml_per_min: float = 110.0
    first_spread: float = 1.1  # of log flow


@dataclass(frozen=True)
class RecordModel:
    """From the level to the largest reading a clause looks at; learnt per stay from a shared start.

    A burst is a block whose largest lies far above the usual: a cough, a walk. It is rarer in sleep.
    """

    ratio_mean: float = 0.06  # log of the largest over the mean flow, in a usual block
    ratio_spread: float = 0.1
    counts_as: float = 12.0  # blocks the shared start is worth
    forgets_blocks: float = 150.0
    far: float = 2.5  # spreads above the usual ratio, from which a burst begins
    burst_share: float = 0.5  # of the limit, that it rises above the usual at the least
    bursts: float = 0.15  # a block, awake
    bursts_count_as: float = 1.0  # bursts the shared start is worth
    asleep: float = 0.2  # share of that by night
    asleep_counts_as: float = 3.0  # bursts
    bouts: float = 0.8  # of the bursts' rate that counts against a run: they come close together
    sealed_share: float = 0.2  # of the stay's bursts that go on breaking a clause once sealed
    alike: float = 1.0  # of log flow: blocks so far from the present level count 1 / e
    sleeps_h: float = 22.5  # of the clock
    wakes_h: float = 6.5
    edge_h: float = 0.8


@dataclass(frozen=True)
class PastModel:
    """How past stays went on, by how long the run had lasted; a share of each forecast rests on that alone.

    A lung may heal by a course that the filter's chain does not know: then the plain rate of the past is the better
    guess. hours: from the moment at which the clause could hold at the earliest; the rest: chance that it held by
    then, where the run had lasted under 30 min, under 2 h, under 5 h, or longer.
    """

    share: float = 0.0
    hours: tuple[float, ...] = (0.0, 48.0)
    under_30_min: tuple[float, ...] = (0.0, 0.0)
    under_2_h: tuple[float, ...] = (0.0, 0.0)
    under_5_h: tuple[float, ...] = (0.0, 0.0)
    longer: tuple[float, ...] = (0.0, 0.0)

    def chances(self, run_min: float) -> tuple[float, ...]:
        """The chances for a run that has lasted so long."""
        for upto, found in ((30, self.under_30_min), (120, self.under_2_h), (300, self.under_5_h)):
            if run_min < upto:
                return found
        return self.longer


@dataclass(frozen=True)
class Calibration:
    """What forecast chances were worth on stays the other numbers never saw, by how far ahead they looked.

    Log odds are taken times `trust` and plus `shift`, each told at some hours ahead and joined by straight lines. Trust
    below 1: chances were too extreme, and the more so, the further ahead. It is above 0, so a larger chance stays the
    larger. What cannot have come yet keeps its chance of 0.
    """

    hours: tuple[float, ...] = (6.0, 12.0, 24.0, 48.0)
    shift: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    trust: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0)
    horizon_h: float = 48.0  # up to where the forecast has been tried; nothing beyond is said


@dataclass(frozen=True)
class FilterModel:
    """All numbers, with where they come from."""

    provenance: str = "hand-set; not from patients"
    size: SizeModel = SizeModel()
    trend: TrendModel = TrendModel()
    record: RecordModel = RecordModel()
    past: PastModel = PastModel()  # of clauses on every reading
    past_of_means: PastModel = PastModel()  # of clauses on means over some minutes
    calibration: Calibration = Calibration()
    calibration_of_means: Calibration = Calibration()
    operations: Mapping[str, Mapping[str, Any]] | None = None  # operation -> other numbers of the trend at connection

    def past_for(self, bin_min: int | None) -> PastModel:
        """How past stays went on, for a clause on every reading (None), or on means over so many minutes."""
        return self.past if bin_min is None else self.past_of_means

    def calibration_for(self, bin_min: int | None) -> Calibration:
        """The correction for a clause on every reading (None), or on means over so many minutes."""
        return self.calibration if bin_min is None else self.calibration_of_means

    def trend_for(self, operation: str | None) -> TrendModel:
        """The trend's numbers for an operation; the shared ones where it is unknown or has none of its own."""
        own = (self.operations or {}).get(operation or "", {})
        return replace(self.trend, **own) if own else self.trend


_PARTS = {
    "size": SizeModel, "trend": TrendModel, "record": RecordModel, "past": PastModel,
    "past_of_means": PastModel, "calibration": Calibration, "calibration_of_means": Calibration,
}  # fmt: skip


def from_toml(text: str, name: str) -> FilterModel:
    """Read a parameters file; `name` is said in every error.

    >>> from_toml('provenance = "tried"', "mine.toml").provenance
    'tried'
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RefusedInput(str(error), where=name, mend="Write it as TOML.") from error
    strange = set(tables) - {"provenance", "operations", "uncertainty", *_PARTS}
    if strange:
        raise RefusedInput(f"there is no table {sorted(strange)[0]}", where=name, mend="Take it out.")
    parts = {key: _part(kind, tables.get(key, {}), f"{name}, {key}") for key, kind in _PARTS.items()}
    operations = {
        kind: {key: tuple(value) if isinstance(value, list) else value for key, value in own.items()}
        for kind, own in tables.get("operations", {}).items()
    }
    for key in ("past", "past_of_means", "calibration", "calibration_of_means"):
        _checked(parts[key], f"{name}, {key}")
    for kind, own in operations.items():
        _part(TrendModel, own, f"{name}, operations.{kind}")
    return FilterModel(str(tables.get("provenance", "not said")), operations=operations, **parts)


def _checked(found: PastModel | Calibration, where: str) -> None:
    """A number for each hour, and nothing that would turn the order of chances round."""
    rows = (
        (found.under_30_min, found.under_2_h, found.under_5_h, found.longer)
        if isinstance(found, PastModel)
        else (found.shift, found.trust)
    )
    for row in rows:
        if len(row) != len(found.hours):
            raise RefusedInput(
                f"{len(found.hours)} hours, but {len(row)} numbers", where=where, mend="Give one for each."
            )
    if isinstance(found, Calibration) and min(found.trust, default=1.0) <= 0.0:
        raise RefusedInput("trust is not above 0", where=where, mend="Give numbers above 0, such as 0.8.")


def _part(kind: Any, table: Mapping[str, Any], where: str) -> Any:
    known = {field.name: field for field in fields(kind)}
    values: dict[str, Any] = {}
    usual = kind()
    for key, value in table.items():
        if key not in known:
            raise RefusedInput(f"there is no {key}", where=where, mend=f"Known: {', '.join(known)}.")
        before = getattr(usual, key)
        if isinstance(before, tuple):
            if not isinstance(value, list) or not all(isinstance(v, int | float) for v in value):
                raise RefusedInput("needs a list of numbers", where=f"{where}.{key}", mend="Write [0.1, 0.2].")
            if kind is TrendModel and len(value) != len(SPEEDS):
                raise RefusedInput(f"needs {len(SPEEDS)} numbers", where=f"{where}.{key}", mend=", ".join(SPEEDS))
            values[key] = tuple(float(v) for v in value)
        elif isinstance(value, bool) or not isinstance(value, int | float):
            raise RefusedInput("needs a number", where=f"{where}.{key}", mend="Write one, e.g. 0.1.")
        else:
            values[key] = type(before)(value)
    return kind(**values)


def to_toml(model: FilterModel, uncertainty: Mapping[str, float] | None = None) -> str:
    """A parameters file; `uncertainty`: standard error of log parameters that were learnt."""
    lines = [f'provenance = "{model.provenance}"']
    for key in _PARTS:
        lines += ["", f"[{key}]"]
        lines += [f"{name} = {_toml(value)}" for name, value in asdict(getattr(model, key)).items()]
    for kind, own in (model.operations or {}).items():
        lines += ["", f"[operations.{kind}]", *(f"{name} = {_toml(value)}" for name, value in own.items())]
    if uncertainty:
        lines += ["", "[uncertainty] # standard error of the logarithm"]
        lines += [f'"{name}" = {value:.3g}' for name, value in uncertainty.items()]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return str(value) if isinstance(value, int) else repr(float(f"{value:.6g}"))


@cache
def shipped_model() -> FilterModel:
    """The numbers that come with the program."""
    text = (files("slackwater.leak.filter") / "parameters.toml").read_text("utf-8")
    try:
        return from_toml(text, "parameters.toml")
    except RefusedInput as error:  # nobody gave it: a fault of ours, not an input that is refused
        raise SlackwaterError(error.what, where=error.where) from error
