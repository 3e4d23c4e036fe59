"""Laws of order: more leak is never better, a looser rule never stricter, a coarser display never surer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from property.protocol_draws import (
    FLUID,
    LAW,
    OXYGEN,
    air,
    air_rules,
    first,
    full_rules,
    judge,
    minutes,
    records,
    rule,
    scenes,
    statuses,
    stretches,
)
from slackwater.protocol import Protocol, Status

exact = st.lists(st.integers(0, 129), min_size=4, max_size=30)


@LAW
@given(air_rules(gaps=(0, 2)), records, st.data())
def test_more_leak_never_raises_the_answer_and_never_brings_it_earlier(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    """M12, with the doubt held fixed."""
    step = data.draw(st.sampled_from((None, "10 mL/min")))
    shown = {"rounding": data.draw(st.sampled_from(("nearest", "floor", "ceil", "unknown")))}
    shown |= {"step": step} if step else {}
    more = data.draw(st.lists(st.integers(0, 8), min_size=len(record), max_size=len(record)))
    raised = [value if isinstance(value, str) else value + 10 * by for value, by in zip(record, more, strict=True)]
    before, after = air(rule_, record, **shown), air(rule_, raised, **shown)
    assert (after <= before).all()
    assert first(after) >= first(before)


@LAW
@given(full_rules(), scenes(), st.data())
def test_more_fluid_never_raises_the_answer(rule_: Protocol, scene: dict[str, Any], data: st.DataObject) -> None:
    """M12 for fluid."""
    at = data.draw(st.integers(0, len(scene["fluid_output"]) - 1))
    span, amount = scene["fluid_output"][at]
    if amount == "blank":
        return
    by = data.draw(st.integers(1, 60))
    raised = [*scene["fluid_output"]]
    raised[at] = [span, f"{int(amount.split()[0]) + by} mL"]
    before, after = judge(rule_, scene), judge(rule_, {**scene, "fluid_output": raised})
    assert statuses(after)["fluid"] <= statuses(before)["fluid"]
    assert after.overall <= before.overall


@LAW
@given(air_rules(gaps=(0, 2)), records, st.integers(1, 5), st.integers(0, 11))
def test_a_higher_limit_or_a_shorter_time_never_lowers_the_answer(
    rule_: Protocol, record: list[Any], tens: int, shorter: int
) -> None:
    """M14."""
    clause = rule_.removal[0]
    assert clause.limit is not None
    assert clause.lasting_s is not None
    strict = {"how": clause.comparison, "bin": clause.bin_min, "gaps": round(rule_.gaps_s / 60)}
    lasting = round(clause.lasting_s / 60)
    tight = air(rule_, record)
    higher = air(rule(limit=clause.limit + 10 * tens, lasting=lasting, **strict), record)
    briefer = air(rule(limit=clause.limit, lasting=max(lasting - shorter, clause.bin_min or 1), **strict), record)
    assert (higher >= tight).all()
    assert (briefer >= tight).all()


@LAW
@given(scenes())
def test_a_clause_more_never_raises_the_whole(scene: dict[str, Any]) -> None:
    """M14: dropped clauses never lower, added ones never raise."""
    fluid = FLUID.format(how="at_most", limit=30)
    wholes = [judge(rule(more=more), scene).overall for more in ("", fluid, fluid + OXYGEN)]
    assert wholes[0] >= wholes[1] >= wholes[2]


@LAW
@given(full_rules(), scenes())
def test_the_whole_is_the_lowest_of_its_parts(rule_: Protocol, scene: dict[str, Any]) -> None:
    """M15, over real evaluations: a decided whole does not hang on what is undecided."""
    found = judge(rule_, scene)
    parts = [part.status for part in (*found.criteria, *found.guards)] + [found.population.status]
    counted = [status for status in parts if status is not Status.NOT_APPLICABLE]
    assert found.overall is min(counted)
    columns = [part.timeline for part in (*found.criteria, *found.guards)]
    assert np.array_equal(
        found.timeline, np.minimum.reduce([*columns, np.full_like(found.timeline, found.population.status)])
    )


ROUND = {
    "nearest": lambda value: (value + 5) // 10 * 10,
    "floor": lambda value: value // 10 * 10,
    "ceil": lambda value: -(-value // 10) * 10,
}


@LAW
@given(air_rules(("below", "at_most", "at_least", "above")), exact, st.sampled_from(tuple(ROUND)))
def test_what_is_decided_on_printed_values_holds_for_the_values_behind_them(
    rule_: Protocol, values: list[int], rounding: str
) -> None:
    """M29: every true series in the same cells gives the same decided answer."""
    printed = air(rule_, [ROUND[rounding](value) for value in values], step="10 mL/min", rounding=rounding)
    true = air(rule_, values)
    decided = printed != Status.CANNOT_TELL
    assert np.array_equal(printed[decided], true[decided])


@LAW
@given(air_rules(("below", "at_most", "at_least", "above")), exact, st.data())
def test_two_series_within_the_same_uncertainty_never_stand_at_met_and_not_met(
    rule_: Protocol, values: list[int], data: st.DataObject
) -> None:
    """M37: a change inside the cells moves a decided answer nowhere else than to 'cannot tell'."""
    inside = [data.draw(st.integers(value // 10 * 10, value // 10 * 10 + 9)) for value in values]
    printed = air(rule_, [value // 10 * 10 for value in values], step="10 mL/min", rounding="floor")
    one, other = air(rule_, values), air(rule_, inside)
    opposed = one != other
    assert (printed[opposed] == Status.CANNOT_TELL).all()


@LAW
@given(air_rules(("below", "at_most", "at_least", "above")), minutes, st.sampled_from(tuple(ROUND)))
def test_a_wider_cell_never_decides_what_a_narrower_one_left_open(
    rule_: Protocol, record: list[Any], rounding: str
) -> None:
    """M37: a declared uncertainty that grows moves answers only to 'cannot tell'."""
    narrow = air(rule_, record, step="10 mL/min", rounding=rounding)
    wide = air(rule_, record, step="10 mL/min", rounding="unknown")
    decided = wide != Status.CANNOT_TELL
    assert np.array_equal(wide[decided], narrow[decided])


@LAW
@given(air_rules(("below", "at_most", "at_least", "above"), gaps=(0, 2)), records, st.data())
def test_a_change_of_suction_never_raises_an_answer_and_starts_the_run_anew(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    """M20: after the change nothing is met sooner than the rule's own time."""
    age = data.draw(st.integers(0, len(record)))
    connected = data.draw(st.sampled_from(("start", "unknown")))
    before = air(rule_, record, connected=connected)
    after = air(rule_, record, connected=connected, suction_change=[f"{age} min ago"])
    assert (after <= before).all()
    lasting = round((rule_.removal[0].lasting_s or 60) / 60)
    changed = len(record) - age
    met = np.flatnonzero((after == Status.MET) | (after == Status.MET_WITH_GAPS)) + 1
    assert not ((met > changed) & (met < changed + lasting)).any()
    earlier = max(changed - 1, 0)  # at the very end of a minute the change has happened
    assert np.array_equal(after[:earlier], before[:earlier])


