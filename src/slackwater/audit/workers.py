"""`map` over several processes, one pipe each: what stops the work stops them at once, and leaves nothing behind.

The standard pools pass work through queues with threads, which may wait for ever on a process that was stopped.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from multiprocessing import get_context, resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from slackwater.forecast.learn import Over


@contextmanager
def workers(count: int) -> Iterator[Over]:
    """As `map`, with results in order, each call read to its end; 1: in this process. What is sent must pickle."""
    if count == 1:
        yield map
        return
    spawn = get_context("spawn")  # a forked process hangs once polars has run
    started: list[SpawnProcess] = []
    pipes: list[Connection] = []
    try:
        for _ in range(count):
            ours, theirs = spawn.Pipe()
            process = spawn.Process(target=_serve, args=(theirs,), daemon=True)
            with _no_interrupt():
                process.start()
            theirs.close()
            started.append(process)
            pipes.append(ours)
        yield lambda function, items: _spread(pipes, function, items)
    finally:
        for process in started:
            process.terminate()
        for process in started:
            process.join()


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """A process that is started here hears no interrupt before it is set to end without a word, in `_serve`."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # else it is started with the process, and lets interrupts through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _spread(pipes: list[Connection], function: Callable[[Any], Any], items: Iterable[Any]) -> Iterator[Any]:
    """One item at a time to whoever is free."""
    left = enumerate(items)
    at: dict[Connection, int] = {}
    done: dict[int, Any] = {}
    following = 0

    def give(pipe: Connection) -> None:
        for number, item in left:
            at[pipe] = number
            pipe.send((function, item))
            return

    for pipe in pipes:
        give(pipe)
    while at:
        ready = wait(list(at))
        for pipe in [one for one in at if one in ready]:
            well, found = pipe.recv()
            if not well:
                raise found
            done[at.pop(pipe)] = found
            give(pipe)
        while following in done:
            yield done.pop(following)
            following += 1


def _serve(pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # an interrupt at the terminal ends it without a word
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    while True:
        try:
            function, item = pipe.recv()
        except EOFError:  # whoever asked is gone
            return
        try:
            answer = (True, function(item))
        except Exception as error:  # noqa: BLE001  it is raised where the work was asked for
            answer = (False, error)
        pipe.send(answer)
