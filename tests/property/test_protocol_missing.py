"""Laws of missing data: losing something can only move an answer towards 'cannot tell'."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from property.protocol_draws import (
    COLOUR,
    LAW,
    WORDS,
    air,
    air_rules,
    first,
    full_rules,
    judge,
    records,
    rule,
    scenes,
    statuses,
    stretches,
)
from slackwater.protocol import Protocol, Status

TO_UNKNOWN = {
    Status.MET: {Status.MET, Status.CANNOT_TELL},
    Status.NOT_MET: {Status.NOT_MET, Status.CANNOT_TELL},
    Status.CANNOT_TELL: {Status.CANNOT_TELL},
}


@LAW
@given(air_rules(("below", "at_most", "at_least", "above")), records, st.data())
def test_a_minute_lost_never_makes_a_new_met_or_a_new_not_met(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    """M10 and M19, for air, at every minute."""
    lost = data.draw(st.lists(st.integers(0, len(record) - 1), min_size=1, max_size=4))
    word = data.draw(st.sampled_from(WORDS))
    shorter = [word if place in lost else value for place, value in enumerate(record)]
    connected = data.draw(st.sampled_from(("start", "unknown")))
    before, after = (air(rule_, r, connected=connected) for r in (record, shorter))
    for was, is_ in zip(before, after, strict=True):
        assert Status(int(is_)) in TO_UNKNOWN[Status(int(was))]
    assert first(after) >= first(before)  # M11, its second half


@LAW
@given(air_rules(gaps=(1, 2, 3)), records, st.data())
def test_with_a_tolerance_a_lost_minute_makes_no_new_plain_met(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    """M10 under a gap tolerance: what a gap made possible is called so."""
    lost = data.draw(st.integers(0, len(record) - 1))
    shorter = [*record[:lost], "missing", *record[lost + 1 :]]
    before, after = air(rule_, record), air(rule_, shorter)
    assert not ((after == Status.MET) & (before != Status.MET)).any()


@LAW
@given(air_rules(gaps=(0, 2)), records, st.data())
def test_a_tolerance_only_ever_turns_cannot_tell_into_met_with_gaps(
    rule_: Protocol, record: list[Any], data: st.DataObject
) -> None:
    strict = air(rule(**{**shape(rule_), "gaps": 0}), record)
    loose = air(rule(**{**shape(rule_), "gaps": 2}), record)
    changed = strict != loose
    assert (strict[changed] == Status.CANNOT_TELL).all()
    assert (loose[changed] == Status.MET_WITH_GAPS).all()


def shape(protocol: Protocol) -> dict[str, Any]:
    clause = protocol.removal[0]
    assert clause.limit is not None
    assert clause.lasting_s is not None
    return {
        "how": clause.comparison,
        "limit": clause.limit,
        "bin": clause.bin_min,
        "lasting": round(clause.lasting_s / 60),
    }


@LAW
@given(full_rules(), scenes(), st.data())
def test_a_charted_value_lost_never_makes_a_new_met_or_a_new_not_met(
    rule_: Protocol, scene: dict[str, Any], data: st.DataObject
) -> None:
    """M10 for charted things: the entry stays, its value is gone."""
    key = data.draw(st.sampled_from([key for key in ("fluid_output", "spo2", "fluid_appearance") if scene[key]]))
    place = data.draw(st.integers(0, len(scene[key]) - 1))
    gone = "blank" if key == "fluid_output" else "conflict"
    lost = [[at, gone if n == place else value] for n, (at, value) in enumerate(scene[key])]
    before, after = (statuses(judge(rule_, s)) for s in (scene, {**scene, key: lost}))
    for id_, was in before.items():
        assert after[id_] in TO_UNKNOWN[was], id_


@LAW
@given(
    st.lists(st.tuples(st.integers(0, 14), st.sampled_from(("serous", "bloody"))), min_size=1, max_size=4), st.data()
)
def test_a_word_in_dispute_never_makes_none_of_met(entries: list[tuple[int, str]], data: st.DataObject) -> None:
    """M10 where every entry of the window counts: a disputed entry might have held a listed word."""
    rule_ = rule(more=COLOUR.format("none_of", "bloody"))
    at = data.draw(st.integers(0, len(entries) - 1))
    lost = [(age, "conflict" if n == at else word) for n, (age, word) in enumerate(entries)]
    was, is_ = (
        statuses(
            judge(rule_, {"air_leak": stretches([0] * 15), "fluid_appearance": [[f"{a} min ago", w] for a, w in e]})
        )["colour"]
        for e in (entries, lost)
    )
    assert is_ in TO_UNKNOWN[was]


@LAW
@given(air_rules(), records, st.integers(1, 6), st.data())
def test_a_gap_put_in_delays_what_comes_after_it_by_at_least_its_length(
    rule_: Protocol, record: list[Any], gap: int, data: st.DataObject
) -> None:
    """M11: before the first met, met comes that much later; after it, nothing that was met is unmet."""
    at = data.draw(st.integers(0, len(record)))
    longer = [*record[:at], *["missing"] * gap, *record[at:]]
    connected = data.draw(st.sampled_from(("start", "unknown")))
    before = first(air(rule_, record, connected=connected))
    after = first(air(rule_, longer, connected=connected))
    if at < before:
        assert after >= before + gap
    else:
        assert after == before


@LAW
@given(full_rules(), scenes(), st.integers(1, 90))
def test_silence_makes_nothing_met(rule_: Protocol, scene: dict[str, Any], later: int) -> None:
    """M13 and M40: time goes by with nothing recorded; answers move towards 'cannot tell' and nowhere else.

    A charted age is told from now, so it grows by what went by.
    """
    before = judge(rule_, scene)
    after = judge(rule_, aged(scene, later))
    assert after.overall is not Status.MET or before.overall is Status.MET
    for id_, was in statuses(before).items():
        assert statuses(after)[id_] in TO_UNKNOWN[was], id_
    guards = {part.id: part.status for part in before.guards}
    for part in after.guards:
        assert part.status is not Status.MET or guards[part.id] is Status.MET


def aged(scene: dict[str, Any], minutes: int) -> dict[str, Any]:
    def older(age: str) -> str:
        return f"{int(age.split()[0]) + minutes} min ago"

    moved: dict[str, Any] = {**scene, "later": f"{minutes} min"}
    for key in ("suction_change", "tube_open"):
        if isinstance(scene[key], list):
            moved[key] = [older(age) for age in scene[key]]
        elif scene[key] == "shown":  # shown while something was recorded
            length = max(total(scene["air_leak"]), total(scene["fluid_output"]))
            moved[key] = [f"{minutes + age} min ago" for age in range(length)]
    for key in ("effort", "spo2", "fluid_appearance"):
        moved[key] = [[older(age), value] for age, value in scene[key]]
    return moved


def total(pairs: list[list[str]]) -> int:
    return sum(int(span.split()[0]) for span, _ in pairs)


@LAW
@given(st.lists(st.tuples(st.integers(0, 9), st.sampled_from(("serous", "bloody"))), max_size=4), st.integers(1, 30))
def test_a_bad_word_fades_but_only_a_new_entry_can_follow_it(entries: list[tuple[int, str]], later: int) -> None:
    """`none_of` fails while a listed word is inside its window; silence alone then never makes 'cannot tell' met."""
    rule_ = rule(more=COLOUR.format("none_of", "bloody"))
    scene = {"air_leak": stretches([0] * 12), "fluid_appearance": [[f"{age} min ago", word] for age, word in entries]}
    older = {**scene, "later": f"{later} min"}
    older["fluid_appearance"] = [[f"{age + later} min ago", word] for age, word in entries]
    was, is_ = statuses(judge(rule_, scene))["colour"], statuses(judge(rule_, older))["colour"]
    if was is Status.CANNOT_TELL:
        assert is_ is not Status.MET


@LAW
@given(records, st.data())
def test_what_lies_before_connection_changes_nothing(record: list[Any], data: st.DataObject) -> None:
    """M39."""
    from dataclasses import replace

    from property.protocol_draws import facts
    from slackwater.protocol import evaluate
    from slackwater.quantities.spans import MINUTE_MS

    rule_ = data.draw(air_rules(("below", "at_most", "at_least", "above"), gaps=(0, 2)))
    head = data.draw(st.integers(1, len(record)))
    other = data.draw(st.lists(st.integers(0, 600), min_size=head, max_size=head))
    found = []
    for drawn in (record, [*other, *record[head:]]):
        known = facts(rule_, {"air_leak": stretches(drawn), "tube_open": "shown"})
        known = replace(known, connected_ms=known.grid_start_ms + head * MINUTE_MS)
        found.append(evaluate(rule_, known))
    one, two = found
    assert one.overall is two.overall
    assert np.array_equal(one.criteria[0].timeline[head:], two.criteria[0].timeline[head:])