@settings(LAW, max_examples=50)
@given(st.integers(1, 400), st.sampled_from((None, 1, 3, 7)), st.integers(1, 12))
def test_each_comparison_has_one_answer_at_the_limit_and_beside_it(limit: int, bin: int | None, lasting: int) -> None:
    """M28: limit minus one, limit, plus one; a run of exactly the length, and a minute less."""
    wanted = {"below": "100", "at_most": "110", "at_least": "011", "above": "001"}
    lasting = length = max(lasting, bin or 1)
    for how, answers in wanted.items():
        for flow, passes in zip((limit - 1, limit, limit + 1), answers, strict=True):
            codes = air(rule(how, limit, bin, lasting), [flow] * (length + 2))
            assert Status(int(codes[-1])) is (Status.MET if passes == "1" else Status.NOT_MET)
            if passes == "1":
                assert first(codes) == length


@LAW
@given(air_rules(("below", "at_most")), records, st.data())
def test_every_minute_that_a_met_answer_rests_on_is_needed(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    """M42: without any part of the listed evidence it is not met."""
    record = [*record, *[0] * data.draw(st.integers(0, 14))]
    found = judge(rule_, {"air_leak": stretches(record), "tube_open": "shown"})
    (clause,) = found.criteria
    if clause.status is not Status.MET:
        return
    (span,) = clause.evidence
    start = found.as_of_ms - len(record) * 60_000
    for minute in range((span.from_ms - start) // 60_000, (span.to_ms - start) // 60_000):
        assert air(rule_, [*record[:minute], "missing", *record[minute + 1 :]])[-1] != Status.MET


@LAW
@given(air_rules(("below", "at_most")), records)
def test_what_is_waited_for_comes_no_sooner_than_it_is_said_to(rule_: Protocol, record: list[Any]) -> None:
    """M42: with nothing but quiet from now on the clause is met, and not before the moment named."""
    clause = rule_.removal[0]
    assert clause.lasting_s is not None
    found = judge(rule_, {"air_leak": stretches(record), "tube_open": "shown"})
    named = [need.by_ms for need in found.criteria[0].needs if need.by_ms is not None]
    if found.criteria[0].status is Status.MET or not named:
        return
    ahead = round(clause.lasting_s / 60) + 2 * (clause.bin_min or 1) + 60
    codes = air(rule_, [*record, *[0] * ahead])
    due = (named[0] - found.as_of_ms) // 60_000 + len(record)
    later = np.flatnonzero(codes[len(record) :] == Status.MET) + len(record) + 1
    assert len(later), "quiet long enough meets it"
    assert later[0] >= due
    if clause.bin_min is None:
        assert later[0] == due


@pytest.mark.parametrize("how", ["below", "at_most", "at_least", "above"])
def test_scaling_everything_changes_nothing(how: str) -> None:
    """A limit in L/min is the same limit."""
    from property.protocol_draws import RULE
    from slackwater.protocol import load_protocol

    text = RULE.format(how=how, limit=50, bin="", lasting=8, gaps=0, more="")
    litres = load_protocol(text.replace("50 mL/min", "0.05 L/min").encode(), "x")
    millilitres = load_protocol(text.encode(), "x")
    for flow in (49, 50, 51):
        assert np.array_equal(air(litres, [flow] * 10), air(millilitres, [flow] * 10))
