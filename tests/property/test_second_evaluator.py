"""Two evaluators, written apart from one page, answer every drawn episode alike."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from oracle.episodes import differing, episode
from property.quick_and_many import DEEP
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.status import Status

EPISODES = int(os.environ.get("SLACKWATER_EPISODES", "2000"))
MANY = 100_000 if DEEP else 8_000


def told(found: list[str], number: int) -> str:
    return f"{len(found)} differences over {number} episodes:\n" + "\n".join(line[:300] for line in found[:40])


def test_both_evaluators_answer_alike() -> None:
    found = differing(0, EPISODES)
    assert not found, told(found, EPISODES)


@pytest.mark.slow
def test_both_evaluators_answer_alike_many_times() -> None:
    """In two spawned processes."""
    half = MANY // 2
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = [line for part in pool.map(differing, (0, half), (half, half)) for line in part]
    assert not found, told(found, MANY)


def test_the_draw_reaches_every_answer() -> None:
    """An agreement says little if the drawn episodes all end in `cannot_tell`."""
    overall: set[Status] = set()
    clauses: set[tuple[str, Status]] = set()
    for seed in range(1500):
        protocol, facts, _ = episode(seed)
        answer = evaluate(protocol, facts)
        overall.add(answer.overall)
        overall.update(Status(code) for code in answer.timeline.tolist())
        for one in (*answer.criteria, *answer.step_down, *answer.escalation):
            assert one.clause is not None
            clauses.add((one.clause.measure.kind, one.status))
    assert overall == set(Status)
    for kind in ("signal", "amount", "number", "word", "since"):
        for status in (Status.NOT_MET, Status.CANNOT_TELL, Status.MET):
            assert (kind, status) in clauses, f"no drawn {kind} clause was {status.word}"
    assert ("signal", Status.MET_WITH_GAPS) in clauses
