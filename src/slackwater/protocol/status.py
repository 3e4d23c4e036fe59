"""The five answers a clause can have, and how answers combine."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.int8]


class Status(IntEnum):
    """Lowest first: 'all of' takes the lowest and passes over `NOT_APPLICABLE`.

    It has no truth value on purpose: 'cannot tell' is neither yes nor no.
    """

    NOT_MET = 0
    CANNOT_TELL = 1
    MET_WITH_GAPS = 2
    MET = 3
    NOT_APPLICABLE = 4

    def __bool__(self) -> bool:
        raise TypeError("a status is not yes or no; compare it with Status.MET and the others by name")

    @property
    def word(self) -> str:
        """As written in files: `not_met`, `cannot_tell`, ..."""
        return self.name.lower()

    @property
    def said(self) -> str:
        """As people read it: 'not met', 'met with gaps', ..."""
        return "does not apply" if self is Status.NOT_APPLICABLE else self.word.replace("_", " ")


HOLDS = (Status.MET, Status.MET_WITH_GAPS)


def all_of(statuses: Iterable[Status]) -> Status:
    """Strong Kleene 'and' over five values.

    >>> all_of([Status.MET, Status.CANNOT_TELL, Status.NOT_APPLICABLE]).word
    'cannot_tell'
    >>> all_of([]).word
    'not_applicable'
    """
    return min(statuses, default=Status.NOT_APPLICABLE)


def all_of_codes(columns: Iterable[Codes], length: int) -> Codes:
    """`all_of` minute by minute; every column has `length` codes."""
    lowest = np.full(length, Status.NOT_APPLICABLE, dtype=np.int8)
    for column in columns:
        np.minimum(lowest, column, out=lowest)
    return lowest
