"""How many ended, why, and when: counts on whole units of time, which add up over cohorts.

Everything about times to an end is worked out of these counts alone. So ties are exact, no row is sorted, the
order of patients cannot matter, and the counts of two cohorts without a patient in common are those of both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.errors import UsageError

Ints = NDArray[np.int64]
CENSORED = 0
LONGEST = 1 << 24
"""Units of time; in minutes 32 years. A longer time is a slip of the unit, and would cost memory."""


@dataclass(frozen=True, eq=False)
class Ends:
    """counts: (1 + causes, length), read-only; counts[0, t] were followed to t and no further (censored),
    counts[k, t] ended by cause k at t. The unit of time is the caller's, the same for all that is added or compared.
    """

    counts: Ints

    def __post_init__(self) -> None:
        self.counts.setflags(write=False)

    def __add__(self, other: Ends) -> Ends:
        """Both cohorts together; no patient may be in both."""
        rows, length = (max(a, b) for a, b in zip(self.counts.shape, other.counts.shape, strict=True))
        return Ends(padded(self.counts, rows, length) + padded(other.counts, rows, length))

    @property
    def n(self) -> int:
        return int(self.counts.sum())

    @property
    def causes(self) -> int:
        return len(self.counts) - 1

    @property
    def last(self) -> int:
        """The latest time anybody was followed to; -1 where nobody was."""
        left = np.flatnonzero(self.counts.any(axis=0))
        return int(left[-1]) if len(left) else -1

    @property
    def at_risk(self) -> Ints:
        """(length,): how many were still there just before t."""
        left = self.counts.sum(axis=0)
        there: Ints = left - left.cumsum() + left.sum()
        return there

    def ended(self, cause: int | None = None) -> Ints:
        """(length,): how many ended at t, by that cause or, with None, by any."""
        if cause is None:
            total: Ints = self.counts[1:].sum(axis=0) if self.causes != 1 else self.counts[1]
            return total
        if not 1 <= cause <= self.causes:
            raise UsageError(f"there is no cause {cause}", where="ends", mend=f"Causes are 1 to {self.causes}.")
        of_cause: Ints = self.counts[cause]
        return of_cause


def count_ends(times: ArrayLike, ends: ArrayLike, causes: int = 1) -> Ends:
    """The counts of one cohort, one row a patient.

    times: (n,) whole numbers from 0; ends: (n,) 0 where the patient was followed no further, else the cause 1 to
    `causes`. Times must be whole already: rounding them is a choice about ties, and not ours.

    >>> count_ends([2, 2, 3], [1, 0, 1]).counts.tolist()
    [[0, 0, 1, 0], [0, 0, 1, 1]]
    """
    when, why = np.asarray(times), np.asarray(ends)
    if when.shape != why.shape or when.ndim != 1:
        raise UsageError(f"{when.shape} times and {why.shape} ends", where="ends", mend="Give one of each a patient.")
    if not len(when):
        return Ends(np.zeros((1 + causes, 0), np.int64))
    if when.dtype.kind not in "iu" or why.dtype.kind not in "iub":
        raise UsageError("a time or an end is not a whole number", where="ends", mend="Give times in whole minutes.")
    longest = int(when.max())
    if when.min() < 0 or longest > LONGEST:
        raise UsageError("a time is negative, or longer than 32 years in minutes", where="ends", mend="Check its unit.")
    if why.dtype.kind != "b" and (why.min() < 0 or why.max() > causes):
        raise UsageError(f"an end is not 0 to {causes}", where="ends", mend="Say how many causes there are.")
    length = longest + 1
    cell = why.astype(np.int64)
    cell *= length
    cell += when
    return Ends(np.bincount(cell, minlength=(1 + causes) * length).reshape(1 + causes, length))


def padded(counts: Ints, rows: int, length: int) -> Ints:
    """To that many rows and columns; nobody leaves in what is added."""
    if counts.shape == (rows, length):
        return counts
    return np.pad(counts, ((0, rows - counts.shape[0]), (0, length - counts.shape[1])))
