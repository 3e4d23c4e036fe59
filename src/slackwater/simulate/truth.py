"""What was really so: the lung's leak, the way out, and every fault, by minute."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.simulate.course import Pattern
from slackwater.simulate.si import BoolArray, FloatArray


@dataclass(frozen=True)
class Truth:
    """One entry a minute from connection. Nothing of this is in the log.

    leak_rest_ml_per_min: air leaving the lung at rest, mean of the minute, wherever it goes.
    leak_effort_ml_per_min: what cough and walking add to it, mean of the minute.
    conductance_ml_per_min_per_cmh2o: how leaky the lung is at rest.
    effort_conductance_ml_per_min_per_cmh2o: what opens in addition under effort.
    tube_open: the way from pleura to the unit was open all minute and the unit was on it.
    swing_cmh2o: size of the breathing swing at the unit; space_ml: air beside the lung.
    faults: names of the faults of that minute.
    ended_s, rest_ended_s: seconds after connection at which the last leak, and the leak at
    rest, truly ended; None if there was none or it goes on.
    """

    pattern: Pattern
    ever_leaked: bool
    ended_s: float | None
    rest_ended_s: float | None
    leak_rest_ml_per_min: FloatArray
    leak_effort_ml_per_min: FloatArray
    conductance_ml_per_min_per_cmh2o: FloatArray
    effort_conductance_ml_per_min_per_cmh2o: FloatArray
    tube_open: BoolArray
    swing_cmh2o: FloatArray
    space_ml: FloatArray
    faults: tuple[tuple[str, ...], ...]

    @property
    def minutes(self) -> int:
        """Length of the stay."""
        return self.leak_rest_ml_per_min.size

    @property
    def leaking_at_end(self) -> bool:
        """Whether the lung still leaks, at rest or under effort, in the last minute."""
        return self.ever_leaked and self.ended_s is None
