"""Who charges when, so that every planned trip starts with enough.

Charge is reckoned with from its low end, its loss from its high end and its gain from its low end, so a plan that
holds, holds for what is not known too. Where no plan does, the one that is short of least is given (of those found in
time), and what it is short of.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace

from slackwater.equipment.day import Day, DayPlan, PlannedTrip, PlannedUnit, Short
from slackwater.equipment.day_program import DayProgram
from slackwater.errors import QuantityError

SLOT_MIN = 30
MOST_UNITS, MOST_SLOTS = 40, 96
STAYS = (0.0, 1.0, 2.0, 4.0)  # slots
SLACK = 1e-4  # percent; nearer than that two plans are as good


def plan_day(
    units: Sequence[PlannedUnit], trips: Sequence[PlannedTrip], sockets: int, minutes: float, slot_min: int = SLOT_MIN
) -> DayPlan:  # fmt: skip
    """The plan for the next `minutes`. Raises MissingPart without scipy, QuantityError for what is no day."""
    slots = math.ceil(minutes / slot_min)
    if not 0 < slots <= MOST_SLOTS or not 0 < len(units) <= MOST_UNITS or sockets < 0:
        raise QuantityError("no such day can be planned", mend=f"Give 1 to {MOST_UNITS} units and sockets from 0 on.")
    day = Day(units, trips, sockets, slots, slot_min)
    program = DayProgram(day)
    found = _shortest(day, program)
    tidy = program.tidiest(found.shortage)
    if tidy is not None:
        tidied = day.followed(tidy)
        found = tidied if tidied.shortage <= found.shortage + SLACK else found
    if found.holds:
        return found

    def enough(number: int) -> bool:
        more = replace(day, sockets=number)
        return _shortest(more, DayProgram(more)).holds

    more = range(sockets + 1, len(units) + 1)
    if not more or not enough(len(units)):
        return found
    return replace(found, sockets_needed=more[bisect_left(more[:-1], True, key=enough)])


def _shortest(day: Day, program: DayProgram) -> DayPlan:
    """Short of least, of those found in time; of those as good the one with fewest pluggings in."""
    found = [day.followed(day.by_urgency(stays)) for stays in STAYS]
    if min(one.shortage for one in found) > program.least() + SLACK:
        whole = program.shortest()
        found += [] if whole is None else [day.followed(whole)]
    enough = min(one.shortage for one in found) + SLACK
    return min((one for one in found if one.shortage <= enough), key=lambda one: one.starts)


__all__ = ["DayPlan", "PlannedTrip", "PlannedUnit", "Short", "plan_day"]
