"""The pack over many drains: figures by hand and by the dossier's numbers, small numbers kept back, order and union."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from functools import cache
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from behaviour.audit.by_hand import LEAK, RULE, a_drain, flow
from slackwater.audit.change import Named
from slackwater.audit.figures import Rules, counts_of, hours_of, mean_of, median_of, rate_of, share_of, total_of
from slackwater.audit.lasting import LeakAsked
from slackwater.audit.measures import Asked, Measured, measured
from slackwater.audit.over_time import charts_of
from slackwater.audit.pack import Pack, pack
from slackwater.audit.pack_tables import drains_table, figures_table
from slackwater.audit.rules import ByRule
from slackwater.audit.splits import splits_of
from slackwater.protocol.status import Status

ASKED = Asked(leaks=(LeakAsked(50.0, 5),))
ALL, FIVE, QUICK = Rules(fewest=0), Rules(fewest=5), Rules(fewest=0, draws=20)
BY = ByRule(RULE)


@cache
def one(out_h: float = 12.0, kind: str = "planned") -> Measured:
    """Air stops at 2 h, so the rule holds from 3 h on; taken out at out_h: out_h - 3 avoidable hours."""
    return measured(a_drain(flow((LEAK, 120), (0.0, round(60 * out_h) - 120)), out=60 * out_h, kind=kind), RULE, ASKED)


def drains(hours: Sequence[float], kinds: Sequence[str] = (), wards: Sequence[str] = ()) -> list[Measured]:
    found = []
    for k, h in enumerate(hours):
        base = one(h, kinds[k] if kinds else "planned")
        about = replace(base.about, drain=f"d-{k}", patient=f"p-{k}", order=k + 1, ward=wards[k] if wards else None)
        found.append(replace(base, about=about))
    return found


def figure(told: Pack, key: str):  # type: ignore[no-untyped-def]
    return next(one for _, figures in told.figures for one in figures if one.key == key)


# --- figures ---------------------------------------------------------------------------------------

PUBLISHED = [  # evidence, number: events, n, per cent, tolerance
    (70, 12, 68, 17.6, 0.05), (70, 4, 54, 7.4, 0.05), (70, 8, 68, 11.8, 0.05), (71, 25, 497, 5.03, 0.05),
    (71, 175, 497, 35.2, 0.05), (72, 11, 1988, 0.55, 0.01), (72, 17, 599, 2.84, 0.01), (73, 76, 385, 19.7, 0.05),
    (73, 51, 397, 12.8, 0.05), (74, 135, 720, 18.75, 0.01), (74, 5453, 52198, 10.45, 0.01),
    (74, 1655, 24113, 6.86, 0.01), (75, 26, 101, 25.7, 0.05), (75, 22, 101, 21.8, 0.05), (75, 9, 101, 8.9, 0.05),
    (75, 6, 101, 5.9, 0.05), (75, 5, 101, 5.0, 0.05),
]  # fmt: skip


@pytest.mark.parametrize(("number", "events", "n", "percent", "within"), PUBLISHED)
def test_shares_of_published_series(number: int, events: int, n: int, percent: float, within: float) -> None:
    """Evidence 70 to 75."""
    told = share_of("x", "x", events, n, "drains", ALL).estimate
    assert told.value == pytest.approx(percent, abs=within)
    assert told.low is not None and told.high is not None and told.low < percent < told.high


def test_81_none_of_thirty_shows_the_bound() -> None:
    """Evidence 81: 9.5 %, exact and one-sided."""
    told = share_of("x", "x", 0, 30, "drains", ALL)
    assert told.estimate.value == 0.0 and told.estimate.high == pytest.approx(9.5, abs=0.1)
    assert "as much as 9.5 %" in told.note


def test_avoidable_hours_of_a_ward_by_hand() -> None:
    """Out at 4, 5, 6, 9 and 12 h: 1 + 2 + 3 + 6 + 9 = 21 h, mean 4.2, median 3. 20:00 + 12 h is 08:00: 1 h by day."""
    told = pack(drains([4, 5, 6, 9, 12]), ASKED, BY, ALL)
    assert figure(told, "avoidable_total").estimate.value == pytest.approx(21.0)
    assert figure(told, "avoidable_mean").estimate.value == pytest.approx(4.2)
    assert figure(told, "avoidable_median").estimate.value == pytest.approx(3.0)
    assert figure(told, "avoidable_day_total").estimate.value == pytest.approx(1.0)
    assert figure(told, "drain_days").estimate.value == pytest.approx(36 / 24)
    assert [(name, round(h, 6), n) for name, h, n in told.hours[0].rows] == [
        ("met, up to the removal", 21.0, 5), ("air clause not met", 15.0, 5)
    ]  # fmt: skip


def test_only_planned_removals_count_as_avoidable_and_the_others_are_counted() -> None:
    told = pack(drains([4, 12, 12], ["planned", "unplanned", "patient_died"]), ASKED, BY, ALL)
    assert figure(told, "avoidable_total").estimate.value == pytest.approx(1.0)
    assert dict(told.counts[0].rows)["unplanned"] == dict(told.counts[0].rows)["died with the drain"] == 1
    rate = figure(told, "unplanned").estimate
    assert rate.value == pytest.approx(100 / (28 / 24))


def test_what_is_not_known_is_counted_and_never_nought() -> None:
    """Nobody knows what came after: no share, and 3 not known."""
    told = pack(drains([4, 12, 12]), ASKED, BY, ALL)
    back = figure(told, "back_7d")
    assert (back.estimate.value, back.n, back.untold, back.kept_back) == (None, 0, 3, False)
    assert next(m.missing for m in told.missing if m.what == "what came in the 7 d after the removal") == 3
    assert next(m.missing for m in told.missing if m.what == "a chart") == 3
    row = drains_table(drains([4]), ASKED).to_dicts()[0]
    assert row["back_within_7d"] is None and row["silence_h"] is None and row["avoidable_h"] == pytest.approx(1.0)


def test_out_by_day_counts_death_as_another_end_and_not_as_still_in() -> None:
    """Evidence 79. Of 4, two out on the first day, one died on it, one out on the second: 50 % then 75 %, never 100."""
    told = pack(drains([4, 5, 6, 30], ["planned", "planned", "patient_died", "planned"]), ASKED, BY, ALL)
    curves = {line.name: line for line in told.curves[1].lines}
    planned = curves["taken out as planned"]
    assert planned.value[:2] == (0.0, 50.0)
    assert curves["died with the drain"].value[1] == 25.0


def test_from_first_met_to_the_planned_removal_by_hand() -> None:
    """1, 2, 3 h; one slips out after 2 h and is followed up to then: half are out after 2 h, as 2 of 3 left then."""
    told = pack(drains([4, 5, 6, 5], ["planned", "planned", "planned", "unplanned"]), ASKED, BY, ALL)
    curve = told.curves[0]
    assert curve.lines[0].value[:3] == pytest.approx((100.0, 75.0, 50.0))
    assert curve.median is not None and curve.median.value == 2.0


# --- charts and changes ----------------------------------------------------------------------------


def test_every_chart_names_its_rule_set_and_a_change_begins_a_phase() -> None:
    """Ten groups of five with 1 h, then ten with 9 h: a new phase at the 51st drain, and nothing marked in it."""
    many = drains([4.0] * 50 + [12.0] * 50)
    plain = charts_of(many, FIVE, UTC, False, None)[0]
    assert plain.chart is not None and plain.chart.rules.name == "7 on a side, 5 in a row" and plain.chart.marks
    told = charts_of(many, FIVE, UTC, False, 51)[0]
    assert told.chart is not None and told.chart.phase == (0,) * 10 + (1,) * 10 and not told.chart.marks
    assert told.chart.centre[0] == pytest.approx(1.0) and told.chart.centre[-1] == pytest.approx(9.0)


def test_by_week_where_dates_were_kept_a_week_with_too_few_is_empty() -> None:
    week = 7 * 24 * 3_600_000
    many = [
        replace(one, removed_ms=(one.removed_ms or 0) + at * week)
        for one, at in zip(drains([4.0] * 11), (0, 0, 0, 0, 0, 1, 2, 2, 2, 2, 2), strict=True)
    ]
    told = charts_of(many, FIVE, UTC, True, None)[0]
    assert told.chart is not None
    assert [bool(v == v) for v in told.chart.values] == [True, False, True]


def test_before_and_after_says_what_it_can_bear() -> None:
    same = pack(drains([4.0, 12.0] * 20), ASKED, BY, FIVE, change=Named("night round", 21)).change
    assert same is not None and same.verdict.startswith("A difference cannot be told from chance")
    fewer = pack(drains([12.0] * 40 + [4.0] * 20), ASKED, BY, FIVE, change=Named("night round", 41)).change
    assert fewer is not None
    assert fewer.verdict == "Mean avoidable hours were fewer after the change: -8.0 h (95%: -8.0 to -8.0)."
    assert fewer.steady.startswith("Nothing marks the 8 points before") and "cannot say why" in fewer.cannot_say
    few = pack(drains([12.0] * 40 + [4.0] * 3), ASKED, BY, FIVE, change=Named("night round", 41)).change
    assert few is not None and few.verdict == "Too few drains on one side to tell."


def test_a_risk_chart_is_drawn_only_where_risks_are_given_and_numbers_allow() -> None:
    many = drains([4.0] * 12)
    assert pack(many, ASKED, BY, ALL).against is None
    told = pack(many, ASKED, BY, ALL, risks={one.about.drain: 0.1 for one in many}).against
    assert told is not None and told.n == 12 and told.excess is not None
    assert told.excess.path[-1] == pytest.approx(-1.2)  # none of 12 at 0.1
    kept = pack(many, ASKED, BY, FIVE, risks={one.about.drain: 0.1 for one in many}).against
    assert kept is not None and kept.excess is None and "kept back" in kept.why


def test_risks_that_were_given_are_held_against_what_came() -> None:
    """Of 40 at 15 % ten had it, of 40 at 40 % twenty: 12.5 points more than told. Pairs: 10 x 20 both ways by hand."""
    many = drains([12.0] * 80)
    ends = ["yes"] * 10 + ["no"] * 30 + ["yes"] * 20 + ["no"] * 20
    many = [replace(d, leaks=(replace(d.leaks[0], outcome=end),)) for d, end in zip(many, ends, strict=True)]
    risks = {one.about.drain: 0.15 if k < 40 else 0.4 for k, one in enumerate(many)}
    told = pack(many, ASKED, BY, replace(FIVE, draws=50), risks=risks).against
    assert told is not None and told.scores is not None
    value = {one.key: one.estimate.value for one in told.scores.figures}
    assert value["cusum_off"] == pytest.approx(100 * (30 / 80 - 0.275))
    # yes 10 low, 20 high; no 30 low, 20 high: right 20 x 30, even 10 x 30 and 20 x 20
    assert value["cusum_ranked"] == pytest.approx((20 * 30 + (10 * 30 + 20 * 20) / 2) / (30 * 50))
    assert value["cusum_in_the_large"] is not None and value["cusum_in_the_large"] > 0.0
    shown = [(one.n, one.told, one.came.value) for one in told.scores.bins]
    assert shown == [(40, pytest.approx(0.15), 0.25), (40, pytest.approx(0.4), 0.5)]
    rare = {one.about.drain: 0.15 if k < 77 else 0.4 for k, one in enumerate(many)}  # three at 40 %: no mark of them
    again = pack(many, ASKED, BY, replace(FIVE, draws=50), risks=rare).against
    assert again is not None and again.scores is not None and not again.scores.bins and again.scores.left_out == 2


def test_wards_side_by_side_leave_out_those_too_small() -> None:
    """Three wards with 6 of 20; one with 3 and one with 2 stay out, and their drains with them."""
    ends = [["unplanned"] * n + ["exchanged"] * 2 + ["planned"] * (18 - n) for n in (6, 6, 6, 3, 2)]
    kinds = [kind for ward in ends for kind in ward]
    wards = [ward for ward in "ABCDE" for _ in range(20)]
    told = pack(drains([12.0] * 100, kinds, wards), ASKED, BY, FIVE).funnels[1]
    assert told.funnel is not None and told.wards == ("A", "B", "C") and told.left_out == 2
    assert told.funnel.values == pytest.approx([60.0] * 3)  # 6 in 10 drain-days, per 100
    assert told.sizes == pytest.approx((0.1,) * 3)


# --- small numbers ---------------------------------------------------------------------------------


def test_small_figures_are_kept_back_with_what_would_give_them_away() -> None:
    assert share_of("x", "x", 2, 60, "drains", FIVE).kept_back
    assert share_of("x", "x", 58, 60, "drains", FIVE).kept_back
    assert not share_of("x", "x", 20, 60, "drains", FIVE).kept_back
    assert median_of("x", "x", "h", [1.0] * 4, list("abcd"), "drains", FIVE).kept_back
    assert mean_of("x", "x", "h", [], [], "drains", FIVE).note == "none to tell it from"
    assert total_of("x", "x", "h", [0.0] * 50 + [3.0] * 4, "drains", FIVE).kept_back
    assert mean_of("x", "x", "h", [0.0] * 50 + [3.0] * 4, [str(k) for k in range(54)], "drains", FIVE).kept_back
    assert rate_of("x", "x", 3, 400.0, "drains", FIVE, 60).kept_back
    hidden = counts_of("x", "x", {"planned": 55, "unplanned": 3, "died": 6}, 0, FIVE)
    assert dict(hidden.rows) == {"planned": 55, "unplanned": None, "died": None} and hidden.total == 64
    assert dict(counts_of("x", "x", {"planned": 55, "unplanned": 0}, 0, FIVE).rows) == {"planned": 55}


def test_the_share_of_prolonged_leaks_does_not_give_away_what_its_table_keeps_back() -> None:
    """Three of forty: the table shows the no alone, so the figure shows neither share nor number."""
    many = drains([12.0] * 40)
    yes = [replace(one, leaks=(replace(one.leaks[0], outcome="yes"),)) for one in many[:3]]
    told = pack([*yes, *many[3:]], ASKED, BY, FIVE)
    found = figure(told, "prolonged_leak_5d")
    assert found.kept_back and found.n is None and not any(c.isdigit() for c in found.note)


def test_no_figure_gives_away_how_few_leaks_were_followed_no_further() -> None:
    """Ten yes, 27 no, three followed no further: its table hides the three and the ten, so the share is not told."""
    many = drains([12.0] * 40)
    ends = ["yes"] * 10 + ["followed no further"] * 3 + ["no"] * 27
    told = pack(
        [replace(d, leaks=(replace(d.leaks[0], outcome=end),)) for d, end in zip(many, ends, strict=True)],
        ASKED, BY, FIVE,
    )  # fmt: skip
    found = figure(told, "prolonged_leak_5d")
    assert told.counts[2].hides("yes") and found.kept_back and found.estimate.value is None and found.n is None
    assert found.untold == 0  # 'followed no further' is known; with it, 40 less the rest would give the yes


def test_no_figure_gives_away_an_end_that_its_table_keeps_back() -> None:
    """30 planned, 8 unplanned, 2 died: the table hides the 8 with the 2, and so do the rate, the charts, the curve."""
    kinds = ["planned", "planned", "planned", "unplanned"] * 8 + ["planned"] * 6 + ["patient_died"] * 2
    wards = ["A", "B"] * 20
    told = pack(drains([12.0] * 40, kinds, wards), ASKED, BY, FIVE)
    assert told.counts[0].hides("unplanned") and not told.counts[0].hides("planned")
    rate = figure(told, "unplanned")
    assert rate.kept_back and "8" not in rate.note
    assert all(one.chart is None for one in told.charts if one.key.startswith("unplanned"))
    assert told.funnels[1].funnel is None
    assert [line.name for line in told.curves[1].lines] == ["taken out as planned", "any other end"]
    assert figure(told, "back_7d").untold == 40  # not 38: that would tell how many died


def test_those_in_which_it_never_held_are_not_called_unknown() -> None:
    """Nine in which it held from 3 h on, three that came out at 2.5 h: nothing is unknown of them."""
    found = figure(pack(drains([4.0] * 9 + [2.5] * 3), ASKED, BY, ALL), "first_met")
    assert (found.n, found.untold) == (9, 0) and found.note == "in 3 more it never held, or not for certain"


def test_parts_with_too_few_drains_stand_together() -> None:
    many = [{"film": 4.0, "tube": 1.0}] * 6 + [{"fluid": 2.0}] * 2
    told = hours_of("x", "x", many, FIVE)
    assert told.rows == (("film", 24.0, None), ("fluid; tube", 10.0, 8)) and told.total == 34.0  # 6 of 8 tell of 2
    assert hours_of("x", "x", [{"film": 4.0}] * 3, FIVE).total is None


def test_a_number_that_gives_away_how_few_are_left_is_kept_back_too() -> None:
    """Of 40 it never held in three: neither the 37, nor how many patients were drawn again, nor the hours' drains."""
    told = pack(drains([4.0] * 37 + [2.5] * 3), ASKED, BY, FIVE)
    for key in ("first_met", "false_start"):
        found = figure(told, key)
        assert found.n is None and "37" not in f"{found.estimate.method} {found.note}" and "3 more" not in found.note
    assert figure(told, "first_met").estimate.value == pytest.approx(3.0)
    assert told.curves[0].n is None and told.curves[0].lines
    stood = {name: n for name, _, n in told.hours[0].rows}
    assert stood["met, up to the removal"] is None and stood["air clause not met"] == 40
    more = pack(drains([4.0] * 35 + [2.5] * 5), ASKED, BY, FIVE)  # five may be told
    assert figure(more, "first_met").n == 35 and more.curves[0].n == 35


