"""What the record knows of each unit's battery: its discharges, its charge as last logged, how long it runs."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars

from slackwater.equipment.charge import RunTime, Span, Spell, apart, months_to, run_time, why_no_run_time
from slackwater.quantities.spans import MINUTE_MS
from slackwater.store.record import Record
from slackwater.store.rows import versions

FRESH_MS = 30 * MINUTE_MS  # a charge that was logged longer ago is no longer the charge (ours)


@dataclass(frozen=True)
class Logged:
    """A charge as a unit logged it. on_mains: None where it does not say. load: of the hour before (NaN: not known)."""

    percent: int
    at_ms: int
    on_mains: bool | None
    load: float = math.nan


@dataclass(frozen=True)
class Battery:
    """One unit's battery: every discharge and charge that is recorded, and the last charge that was logged."""

    spells: tuple[Spell, ...] = ()
    last: Logged | None = None

    def now(self, now_ms: int) -> Logged | None:
        """The charge now, where it was logged lately."""
        return self.last if self.last is not None and 0 <= now_ms - self.last.at_ms <= FRESH_MS else None

    def why_not(self, now_ms: int) -> str | None:
        return why_no_run_time(self.spells, now_ms, self._load(now_ms))

    def runs(self, now_ms: int) -> RunTime | None:
        """At the load of the last hour where that was logged lately, else as it usually is; None: cannot tell."""
        return None if self.why_not(now_ms) is not None else run_time(self.spells, now_ms, self._load(now_ms))

    def _load(self, now_ms: int) -> float:
        now = self.now(now_ms)
        return math.nan if now is None else now.load


NOTHING = Battery()


def batteries(record: Record, now_ms: int, units: Sequence[str] | None = None) -> dict[str, Battery]:
    """By the unit's key, from the tables that are kept of every drain's logs; of what had ended by now alone, for a log
    may run ahead of the clock. `units`: only these.

    What was before a unit's battery was put in tells nothing of it.
    """
    found: dict[str, list[Spell]] = {}
    last: dict[str, Logged] = {}
    since = _put_in(record, units)
    drains = None if units is None else {one["drain"] for one in record.things("pairing") if one["unit"] in units}
    for table in record.things("table", {"kind": "charge"}):
        if drains is not None and table["drain"] not in drains:
            continue
        frame = polars.read_parquet(io.BytesIO(record.files.get(table["sha256"])))
        if "cell" not in frame.columns:  # of before standby was told from work: it is made again when its drain is read
            continue
        for row in _by_then(frame, now_ms).iter_rows(named=True):
            unit = row["unit"]
            if row["start_ms"] < since.get(unit, row["start_ms"]):
                continue
            flow = math.nan if row["flow"] is None else row["flow"]
            suction = math.nan if row["suction"] is None else row["suction"]
            if row["what"] == "last":
                mains = None if row["on_mains"] is None else bool(row["on_mains"])
                if unit not in last or last[unit].at_ms < row["end_ms"]:
                    last[unit] = Logged(row["last_percent"], row["end_ms"], mains, flow * suction)
                continue
            found.setdefault(unit, []).append(Spell(
                row["start_ms"], row["end_ms"], row["first_percent"], row["last_percent"], row["per_min"], row["low"],
                row["high"], flow, suction, row["what"] == "rise", row["cell"],
            ))  # fmt: skip
    return {
        unit: Battery(apart(found.get(unit, ())), last.get(unit))
        for unit in {*found, *last} if units is None or unit in units
    }  # fmt: skip


def _by_then(frame: polars.DataFrame, now_ms: int) -> polars.DataFrame:
    """What had ended by then; of each unit's charges as last known the newest alone."""
    ended = frame.filter(polars.col("end_ms") <= now_ms)
    told = polars.col("what") == "last"
    return polars.concat([ended.filter(~told), ended.filter(told).sort("end_ms").unique("unit", keep="last")])


def _put_in(record: Record, units: Sequence[str] | None) -> dict[str, int]:
    """Since when each unit has the battery it has: the day that its register gives; where another lot was written
    without another day, the moment it was written."""
    since: dict[str, int] = {}
    lots: dict[str, str] = {}
    days: dict[str, int | None] = {}
    with record.reading() as connection:
        told = versions(connection, "unit", keys=units)
    for one in told:
        lot, day = one["battery_lot"], one["battery_from_ms"]
        if day is not None and day != days.get(one.key):
            since[one.key] = day
        elif lot is not None and lots.get(one.key, lot) != lot:
            since[one.key] = one.at_ms
        days[one.key] = day
        lots |= {} if lot is None else {one.key: lot}
    return since


def spent_batteries(record: Record, now_ms: int, known: Mapping[str, Battery] | None = None) -> dict[str, str]:
    """Units whose battery no longer runs as long as their register says it must, in words; by the unit's key."""
    batteries_ = batteries(record, now_ms) if known is None else known
    spent = {}
    for unit in record.things("unit"):
        limit, battery = unit["must_run_min"], batteries_.get(unit.key)
        runs = None if limit is None or battery is None else battery.runs(now_ms)
        if runs is not None and runs.usual_full.mid < limit:
            spent[unit.key] = (
                f"at its usual rate its battery runs {span_told(runs.usual_full)} from full; its limit is {limit} min"
            )
    return spent


def span_told(one: Span, unit: str = "min") -> str:
    """'210 min (190 to 233)'."""
    return f"{one.mid:.0f} {unit} ({one.low:.0f} to {one.high:.0f})"


def fade_told(runs: RunTime | None, limit_min: int | None) -> str:
    """What can be said of the battery's fading, in words."""
    if runs is not None and runs.fade_hidden:
        return "fading: cannot tell, leak and suction changed as the months went"
    if runs is None or runs.fade is None:
        return "fading: cannot tell, too few discharges over too short a time"
    line = runs.fade
    text = f"from full it changes by {line.slope:+.1f} min a month ({line.low:+.1f} to {line.high:+.1f})"
    if limit_min is None:
        return f"{text}; no limit is recorded for it"
    left = months_to(line, float(limit_min))
    if left.mid == 0.0:
        return f"{text}; it is below its limit of {limit_min} min"
    if math.isinf(left.mid):
        return f"{text}; its limit of {limit_min} min is not in sight"
    latest = "no end in sight" if math.isinf(left.high) else f"{left.high:.0f}"
    return f"{text}; to its limit of {limit_min} min: about {left.mid:.0f} months ({left.low:.0f} to {latest})"
