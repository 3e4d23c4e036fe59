"""How long a row stands for, where no one has said, over all logs of a unit."""

from __future__ import annotations

import numpy as np

from slackwater.reading.log import Times
from slackwater.reading.steps import usual_step

DECIDED = 2 / 3  # a share of equal steps that two combs, which have two steps in turn, do not reach


def usual_step_ms(stamps_ms: Times) -> int:
    """The usual step of increasing stamps in ms; 0 if there are fewer than two.

    Two combs of stamps that lie between one another, as a clock that ran back leaves them, give a
    short and a long step in turn. There, the step from each stamp to the next but one is the usual
    one. Depends on the set of stamps only, so that a file and its pieces give the same answer.

    >>> usual_step_ms(np.array([0, 300, 600, 1200, 1500]))
    300
    >>> usual_step_ms(np.array([0, 3, 10, 13, 20, 23, 30, 33, 40]))
    10
    """
    step = usual_step(stamps_ms).every_ms
    steps = np.diff(stamps_ms)
    if len(stamps_ms) < 5 or np.count_nonzero(steps == step) > DECIDED * len(steps):
        return step
    over_one = usual_step(stamps_ms[::2]), usual_step(stamps_ms[1::2])
    double = max(each.every_ms for each in over_one)
    in_turn = all(each.share > 0.8 and 10 * abs(each.every_ms - double) <= double for each in over_one)
    uneven = 10 * abs(double - 2 * step) > 2 * step
    return double if in_turn and uneven else step
