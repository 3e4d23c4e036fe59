"""Where the work on many drains is done: in this process, in spawned processes, or on a Dask cluster by its address.

An engine is used as `map` is: results come in the order of what was given.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Any, TypeVar

from slackwater.audit.workers import workers
from slackwater.errors import MissingPart, SlackwaterError, UsageError

Over = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]
Item = TypeVar("Item")

CHUNK = 16  # drains a task: a task by network costs some milliseconds


@dataclass(frozen=True)
class Failed:
    """A drain that could not be worked on; the others go on."""

    item: str
    why: str


@contextmanager
def engine(where: str = "1") -> Iterator[Over]:
    """`where`: how many processes (1: this one), or the address of a Dask scheduler such as tcp://host:8786.

    Raises UsageError for an address that is none, or where nobody answers; MissingPart without Dask.
    """
    if where.isascii() and where.isdecimal() and int(where) >= 1:
        with workers(int(where)) as over:
            yield over
        return
    if not re.match(r"(tcp|tls|ucx|inproc)://", where):
        raise UsageError(f"{where!r} is neither a number nor an address", mend="Write --jobs 2, or tcp://host:8786.")
    with _cluster(where) as over:
        yield over


@contextmanager
def _cluster(address: str) -> Iterator[Over]:
    try:
        import distributed
    except ImportError as error:
        raise MissingPart("a cluster needs Dask", mend="Install it: pip install 'slackwater[cluster]'.") from error
    try:
        client: Any = distributed.Client(address, timeout=5, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError) as error:
        raise UsageError(f"no scheduler answers at {address}", mend="Start it: dask scheduler.") from error
    with client, client.get_executor() as executor:
        yield executor.map


def each(over: Over, function: Callable[[Item], Any], items: Sequence[Item], chunk: int = CHUNK) -> Iterator[Any]:
    """function(item) for every item, in order; `Failed` for one that it refused. What is sent must pickle."""
    left = iter(items)
    chunks = iter(lambda: tuple(islice(left, chunk)), ())
    for results in over(partial(_chunk, function), list(chunks)):
        yield from results


def _chunk(function: Callable[[Any], Any], items: Sequence[Any]) -> list[Any]:
    return [_one(function, item) for item in items]


def _one(function: Callable[[Any], Any], item: Any) -> Any:
    try:
        return function(item)
    except SlackwaterError as error:
        return Failed(str(getattr(item, "drain", item)), str(error))
    except Exception as error:  # noqa: BLE001  one drain must not end the work on a thousand; it is reported
        return Failed(str(getattr(item, "drain", item)), f"the program failed: {type(error).__name__}: {error}")
