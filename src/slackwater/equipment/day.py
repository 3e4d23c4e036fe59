"""A day to be planned: units, trips and sockets in slots of time, and what becomes of the charge by a plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DRY, SHORT = 3.0, 1.0  # ours: a percent run dry at the bed weighs more than one short for a trip
TOUCH = 1e-6


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

    shortage: percent short for trips, and weighted, run dry. empty: units that would run down at the bed.
    sockets_needed: how many sockets would leave nothing short; None: it is no matter of sockets.
    """

    slot_min: int
    plugged: NDArray[np.bool_]
    percent: NDArray[np.float64]
    short: tuple[Short, ...]
    empty: tuple[int, ...]
    shortage: float
    sockets_needed: int | None = None

    @property
    def holds(self) -> bool:
        return not self.short and not self.empty

    @property
    def starts(self) -> int:
        """How often a unit is plugged in."""
        return sum(len(self.stretches(unit)) for unit in range(len(self.plugged)))

    def stretches(self, unit: int) -> tuple[tuple[int, int], ...]:
        """When the unit is on the mains: (from, to) in minutes from now."""
        edges = np.flatnonzero(np.diff(np.concatenate(([0], self.plugged[unit].astype(np.int8), [0]))))
        return tuple((int(a) * self.slot_min, int(b) * self.slot_min) for a, b in edges.reshape(-1, 2))


@dataclass(frozen=True, eq=False)
class Day:
    """What is to be planned, in slots of time."""

    units: Sequence[PlannedUnit]
    trips: Sequence[PlannedTrip]
    sockets: int
    slots: int
    slot_min: int

    @property
    def free(self) -> NDArray[np.bool_]:
        """Units x slots: those in which a unit is not away for any part of a trip."""
        free = np.ones((len(self.units), self.slots), dtype=np.bool_)
        for trip in self.trips:
            end = min(math.ceil((trip.start_min + trip.planned_min) / self.slot_min), self.slots)
            free[trip.unit, self.slot_of(trip) : end] = False
        return free

    def slot_of(self, trip: PlannedTrip) -> int:
        """At whose edge its charge is reckoned."""
        return min(max(int(trip.start_min // self.slot_min), 0), self.slots)

    def need(self, trip: PlannedTrip) -> float:
        """Percent at that edge; what it loses between the edge and its leaving is needed too."""
        unit = self.units[trip.unit]
        waits_min = max(trip.start_min - self.slot_of(trip) * self.slot_min, 0.0)
        return unit.lowest + (trip.needed_min + waits_min) * unit.loses

    def by_urgency(self, stays: float) -> NDArray[np.bool_]:
        """Plugged in is who has least time to spare, until it runs dry or its trip would leave short.

        stays: slots by which who is on the mains counts as more urgent, so that it is not changed all the time.
        """
        percent = np.array([unit.percent for unit in self.units])
        gains, loses = self._rates()
        free = self.free
        plugged = np.zeros(free.shape, dtype=np.bool_)
        for s in range(self.slots):
            spare_min = percent / np.maximum(loses, TOUCH)
            for trip in self.trips:
                u, wait_min = trip.unit, (self.slot_of(trip) - s) * self.slot_min
                if wait_min > 0:
                    spare_min[u] = min(spare_min[u], (percent[u] - self.need(trip)) / max(loses[u], TOUCH) - wait_min)
            spare_min -= stays * self.slot_min * (plugged[:, s - 1] if s else 0)
            spare_min[~free[:, s] | (percent >= 100.0)] = np.inf
            first = np.argsort(spare_min, kind="stable")[: self.sockets]
            plugged[first[np.isfinite(spare_min[first])], s] = True
            percent = np.clip(percent + self.slot_min * np.where(plugged[:, s], gains, -loses), 0.0, 100.0)
        return plugged

    def _rates(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        return np.array([unit.gains for unit in self.units]), np.array([unit.loses for unit in self.units])

    def followed(self, plugged: NDArray[np.bool_]) -> DayPlan:
        """What becomes of the charge by such a plan, slot by slot."""
        percent = np.empty((len(self.units), self.slots + 1))
        percent[:, 0] = [unit.percent for unit in self.units]
        gains, loses = self._rates()
        dry = np.zeros(len(self.units))
        for s in range(self.slots):
            level = percent[:, s] + self.slot_min * np.where(plugged[:, s], gains, -loses)
            dry += np.maximum(-level, 0.0)
            percent[:, s + 1] = np.clip(level, 0.0, 100.0)
        missing = [self.need(trip) - float(percent[trip.unit, self.slot_of(trip)]) for trip in self.trips]
        short = tuple(
            Short(j, percents, percents / max(self.units[self.trips[j].unit].loses, TOUCH))
            for j, percents in enumerate(missing) if percents > TOUCH
        )  # fmt: skip
        empty = tuple(int(u) for u in np.flatnonzero(dry > TOUCH))
        shortage = DRY * float(dry.sum()) + SHORT * sum(one.percent for one in short)
        return DayPlan(self.slot_min, plugged, percent, short, empty, shortage)