def test_rare_ends_stand_together_before_anything_is_blank() -> None:
    """60 planned, 6 unplanned, 3 died, 2 exchanged: the three and the two stand together, with all that had none."""
    kinds = ["planned"] * 60 + ["unplanned"] * 6 + ["patient_died"] * 3 + ["exchanged"] * 2
    told = pack(drains([12.0] * 71, kinds), ASKED, BY, FIVE)
    rows = dict(told.counts[0].rows)
    assert rows == {"planned": 60, "unplanned": 6, "in theatre; exchanged; died with the drain; transferred": 5}
    assert told.counts[0].total == 71 and told.counts[0].hides("died with the drain")
    assert [line.name for line in told.curves[1].lines] == ["taken out as planned", "any other end"]
    few = pack(drains([12.0] * 44, ["planned"] * 36 + ["unplanned"] * 6 + ["patient_died"] * 2), ASKED, BY, FIVE)
    assert dict(few.counts[0].rows)["planned"] == 36 and few.counts[0].hides("unplanned")  # 6 would tell of the 2
    assert figure(few, "unplanned").kept_back


WARDS = st.lists(st.tuples(st.sampled_from("ABCD"), st.booleans()), min_size=1, max_size=24)


@settings(max_examples=40, deadline=None)
@given(WARDS)
def test_no_ward_kept_back_can_be_got_back_by_subtraction(rows: list[tuple[str, bool]]) -> None:
    """Invariant M43: every hidden number of planned removals could be another one, with all that is shown as it is."""
    many = drains(
        [4.0] * len(rows), ["planned" if planned else "unplanned" for _, planned in rows], [w for w, _ in rows]
    )
    ended = counts_of(
        "x", "x", {kind: sum(one.removal == kind for one in many) for kind in ("planned", "unplanned")}, 0, FIVE
    )
    split = splits_of(many, UTC, replace(FIVE, draws=5), n_shown=ended.shown("planned"))[0]
    total = sum(planned for _, planned in rows)
    shown = {row.name: row.planned for row in split.rows}
    hidden = [name for name, n in shown.items() if n is None]
    assert all(n is None or n >= 5 for n in shown.values())
    if not hidden or not ended.shown("planned"):
        return
    left = total - sum(n for n in shown.values() if n is not None)
    ways = [way for way in product(range(left + 1), repeat=len(hidden)) if sum(way) == left and left <= 24]
    for place in range(len(hidden)):
        assert len({way[place] for way in ways}) > 1


