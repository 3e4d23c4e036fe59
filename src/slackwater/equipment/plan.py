"""Who charges when, so that every planned trip starts with enough: a mixed whole-number program.

Solved by HiGHS through scipy.optimize.milp. Charge is reckoned with from its low end, its loss from its high end and
its gain from its low end, so a plan that holds, holds for what is not known too. Where no plan does, the one that is
short of least is given, and what it is short of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import MissingPart, QuantityError

SLOT_MIN = 30
LONGEST_S = 2.0  # the best plan found by then is taken
# Weights, ours: a percent run dry at the bed is worse than one short for a trip; then pluggings in, and the charge all
# along (its mean), so that no unit runs low beside a free socket.
DRY, SHORT, STARTS, MEAN = 3.0, 1.0, 1.0, 0.1
MOST_UNITS, MOST_SLOTS = 40, 96
_TOUCH = 1e-6


@dataclass(frozen=True)
class PlannedUnit:
    """A unit for the day: its charge now, and what it loses off and gains on the mains (percent a minute).

    lowest: percent; below it nobody can tell how long it lasts, so no trip counts on it.
    """

    name: str
    percent: float
    loses: float
    gains: float
    lowest: float = 0.0


@dataclass(frozen=True)
class PlannedTrip:
    """A trip: which unit (its place in the list), minutes from now, and for how long it must last."""

    unit: int
    start_min: float
    planned_min: float
    needed_min: float


@dataclass(frozen=True)
class Short:
    """A trip that no plan covers: percent and minutes that are missing at its start."""

    trip: int
    percent: float
    minutes: float


@dataclass(frozen=True, eq=False)
class DayPlan:
    """plugged: units x slots; percent: units x (slots + 1), at the slots' edges, at least.

    empty: units that would run down at the bed. sockets_needed: how many sockets would leave nothing short; None: it is
    no matter of sockets.
    """

    slot_min: int
    plugged: NDArray[np.bool_]
    percent: NDArray[np.float64]
    short: tuple[Short, ...]
    empty: tuple[int, ...]
    sockets_needed: int | None = None

    @property
    def holds(self) -> bool:
        return not self.short and not self.empty

    def stretches(self, unit: int) -> tuple[tuple[int, int], ...]:
        """When the unit is on the mains: (from, to) in minutes from now."""
        edges = np.flatnonzero(np.diff(np.concatenate(([0], self.plugged[unit].astype(np.int8), [0]))))
        return tuple((int(a) * self.slot_min, int(b) * self.slot_min) for a, b in edges.reshape(-1, 2))


def plan_day(
    units: Sequence[PlannedUnit], trips: Sequence[PlannedTrip], sockets: int, minutes: float, slot_min: int = SLOT_MIN
) -> DayPlan:  # fmt: skip
    """The plan for the next `minutes`. Raises MissingPart without scipy, QuantityError for what is no day."""
    slots = math.ceil(minutes / slot_min)
    if not 0 < slots <= MOST_SLOTS or not 0 < len(units) <= MOST_UNITS or sockets < 0:
        raise QuantityError("no such day can be planned", mend=f"Give 1 to {MOST_UNITS} units and sockets from 0 on.")
    found = _solved(units, trips, sockets, slots, slot_min, neat=True)
    if found.holds:
        return found
    for more in range(sockets + 1, len(units) + 1):
        if _solved(units, trips, more, slots, slot_min, neat=False).holds:
            return DayPlan(slot_min, found.plugged, found.percent, found.short, found.empty, more)
    return found


def _solved(
    units: Sequence[PlannedUnit], trips: Sequence[PlannedTrip], sockets: int, slots: int, slot_min: int, neat: bool
) -> DayPlan:  # fmt: skip
    """First what is short of least; then, if it shall be `neat`, among those the one with few pluggings in."""
    try:
        from scipy.optimize import Bounds, LinearConstraint, milp  # type: ignore[import-untyped]
        from scipy.sparse import lil_array  # type: ignore[import-untyped]
    except ImportError:
        raise MissingPart(
            "a charging plan needs the extra 'plan'", mend="Install it: pip install 'slackwater[plan]'."
        ) from None
    n, t, k = len(units), slots, len(trips)
    # columns: plugged n·t, begins n·t, charge n·(t+1), run dry n·t, short k
    on, begin, charge = 0, n * t, 2 * n * t
    dry = charge + n * (t + 1)
    short = dry + n * t
    width = short + k
    shortage, tidiness = np.zeros(width), np.zeros(width)
    shortage[dry:short], shortage[short:], tidiness[begin:charge] = DRY, SHORT, STARTS
    low, high = np.zeros(width), np.full(width, np.inf)
    high[:charge], high[charge:dry] = 1.0, 100.0
    whole = np.zeros(width)
    whole[:begin] = 1
    rows: list[tuple[dict[int, float], float]] = []  # sum <= right
    for u, unit in enumerate(units):
        first = charge + u * (t + 1)
        low[first] = high[first] = unit.percent
        tidiness[first + 1 : first + t + 1] = -MEAN / t
        for s in range(t):
            x = on + u * t + s
            gain, loss = unit.gains * slot_min, unit.loses * slot_min
            rows.append(({first + s + 1: 1.0, first + s: -1.0, x: -gain - loss, dry + u * t + s: -1.0}, -loss))
            rows.append(({x: 1.0, begin + u * t + s: -1.0} | ({x - 1: -1.0} if s else {}), 0.0))
    for s in range(t):
        rows.append(({on + u * t + s: 1.0 for u in range(n)}, float(sockets)))
    for j, trip in enumerate(trips):
        start = min(max(int(trip.start_min // slot_min), 0), t)
        end = min(math.ceil((trip.start_min + trip.planned_min) / slot_min), t)
        high[on + trip.unit * t + start : on + trip.unit * t + end] = 0.0
        unit = units[trip.unit]
        # what it loses between its slot's edge, at which the charge is reckoned, and its leaving is needed too
        need = unit.lowest + (trip.needed_min + max(trip.start_min - start * slot_min, 0.0)) * unit.loses
        rows.append(({charge + trip.unit * (t + 1) + start: -1.0, short + j: -1.0}, -need))
    matrix = lil_array((len(rows), width))
    for place, (row, _) in enumerate(rows):
        for column, value in row.items():
            matrix[place, column] = value
    right = np.array([one for _, one in rows])
    kept = LinearConstraint(matrix.tocsr(), -np.inf, right)
    told = {"integrality": whole, "bounds": Bounds(low, high), "options": {"time_limit": LONGEST_S}}
    answer = milp(shortage, constraints=kept, **told)
    if answer.x is None:
        raise QuantityError("no plan was found in time", mend="Plan fewer units, or a shorter day.")
    x = answer.x
    if neat:
        no_worse = LinearConstraint(shortage[None, :], -np.inf, float(shortage @ x) + SHORT * _TOUCH)
        tidy = milp(tidiness, constraints=[kept, no_worse], **told)
        x = x if tidy.x is None else tidy.x
    missing = [
        Short(j, float(x[short + j]), float(x[short + j] / units[trip.unit].loses))
        for j, trip in enumerate(trips) if x[short + j] > _TOUCH
    ]  # fmt: skip
    run_dry = x[dry:short].reshape(n, t).sum(axis=1)
    return DayPlan(
        slot_min, x[:begin].reshape(n, t) > 0.5, x[charge:dry].reshape(n, t + 1), tuple(missing),
        tuple(int(u) for u in np.flatnonzero(run_dry > _TOUCH)),
    )  # fmt: skip
