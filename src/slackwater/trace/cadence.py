"""How long a row stands for, where no one has said: the usual step between stamps."""

from __future__ import annotations

import numpy as np

from slackwater.reading.log import Times


def usual_step_ms(stamps_ms: Times) -> int:
    """The usual step of increasing stamps in ms; 0 if there are fewer than two.

    The commonest step (of equals, the shortest), then the middle one of all steps within a quarter
    of it, so that jitter does not decide. Two combs of stamps that lie between one another, as a
    clock that ran back leaves them, give two short steps in turn: there the step from each stamp to
    the next but one is the usual one. Depends on the set of stamps only, so that a file and its
    pieces give the same answer.

    >>> usual_step_ms(np.array([0, 300, 600, 1200, 1500]))
    300
    >>> usual_step_ms(np.array([0, 3, 10, 13, 20, 23, 30, 33, 40]))
    10
    """
    if len(stamps_ms) < 2:
        return 0
    steps = np.diff(stamps_ms)
    step, share = _commonest(steps)
    if share > 0.5 or len(stamps_ms) < 5:
        return step
    double, share = _commonest(stamps_ms[2:] - stamps_ms[:-2])
    in_turn = abs(double - 2 * step) * 10 > 2 * step and share > 0.5
    return double if in_turn else step


def _commonest(steps: Times) -> tuple[int, float]:
    values, counts = np.unique(steps, return_counts=True)
    best = int(values[np.argmax(counts)])
    near = np.sort(steps[4 * np.abs(steps - best) <= best])
    return int(near[(len(near) - 1) // 2]), float(counts.max()) / len(steps)
