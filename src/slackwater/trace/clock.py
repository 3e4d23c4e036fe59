"""Stamps that no clock writes while it runs forward: combs of rows lying between one another."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import Times


def interleaved(stamps_ms: Times, every_ms: int) -> NDArray[np.bool_]:
    """Stamps (increasing) of a stretch in which two or three combs of rows lie between one another.

    A clock that ran back while the unit logged on leaves `p, q, p + every, q + every, ...`: each
    stamp comes again `every` later, with others between that do not share the time evenly. Two such
    places in a row are asked for, so that one late row is not taken for it; steps may be off by a
    tenth. Evenly shared time is left alone: that is a log quicker than was said.

    >>> interleaved(np.array([0, 10, 20, 23, 30, 33, 40, 50]), 10).astype(int).tolist()
    [0, 0, 1, 1, 1, 1, 1, 0]
    """
    marked = np.zeros(len(stamps_ms), np.bool_)
    steps = np.diff(stamps_ms)
    for combs in (2, 3):
        if len(stamps_ms) < combs + 2:
            break
        whole = stamps_ms[combs:] - stamps_ms[:-combs]
        again = 10 * np.abs(whole - every_ms) <= every_ms
        uneven = np.zeros(len(whole), np.bool_)
        for k in range(combs):
            step = steps[k : k + len(whole)]
            uneven |= 10 * np.abs(combs * step - every_ms) > combs * every_ms
        found = again & uneven
        pair = found[:-1] & found[1:]
        for k in range(combs + 2):
            marked[k : k + len(pair)] |= pair
    return marked
