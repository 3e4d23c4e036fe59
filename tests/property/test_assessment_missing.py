"""Laws of missing data and of time: losing something, or waiting, never makes a firmer answer."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import strategies as st

import slackwater
from property.a_small_stay import (
    CHARTED,
    MINUTES,
    PROTOCOL,
    Reading,
    Said,
    Stay,
    chart_text,
    conclusions,
    healed,
    judged,
    log_rows,
    log_text,
    ms,
    statuses,
    stays,
)
from property.quick_and_many import Laws
from slackwater.protocol.status import Status

LAWS = Laws()
ORDER = ("not_met", "cannot_tell", "met_with_gaps", "met", "not_applicable")

# Entries whose loss is looked at on its own below: what was seen with effort, and what stands against the numbers.
SILENT = ("cough", "surgical_emphysema", "chest_xray")
PLAIN_CHART = tuple(make for make in CHARTED if make(60).item not in SILENT)


def lowered(before: str, after: str) -> bool:
    """Whether a loss may turn `before` into `after`."""
    return (
        after
        in {
            "met": {"met", "met_with_gaps", "cannot_tell"},
            "met_with_gaps": {"met_with_gaps", "cannot_tell"},
            "not_met": {"not_met", "cannot_tell"},
            "cannot_tell": {"cannot_tell"},
            "not_applicable": {"not_applicable", "cannot_tell"},
        }[before]
    )


@st.composite
def lost_minutes(draw: st.DrawFn) -> set[int]:
    spans = draw(st.lists(st.tuples(st.integers(1, MINUTES), st.sampled_from((1, 2, 15, 120))), min_size=1, max_size=4))
    return {minute for first, length in spans for minute in range(first, min(first + length, MINUTES + 1))}


@LAWS.law(stays(charted=PLAIN_CHART), lost_minutes())
def test_m10_blank_rows_make_no_new_met_and_no_new_not_met_at_any_minute(stay: Stay, lost: set[int]) -> None:
    whole, holed = judged(stay), judged(stay.without(lost))
    assert whole.evaluation is not None
    assert holed.evaluation is not None
    assert whole.leak_trace is not None
    assert holed.leak_trace is not None
    if (holed.leak_trace.reason[whole.leak_trace.reason != 0] == 0).any():
        return  # the law holds with the doubts held fixed: what was lost here was the ground of one
    for name, before in statuses(whole).items():
        after = statuses(holed)[name]
        if name in ("air", "fluid", "colour"):
            assert lowered(before, after), name
    for first, second in zip(whole.evaluation.criteria, holed.evaluation.criteria, strict=True):
        for before_code, after_code in zip(first.timeline.tolist(), second.timeline.tolist(), strict=True):
            assert lowered(Status(before_code).word, Status(after_code).word)
    if statuses(whole)["effort_seen"] == statuses(holed)["effort_seen"]:  # its own loss: see the guards' laws
        assert lowered(statuses(whole)["overall"], statuses(holed)["overall"])


@LAWS.law(stays(charted=PLAIN_CHART, most_said=10), st.data())
def test_m10_a_charted_value_lost_makes_no_new_met_and_no_new_not_met(stay: Stay, data: st.DataObject) -> None:
    if not stay.said:
        return
    index = data.draw(st.integers(0, len(stay.said) - 1))
    blank = replace(stay.said[index], value="", unit="")
    holed = replace(stay, said=(*stay.said[:index], blank, *stay.said[index + 1 :]))
    before, after = statuses(judged(stay)), statuses(judged(holed))
    for name in ("air", "fluid", "colour"):
        if stay.said[index].item in ("suction_ordered", "tubing") and name == "air":
            continue  # events, not values: a blank one is no event
        assert lowered(before[name], after[name]), name


AGAINST = (
    (Said(500, "surgical_emphysema", "0"), Said(600, "surgical_emphysema", "2")),
    (Said(600, "chest_xray", "space_new_or_larger"),),
    (Said(600, "cough", "leak"),),
    (Said(719, "tube_open", "no"),),
    (Said(600, "clamp", "on"),),
)


@pytest.mark.parametrize("said", AGAINST, ids=lambda said: said[-1].item)
def test_m10_what_stood_against_removal_and_is_lost_makes_no_new_met(said: tuple[Said, ...]) -> None:
    """The slot is known, what was said in it is not: then the worse cannot be ruled out."""
    before = statuses(judged(healed(said=said)))["overall"]
    assert before in ("not_met", "cannot_tell")
    after = statuses(judged(healed(said=(*said[:-1], replace(said[-1], value="")))))["overall"]
    assert after != "met"


@LAWS.law(st.integers(1, 12), st.sampled_from((1, 30, 200, 3000)))
def test_m13_in_silence_nothing_becomes_met(hours_ago: int, later: int) -> None:
    stay = healed()
    last = MINUTES - 60 * hours_ago + 59
    cut = replace(
        stay,
        readings=tuple(r for r in stay.readings if r.minute <= last),
        said=tuple(s for s in stay.said if s.minute <= last),
    )
    then, now = judged(cut), judged(cut, at=MINUTES + later)
    before, after = statuses(then), statuses(now)
    for name in ("overall", "air", "fluid", "colour", "tube_open"):
        assert not (after[name] == "met" and before[name] != "met"), name


@LAWS.law(stays(), st.sampled_from((1, 61, 240, 2000)))
def test_m40_as_time_goes_by_evidence_only_fades(stay: Stay, later: int) -> None:
    """No new datum: a status stays, or becomes 'cannot tell'; a guard that spoke of a leak may only stop speaking."""
    end = max(MINUTES, max((s.minute + s.late for s in stay.said), default=0))
    then, now = statuses(judged(stay, at=end)), statuses(judged(stay, at=end + later))
    for name in ("air", "colour", "tube_open", "effort_seen"):
        assert now[name] in (then[name], "cannot_tell"), (name, then[name], now[name])
    assert not (now["overall"] == "met" and then["overall"] != "met")


@LAWS.law(
    stays(charted=(lambda t: Said(t, "fluid_output", "20", "mL"), lambda t: Said(t, "fluid_appearance", "serous")))
)
def test_m18_no_flow_and_a_tube_never_shown_open_is_never_met(stay: Stay) -> None:
    dead = tuple(replace(r, flow=0, low=r.pressure, high=r.pressure) for r in stay.readings if r.flow is not None)
    breathing = tuple(replace(r, flow=0) for r in stay.readings if r.flow is not None)
    if len(dead) < 2:
        return
    without, with_swing = judged(replace(stay, readings=dead)), judged(replace(stay, readings=breathing))
    assert without.evaluation is not None
    assert without.overall not in (Status.MET, Status.MET_WITH_GAPS)
    assert not (without.evaluation.timeline >= Status.MET_WITH_GAPS).any()
    assert with_swing.overall is not None
    assert ORDER.index(statuses(without)["overall"]) <= ORDER.index(statuses(with_swing)["overall"])
    p_without, p_with = slackwater.document(without)["leak"]["p"], slackwater.document(with_swing)["leak"]["p"]
    assert p_without is None or p_with is None or p_without >= p_with


MARKS = (("suction_unit", "off", "on"), ("clamp", "on", "off"), ("tubing", "apart", "reconnected"))


@LAWS.law(
    stays(charted=PLAIN_CHART), st.sampled_from(MARKS), st.integers(1, MINUTES - 2), st.sampled_from((2, 30, 200))
)
def test_m19_an_interval_charted_off_clamped_or_apart_never_makes_the_rule_hold_earlier(
    stay: Stay, mark: tuple[str, str, str], first: int, length: int
) -> None:
    item, begins, ends = mark
    said = (*stay.said, Said(first, item, begins), Said(min(first + length, MINUTES - 1), item, ends))
    plain, marked = judged(stay), judged(replace(stay, said=tuple(sorted(said, key=lambda s: s.minute))))
    assert plain.evaluation is not None
    assert marked.evaluation is not None
    before, after = plain.evaluation.first_met_ms, marked.evaluation.first_met_ms
    assert after is None or (before is not None and after >= before)
    assert not (marked.overall is Status.MET and plain.overall is not Status.MET)


@LAWS.law(stays(), st.integers(1, MINUTES))
def test_m25_m26_a_past_moment_is_judged_by_what_had_been_received_then(stay: Stay, at: int) -> None:
    """No look-ahead, and any prefix is as good as a batch on it."""
    known_rows = tuple(r for r in stay.readings if r.minute <= at)
    known_said = tuple(s for s in stay.said if s.minute + s.late <= at)
    if not known_rows or known_rows[0].minute == at:  # the very first row: see below
        return
    prefix = replace(stay, readings=known_rows, said=known_said)
    then = judged(prefix, at=at)
    later = judged(stay, at=at)
    assert conclusions(then) == conclusions(later)
    assert slackwater.minute_csv(then) == slackwater.minute_csv(later)


def test_m25_at_the_end_of_the_first_row_that_row_is_known() -> None:
    stay = healed()
    first = replace(stay, readings=stay.readings[:1], said=())
    assert statuses(judged(first, at=1)) == statuses(judged(replace(stay, said=()), at=1))


@LAWS.law(st.integers(2, 6), st.integers(6, 120))
def test_m30_an_amount_charted_in_parts_is_the_same_amount(parts: int, whole: int) -> None:
    amounts = [whole // parts] * (parts - 1) + [whole - (parts - 1) * (whole // parts)]
    one = (Said(600, "fluid_output", str(whole), "mL"),)
    several = tuple(Said(600 - 10 * (parts - 1 - n), "fluid_output", str(a), "mL") for n, a in enumerate(amounts))
    others = (Said(365, "fluid_output", "30", "mL"), Said(MINUTES - 1, "fluid_output", "0", "mL"))
    stay = replace(healed(), said=())
    values = []
    for said in (one, several):
        document = slackwater.document(
            judged(replace(stay, said=tuple(sorted((*others, *said), key=lambda s: s.minute))))
        )
        values.append(next(c["value"] for c in document["criteria"] if c["id"] == "fluid"))
    assert values[0] == values[1]


@LAWS.law(stays(most_said=10), st.randoms(use_true_random=False))
def test_m30_the_order_of_charted_rows_is_nothing(stay: Stay, chance: object) -> None:
    said = list(stay.said)
    chance.shuffle(said)  # type: ignore[attr-defined]
    assert conclusions(judged(stay), lines=False) == conclusions(judged(stay, chart=chart_text(said)), lines=False)


def test_m30_a_missing_amount_is_not_nothing() -> None:
    stay = healed()
    blank = replace(stay, said=tuple(replace(s, value="", unit="") if s.minute == 650 else s for s in stay.said))
    before, after = slackwater.document(judged(stay)), slackwater.document(judged(blank))
    fluid = [next(c for c in d["criteria"] if c["id"] == "fluid") for d in (before, after)]
    assert fluid[0]["status"] == "met"
    assert fluid[1]["status"] == "cannot_tell"
    assert fluid[1]["value"]["high"] is None


def test_m19_minutes_charted_off_are_not_counted_as_quiet() -> None:
    stay = healed(said=(Said(500, "suction_unit", "off"), Said(560, "suction_unit", "on")))
    found = judged(stay)
    assert found.leak_trace is not None
    assert (found.leak_trace.state[501:559] == 0).all()  # cannot_tell
    assert statuses(found)["overall"] == "cannot_tell"


def test_a_row_cut_out_and_a_blank_row_say_the_same_of_the_rule() -> None:
    stay = healed()
    holes = set(range(500, 510))
    rows = [row for r, row in zip(stay.readings, log_rows(stay), strict=True) if r.minute not in holes]
    assert statuses(judged(stay, logs=[log_text(rows)])) == statuses(judged(stay.without(holes)))


def test_these_laws_have_something_to_lose() -> None:
    assert statuses(judged(healed()))["overall"] == "met"
    assert PROTOCOL.removal
    assert ms(0) < ms(1)
    assert isinstance(healed().readings[0], Reading)


@pytest.mark.slow
@pytest.mark.parametrize("name", LAWS.names)
def test_many(name: str) -> None:
    LAWS.many(name)
