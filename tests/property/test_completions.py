"""What is said while something is unknown must hold however the unknown turns out.

Every completion of a small record is tried: each unknown minute takes the cell's corners and a middle,
and the clause is answered yes or no on plain numbers. A decided answer must be the answer of all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product
from random import Random

import numpy as np
import pytest

from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.facts import Facts, Signal
from slackwater.protocol.load import load_protocol
from slackwater.protocol.status import Status, all_of, all_of_codes
from slackwater.quantities.spans import MINUTE_MS

RULE = """
name = "small"
version = "1"
status = "draft"
guards = "none"
[evidence]
data_age = "1 h"
gaps = "{gaps} min"
restart_on = ["suction_change"]
[[removal]]
id = "air"
measure = "air_leak"
is = "{how}"
limit = "20 mL/min"
lasting = "{lasting} min"
{bin}
"""
INF = float("inf")
BEYOND = (0, 10, 20, 30, 10_000)  # what an unknown minute may have been
EPSILON = 1e-3  # an open end is never reached, however near one comes


@dataclass(frozen=True)
class Small:
    """One minute after another, each a cell of true values (None: unknown), and how the clause reads them."""

    how: str
    lasting: int
    bin: int | None
    cells: tuple[tuple[float, float] | None, ...]
    floors: tuple[float, ...]  # what was recorded in an unknown minute
    top_open: bool
    connected: int | None  # minute of the record; below zero: before it
    restart: int | None
    gaps: int


def small(chance: Random, *, late: bool = False) -> Small:
    """One small case; `late`: the record begins less than `lasting` ago, the drain was there before it."""
    length = chance.randint(2, 8)
    lasting = length + 1 if late else chance.randint(1, length)
    top_open = chance.random() < 0.5
    unknown = set(chance.sample(range(length), min(length, chance.choice((0, 0, 1, 1, 2, 3)))))
    cells: list[tuple[float, float] | None] = []
    centre = chance.choice((5, 10, 15, 20, 25))
    for minute in range(length):
        low = float(max(0, centre + chance.choice((-10, -5, 0, 0, 5, 10))))
        width = 10.0 if top_open else chance.choice((0.0, 5.0))
        cells.append(None if minute in unknown else (low, low + width))
    return Small(
        how=chance.choice(("below", "at_most", "at_least", "above")),
        lasting=lasting,
        bin=chance.choice((None, *range(1, lasting + 1))),
        cells=tuple(cells),
        floors=tuple(float(chance.choice((0, 0, 10, 20, 30))) for _ in range(length)),
        top_open=top_open,
        connected=chance.choice((None, -20) if late else (None, 0, 0, 0, chance.randint(0, length - 1))),
        restart=chance.choice((None, None, None, chance.randint(0, length))),
        gaps=chance.choice((0, 0, 1, 2)),
    )


def three_valued(case: Small) -> Status:
    """What the evaluator says now, at the end of the record."""
    known = np.array([cell is not None for cell in case.cells], dtype=np.bool_)
    low = np.array([f if c is None else c[0] for c, f in zip(case.cells, case.floors, strict=True)])
    high = np.array([INF if c is None else c[1] for c in case.cells])
    smallest = np.where(known, low, 0.0)  # an unrecorded reading may have been the smallest
    length = len(case.cells)
    facts = Facts(
        now_ms=length * MINUTE_MS,
        grid_start_ms=0,
        length=length,
        data_until_ms=length * MINUTE_MS,
        connected_ms=None if case.connected is None else case.connected * MINUTE_MS,
        signals={
            ("air_leak", "space"): Signal(
                mean_low=smallest if case.bin is not None else low,
                mean_high=high,
                peak_low=low,
                peak_high=high,
                trough_low=smallest,
                trough_high=high,
                known=known,
                tolerable=~known,
                top_open=case.top_open,
                bottom_open=False,
                reading_s=1.0,
                means=False,
            )
        },
        events={} if case.restart is None else {"suction_change": (case.restart * MINUTE_MS,)},
    )
    text = RULE.format(
        how=case.how,
        lasting=case.lasting,
        gaps=case.gaps,
        bin="" if case.bin is None else f'bin = "{case.bin} min"',
    )
    answer = evaluate(load_protocol(text.encode(), "small"), facts)
    return answer.criteria[0].status


def completions(case: Small) -> Iterator[tuple[float, ...]]:
    """Every combination of corners and middles over the minutes that the last `lasting` holds."""
    looked_at = range(len(case.cells) - case.lasting, len(case.cells))  # below zero: before the record
    choices = []
    for minute in looked_at:
        cell = case.cells[minute] if minute >= 0 else None  # nothing is recorded before the record
        if cell is None:
            largest = case.bin is None and case.how in ("below", "at_most") and minute >= 0
            floor = case.floors[minute] if largest else 0.0
            choices.append(tuple(value for value in BEYOND if value >= floor))
        else:
            top = cell[1] - EPSILON if case.top_open else cell[1]
            choices.append(tuple(sorted({cell[0], (cell[0] + top) / 2, top})))
    return product(*choices)


def connections(case: Small) -> tuple[int, ...]:
    """When the drain may have been connected: known, or long ago, or as the record began."""
    return (-20, 0) if case.connected is None else (case.connected,)


def truths(case: Small) -> set[bool]:
    return {two_valued(case, values, at) for values in completions(case) for at in connections(case)}


def two_valued(case: Small, values: tuple[float, ...], connected: int) -> bool:
    """Has the condition held for `lasting`, given what every minute truly was?"""
    since = connected if case.restart is None else max(connected, case.restart)
    if len(case.cells) - since < case.lasting:
        return False
    size = case.bin or 1
    means = [sum(values[first : first + size]) / size for first in range(len(values) - size + 1)]
    tests = {
        "below": lambda mean: mean < 20,
        "at_most": lambda mean: mean <= 20,
        "at_least": lambda mean: mean >= 20,
        "above": lambda mean: mean > 20,
    }
    return all(tests[case.how](mean) for mean in means)


@pytest.mark.parametrize("seed", range(4))
def test_never_more_definite_than_the_completions_allow(seed: int) -> None:
    assert hold_against_completions(Random(seed), late=False) > 100


@pytest.mark.parametrize("seed", range(11, 13))
def test_a_record_that_begins_late_says_nothing_of_the_time_before(seed: int) -> None:
    hold_against_completions(Random(seed), late=True)


def hold_against_completions(chance: Random, *, late: bool) -> int:
    """Hold 300 cases against all their completions; how many were decided."""
    decided = 0
    for _ in range(300):
        case = small(chance, late=late)
        if len(list(_limited(completions(case), 20_000))) == 20_000:
            continue
        found = truths(case)
        said = three_valued(case)
        if said is Status.MET:
            assert found == {True}, case
        elif said is Status.NOT_MET:
            assert found == {False}, case
        elif said is Status.MET_WITH_GAPS:
            assert case.gaps > 0 and True in found, case
        decided += said in (Status.MET, Status.NOT_MET)
    return decided


@pytest.mark.parametrize("seed", range(4, 8))
def test_with_nothing_unknown_the_answer_is_that_of_the_numbers(seed: int) -> None:
    """Cells of one point and a whole record: nothing is left to be told, so it is told."""
    chance = Random(seed)
    for _ in range(300):
        case = small(chance)
        points = tuple((cell[0], cell[0]) if cell else (15.0, 15.0) for cell in case.cells)
        case = replace(case, cells=points, top_open=False)
        (truth,) = truths(case)
        assert three_valued(case) is (Status.MET if truth else Status.NOT_MET), case


@pytest.mark.parametrize("seed", range(8, 11))
def test_forgetting_a_minute_never_decides(seed: int) -> None:
    """A minute made unknown may turn a decided answer into `cannot_tell`, and nothing else."""
    chance = Random(seed)
    for _ in range(200):
        case = small(chance)
        case = replace(case, gaps=0, floors=(0.0,) * len(case.cells))
        before = three_valued(case)
        for minute in range(len(case.cells)):
            cells = (*case.cells[:minute], None, *case.cells[minute + 1 :])
            after = three_valued(replace(case, cells=cells))
            assert after in (before, Status.CANNOT_TELL), (case, minute)


def _limited(values: Iterator[tuple[float, ...]], most: int) -> Iterator[tuple[float, ...]]:
    for number, value in enumerate(values):
        if number >= most:
            return
        yield value


def definition(statuses: tuple[Status, ...]) -> Status:
    """'All of', as written: the lowest, `not_applicable` passed over."""
    for status in (Status.NOT_MET, Status.CANNOT_TELL, Status.MET_WITH_GAPS, Status.MET):
        if status in statuses:
            return status
    return Status.NOT_APPLICABLE


@pytest.mark.parametrize("number", range(7))
def test_all_of_is_its_definition(number: int) -> None:
    for statuses in product(Status, repeat=number):
        assert all_of(statuses) is definition(statuses)


@pytest.mark.parametrize("number", range(1, 7))
def test_all_of_codes_is_all_of(number: int) -> None:
    every = np.array(list(product(range(5), repeat=number)), dtype=np.int8)
    answer = all_of_codes(every.T, len(every))
    assert answer.tolist() == [definition(tuple(Status(code) for code in row)) for row in every.tolist()]


def test_settling_what_cannot_be_told_never_flips_a_decision() -> None:
    """Strong Kleene: a decided 'all of' stays, whatever its unknown members turn out to be."""
    for statuses in product(Status, repeat=4):
        before = all_of(statuses)
        unknown = [place for place, status in enumerate(statuses) if status is Status.CANNOT_TELL]
        if not unknown or before is Status.CANNOT_TELL:
            continue
        for turned in product((Status.NOT_MET, Status.MET_WITH_GAPS, Status.MET), repeat=len(unknown)):
            settled = list(statuses)
            for place, status in zip(unknown, turned, strict=True):
                settled[place] = status
            assert all_of(settled) is before, (statuses, settled)


def test_an_unknown_member_allows_no_met() -> None:
    for statuses in product(Status, repeat=5):
        if Status.CANNOT_TELL in statuses:
            assert all_of(statuses) in (Status.NOT_MET, Status.CANNOT_TELL)
