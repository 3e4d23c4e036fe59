"""Which known word was probably meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def plain_word(text: str) -> str:
    """A word as word lists hold it: lower case, with `_` for spaces and hyphens.

    >>> plain_word(" No leak ")
    'no_leak'
    """
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The known word most like this one, if one is like it at all.

    >>> nearest("plural", ["pleural", "mediastinal"])
    'pleural'
    """
    close = get_close_matches(word, list(words), n=1, cutoff=0.7)
    return close[0] if close else None


def meant(word: str, words: Iterable[str]) -> str:
    """The mend for a word outside its closed list: the nearest first, then the list."""
    listed = list(words)
    close = nearest(word, listed)
    guess = f"Did you mean {close!r}? " if close else ""
    return f"{guess}Write one of: {', '.join(listed)}."


def one_slip_apart(word: str, known: str) -> bool:
    """Whether one letter too many, too few, wrong or swapped with its neighbour parts the two.

    >>> one_slip_apart("fluid_ouput", "fluid_output"), one_slip_apart("sputum", "fluid_output")
    (True, False)
    """
    if word == known or abs(len(word) - len(known)) > 1:
        return False
    start = 0
    while start < min(len(word), len(known)) and word[start] == known[start]:
        start += 1
    rest, other = word[start:], known[start:]
    if len(rest) == len(other):
        swapped = rest[:2] == other[1::-1] and rest[2:] == other[2:]
        return rest[1:] == other[1:] or swapped
    longer, shorter = (rest, other) if len(rest) > len(other) else (other, rest)
    return longer[1:] == shorter
