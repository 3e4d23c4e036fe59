"""The day's charging as a linear program over slots of time, whole (plugged in or not) or in part.

Solved by HiGHS through scipy.optimize.milp. In part it is solved at once, and tells what no plan can better; in whole
slots it may take longer than anybody waits.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.equipment.day import DRY, SHORT, TOUCH, Day
from slackwater.errors import MissingPart

LONGEST_S = 2.0  # the best found by then is taken
# Weights, ours: pluggings in, and the charge all along (its mean), so that no unit runs low beside a free socket
STARTS, MEAN = 1.0, 0.1

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class DayProgram:
    """Columns: plugged in (units x slots), begins (units x slots), charge at the slots' edges, run dry (units x slots),
    short (trips); percent but for the first two. Raises MissingPart without scipy."""

    def __init__(self, day: Day) -> None:
        try:
            from scipy.optimize import Bounds, LinearConstraint, milp  # type: ignore[import-untyped]
            from scipy.sparse import lil_array  # type: ignore[import-untyped]
        except ImportError:
            raise MissingPart(
                "a charging plan needs the extra 'plan'", mend="Install it: pip install 'slackwater[plan]'."
            ) from None
        self._milp: Any = milp
        self._constraint: Any = LinearConstraint
        self._n, self._t = len(day.units), day.slots
        n, t, slot_min = self._n, self._t, day.slot_min
        begin, charge = n * t, 2 * n * t
        dry = charge + n * (t + 1)
        short = dry + n * t
        width = short + len(day.trips)
        self.shortage, self.tidiness = np.zeros(width), np.zeros(width)
        self.shortage[dry:short], self.shortage[short:], self.tidiness[begin:charge] = DRY, SHORT, STARTS
        low, high = np.zeros(width), np.full(width, np.inf)
        high[:charge], high[charge:dry] = 1.0, 100.0
        high[:begin] = day.free.ravel()
        rows: list[tuple[dict[int, float], float]] = []  # sum <= right
        for u, unit in enumerate(day.units):
            first = charge + u * (t + 1)
            low[first] = high[first] = unit.percent
            self.tidiness[first + 1 : first + t + 1] = -MEAN / t
            gain, loss = unit.gains * slot_min, unit.loses * slot_min
            for s in range(t):
                x = u * t + s
                rows.append(({first + s + 1: 1.0, first + s: -1.0, x: -gain - loss, dry + x: -1.0}, -loss))
                rows.append(({x: 1.0, begin + x: -1.0} | ({x - 1: -1.0} if s else {}), 0.0))
        rows += [({u * t + s: 1.0 for u in range(n)}, float(day.sockets)) for s in range(t)]
        for j, trip in enumerate(day.trips):
            rows.append(({charge + trip.unit * (t + 1) + day.slot_of(trip): -1.0, short + j: -1.0}, -day.need(trip)))
        matrix = lil_array((len(rows), width))
        for place, (row, _) in enumerate(rows):
            for column, value in row.items():
                matrix[place, column] = value
        self._rows = self._at_most(matrix.tocsr(), np.array([right for _, right in rows]))
        self._bounds = Bounds(low, high)
        self._whole = np.zeros(width)
        self._whole[:begin] = 1

    def least(self) -> float:
        """No plan is short of less: the best where a slot may be shared."""
        answer = self._solved(self.shortage, whole=False)
        assert answer.x is not None, "nothing charged is always allowed"
        return float(self.shortage @ answer.x)

    def shortest(self) -> Flags | None:
        """The plan that is short of least, or the best found in time."""
        answer = self._solved(self.shortage, whole=True)
        return None if answer.x is None else self._plugged(answer.x)

    def tidiest(self, shortage: float) -> Flags | None:
        """Among those short of no more, the one with few pluggings in and much charge, or the best found in time."""
        no_worse = self._at_most(self.shortage[None, :], shortage + TOUCH)
        answer = self._solved(self.tidiness, whole=True, more=[no_worse])
        return None if answer.x is None else self._plugged(answer.x)

    def _solved(self, wanted: Floats, *, whole: bool, more: list[Any] | None = None) -> Any:
        return self._milp(
            wanted, constraints=[self._rows, *(more or [])], bounds=self._bounds,
            integrality=self._whole if whole else None, options={"time_limit": LONGEST_S if whole else math.inf},
        )  # fmt: skip

    def _at_most(self, rows: Any, right: Any) -> Any:
        return self._constraint(rows, -np.inf, right)

    def _plugged(self, x: Floats) -> Flags:
        return x[: self._n * self._t].reshape(self._n, self._t) > 0.5