@pytest.mark.parametrize("seed", range(4))
def test_cohorts_add_up_and_order_does_not_matter(seed: int) -> None:
    """Invariant M43: hours, days and counts of two cohorts without a patient in common are those of both."""
    chance = Random(seed)
    rows = [
        (chance.choice((4.0, 5.0, 12.0)), chance.choice(("planned", "unplanned")), chance.choice("AB"))
        for _ in range(16)
    ]
    many = drains(*zip(*rows, strict=True))
    whole, back = (pack(part, ASKED, BY, QUICK) for part in (many, many[::-1]))
    parts = [pack(part, ASKED, BY, QUICK) for part in (many[: 3 * seed], many[3 * seed :])]
    assert figures_table(whole).equals(figures_table(back)) and whole.splits == back.splits
    for key in ("drain_days", "avoidable_total", "avoidable_at_most_total"):
        told = [figure(part, key).estimate.value or 0.0 for part in parts]
        assert (figure(whole, key).estimate.value or 0.0) == pytest.approx(sum(told))
    for place, table in enumerate(whole.counts):
        names = {name for part in parts for name, _ in part.counts[place].rows}
        for name in names:
            assert dict(table.rows).get(name, 0) == sum(
                dict(part.counts[place].rows).get(name, 0) or 0 for part in parts
            )


