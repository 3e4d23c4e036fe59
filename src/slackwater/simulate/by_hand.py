"""What somebody does at a bench, in place of what chance would do: the leak set, coughs, walks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from slackwater.simulate.course import REFERENCE_DRIVE_CMH2O, Course
from slackwater.simulate.rhythm import Rhythm
from slackwater.simulate.si import PASCAL_PER_CMH2O, FloatArray, conductance_si


@dataclass(frozen=True)
class ByHand:
    """leak: (from minute, at rest, with effort besides), mL/min at 20 cmH2O. walks: (from minute, to minute).

    Seconds and minutes count from connection; cough_cmh2o is the peak of each cough.
    """

    leak: tuple[tuple[int, float, float], ...] = ()
    coughs_s: tuple[float, ...] = ()
    walks: tuple[tuple[int, int], ...] = ()
    cough_cmh2o: float = 60.0

    def course(self, minutes: int) -> Course:
        """The leak as it was set."""
        unit = conductance_si(1.0, REFERENCE_DRIVE_CMH2O)
        rest = _steps([(at, level) for at, level, _ in self.leak], minutes) * unit
        effort = _steps([(at, level) for at, _, level in self.leak], minutes) * unit
        rest.setflags(write=False)
        effort.setflags(write=False)
        return Course("plateau" if rest.any() else "none", rest, effort)

    def rhythm(self, drawn: Rhythm) -> Rhythm:
        """The drawn breathing with these coughs and walks alone, so that a later one changes nothing before it."""
        walking = np.zeros_like(drawn.walking)
        for first, end in self.walks:
            walking[first:end] = True
        coughs = np.array(sorted(self.coughs_s), dtype=np.float64)
        peak = np.full(coughs.size, self.cough_cmh2o * PASCAL_PER_CMH2O)
        return replace(drawn, walking=walking, cough_s=coughs, cough_pa=peak)


def _steps(levels: Sequence[tuple[int, float]], minutes: int) -> FloatArray:
    out = np.zeros(minutes)
    for at, level in levels:
        out[at:] = level
    return out