def test_groups_that_end_at_different_times_differ_by_more_than_chance_and_equal_ones_do_not() -> None:
    """Ward A out 1 h after the rule was met, ward B 9 h after; then both alike. A third ward of four is left out."""
    many = drains([4.0] * 20 + [12.0] * 20 + [4.0] * 4, wards=["A"] * 20 + ["B"] * 20 + ["C"] * 4)
    (wards,) = pack(many, ASKED, BY, FIVE).differ
    assert (wards.key, wards.groups, wards.left_out) == ("differ_wards", 2, 1)
    assert wards.met_to_removed is not None and wards.met_to_removed < 0.001
    assert wards.out_by_day is not None and wards.out_by_day < 0.001
    alike = drains([4.0, 12.0] * 20, wards=["A"] * 20 + ["B"] * 20)
    same, sides = pack(alike, ASKED, BY, FIVE, change=Named("night round", 21)).differ
    assert same.met_to_removed == pytest.approx(1.0) and sides.out_by_day == pytest.approx(1.0)
    few = pack(drains([4.0, 12.0] * 4, wards=["A", "B"] * 4), ASKED, BY, FIVE).differ[0]
    assert few.why and few.met_to_removed is None
    assert pack(drains([4.0] * 12), ASKED, BY, FIVE).differ == ()


def test_the_mean_stay_after_the_rule_was_met_by_hand() -> None:
    """1 h in half of 20, 9 h in the others, all followed to their end: 5 h."""
    mean = pack(drains([4.0, 12.0] * 10), ASKED, BY, FIVE).curves[0].mean
    assert mean is not None and mean.value == pytest.approx(5.0) and mean.method == "mean of the first 9 h"


def test_a_removal_with_a_reason_stands_apart() -> None:
    many = [replace(one, at_removal=Status.NOT_MET, reason_given=k < 2) for k, one in enumerate(drains([4.0] * 3))]
    told = pack(many, ASKED, BY, ALL)
    assert {name: n for name, n in told.counts[1].rows if n} == {"not met, reason given": 2, "not met, no reason": 1}


def test_nothing_of_the_pack_is_without_a_definition() -> None:
    told = pack(drains([4, 5, 6, 9, 12]), ASKED, BY, ALL)
    keys = [one.key for one in told.definitions]
    assert len(keys) == len(set(keys)) and all(one.text and "{" not in one.text for one in told.definitions)
    names = [one.key for _, figures in told.figures for one in figures] + [
        one.key for one in (*told.counts, *told.hours)
    ]
    for name in (*names, *(one.key for one in told.curves)):
        stem = name.removesuffix("_total").removesuffix("_mean").removesuffix("_median").removesuffix("_at_most")
        told_by = {
            "avoidable_day": "avoidable_day",
            "ended": "unplanned",
            "met_to_removed": "curves",
            "out_by_day": "curves",
        }
        assert any(told_by.get(stem, stem).startswith(key) for key in keys), name
