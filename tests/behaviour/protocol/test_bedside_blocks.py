"""What a rule says for the bedside: which suction may be ordered, and what is due when. All numbers are invented."""

from __future__ import annotations

import pytest

from behaviour.protocol.a_rule import TEXT, load
from slackwater.errors import ProtocolError
from slackwater.protocol.bedside_cases import ORDERS
from slackwater.protocol.cases import run_cases
from slackwater.protocol.rule import Protocol
from slackwater.protocol.schedule import Charted, DueNow, Scored, after_removal, due_now

H = 3_600_000
NOW = 100 * H
SUCTION = '\n[suction]\nlowest = "5 cmH2O"\nhighest = "2.5 kPa"\nstep = "0.5 kPa"\n'
BASE = TEXT[: TEXT.index("[[schedule]]")]


def rule(*entries: str) -> Protocol:
    return load(BASE + "".join(f"\n[[schedule]]\n{entry}\n" for entry in entries))


def due(
    *entries: str,
    connected: float | None = 90,
    scores: tuple[Scored, ...] = (),
    removed: float | None = None,
    **hours: float,
) -> dict[str, tuple[float | None, str]]:
    """Hours until each item is due, and why; `hours`: when each item was charted."""
    events = {"connected": (round(connected * H),)} if connected is not None else {}
    events |= {} if removed is None else {"removed": (round(removed * H),)}
    times = {item: [round(hour * H)] for item, hour in hours.items()}
    start = None if connected is None else round(connected * H)
    found = due_now(rule(*entries).schedule, Charted(times, events, start, scores), NOW)
    return {one.item: (None if one.due_ms is None else (one.due_ms - NOW) / H, one.because) for one in found}


def test_a_rule_without_the_blocks_is_as_it_was() -> None:
    protocol = load(TEXT)
    assert protocol.suction is None
    assert (protocol.schedule[0].start, protocol.schedule[0].until, protocol.schedule[0].bands) == (None, None, ())


def test_the_range_of_suction_is_exact_and_holds_its_ends() -> None:
    """2.5 kPa is 25.4929 cmH2O (NIST SP 811)."""
    allowed = load(TEXT + SUCTION).suction
    assert allowed is not None
    assert allowed.told == "5 cmH2O to 2.5 kPa"
    assert [allowed.holds(level) for level in (-5, -25, 25, -4.99, -25.5)] == [True, True, True, False, False]  # type: ignore[arg-type]


BROKEN = [
    (SUCTION, SUCTION.replace("lowest", "least"), "suction", "'least'", "Did you mean 'lowest'"),
    (SUCTION, SUCTION.replace('"5 cmH2O"', '"5"'), "suction", "lowest", "20 cmH2O"),
    (SUCTION, SUCTION.replace('"5 cmH2O"', '"5 mL"'), "suction", "lowest", "cmH2O"),
    (SUCTION, SUCTION.replace('"5 cmH2O"', '"0 cmH2O"'), "suction", "zero", "none_added"),
    (SUCTION, SUCTION.replace('"5 cmH2O"', '"5 kPa"'), "suction", "lowest", "Swap"),
    (SUCTION, SUCTION.replace('highest = "2.5 kPa"\n', ""), "suction", "highest: is missing", "Write"),
]
ENTRY = (
    'item = "site"\nevery = "4 h"\nfrom = { event = "connected" }\nearly_warning = [{ at_least = 5, every = "1 h" }]'
)
BROKEN += [
    (ENTRY, ENTRY.replace('"connected"', '"started"'), "schedule number 1, from", "event", "connected"),
    (ENTRY, ENTRY.replace("from =", "since ="), "schedule number 1", "'since'", "from"),
    (ENTRY, ENTRY + '\nwithin = "2 h"', "schedule number 1", "within", "Keep one"),
    (ENTRY, ENTRY + '\nuntil = { event = "connected" }', "schedule number 1", "until", "Swap"),
    (ENTRY, 'item = "site"\nwithin = "4 h"', "schedule number 1", "from", "removed"),
    (ENTRY, ENTRY.replace('every = "4 h"', 'within = "4 h"'), "schedule number 1", "early_warning", "every"),
    (ENTRY, ENTRY.replace("at_least = 5, ", ""), "early_warning number 1", "at_least", "single = 3"),
    (ENTRY, ENTRY.replace("at_least = 5", "at_least = 21"), "early_warning number 1", "21", "0 to 20"),
    (ENTRY, ENTRY.replace("at_least = 5", "at_least = 4.5"), "early_warning number 1", "4.5", "whole"),
    (ENTRY, ENTRY.replace("at_least = 5", "single = 2"), "early_warning number 1", "2 is not 3", "single = 3"),
    (ENTRY, ENTRY.replace('every = "1 h" }', "}").replace(", }", " }"), "early_warning number 1", "every", "Write"),
]  # fmt: skip


@pytest.mark.parametrize(("good", "bad", "where", "key", "mend"), BROKEN, ids=[bad[-40:] for _, bad, *_ in BROKEN])
def test_a_broken_block_is_refused_with_place_key_and_mend(
    good: str, bad: str, where: str, key: str, mend: str
) -> None:
    head = BASE if good == SUCTION else f"{BASE}\n[[schedule]]\n"
    load(head + good)
    with pytest.raises(ProtocolError) as caught:
        load(head + bad)
    place, _, rest = str(caught.value).partition(": ")
    assert where in place
    assert key in rest
    assert mend in rest


def test_an_item_is_due_so_long_after_it_was_charted_or_after_connection() -> None:
    entry = 'item = "site"\nevery = "4 h"'
    assert due(entry, site=98)["site"] == (2, "")
    assert due(entry)["site"] == (-6, "")
    assert due(entry, connected=None)["site"] == (None, "")


EARLY = 'item = "site"\nevery = "30 min"\nfrom = { event = "connected" }\nuntil = { event = "connected", plus = "2 h" }'
LATER = 'item = "site"\nevery = "4 h"\nfrom = { event = "connected", plus = "2 h" }'


@pytest.mark.parametrize(
    ("connected", "charted", "ahead"),
    [(99, 99.75, 0.25), (98.001, 99.75, 0.25), (98, 99.75, 4), (96, 97.75, 2), (96, 99, 3)],
)
def test_a_window_opens_and_shuts_at_its_own_moment(connected: float, charted: float, ahead: float) -> None:
    """haz-D02: a consensus (half-hourly for two hours, then less often) is the unit's to write, not ours to hold."""
    assert due(EARLY, LATER, connected=connected, site=charted)["site"][0] == pytest.approx(ahead)


def test_what_counts_from_an_event_that_nobody_recorded_is_not_asked_for() -> None:
    assert due(LATER, connected=None) == {}


def test_once_the_drain_is_out_only_what_counts_from_the_removal_is_due() -> None:
    out = 'item = "observations"\nevery = "15 min"\nfrom = { event = "removed" }\n'
    out += 'until = { event = "removed", plus = "6 h" }'
    film = 'item = "chest_xray"\nwithin = "4 h"\nfrom = { event = "removed" }'
    usual = 'item = "swing"\nevery = "4 h"'
    assert set(due(out, film, usual)) == {"swing"}
    found = due(out, film, usual, removed=99, observations=98.9)
    assert found == {"observations": (-0.75, "counted from removed"), "chest_xray": (3, "counted from removed")}
    assert "chest_xray" not in due(out, film, usual, removed=99, chest_xray=99.5)
    assert "chest_xray" in due(out, film, usual, removed=99, chest_xray=98.5)  # a film from before says nothing
    assert "observations" not in due(out, film, usual, removed=94)


def test_the_first_checks_after_a_removal_come_from_the_rule_alone() -> None:
    film = 'item = "chest_xray"\nwithin = "4 h"\nfrom = { event = "removed" }'
    seen = 'item = "observations"\nevery = "15 min"\nfrom = { event = "removed", plus = "1 h" }'
    assert after_removal(rule(film, seen).schedule, NOW) == {
        "chest_xray": NOW + 4 * H,
        "observations": NOW + 5 * H // 4,
    }
    assert after_removal(rule('item = "chest_xray"\nevery = "4 h"').schedule, NOW) == {}


PACED = (
    'item = "spo2"\nevery = "4 h"\n'
    'early_warning = [{ at_least = 5, every = "1 h" }, { at_least = 1, every = "6 h" }, { single = 3, every = "2 h" }]'
)


@pytest.mark.parametrize(
    ("score", "ahead", "why"),
    [
        (Scored(0, 0, False, NOW), 3, ""), (Scored(4, 4, False, NOW), 3, ""),
        (Scored(5, 5, False, NOW), 0, "early-warning score 5"),
        (Scored(3, 3, True, NOW), 1, "one reading alone gives 3"),
        (Scored(None, 2, False, NOW), 3, "early-warning score not computed: it may ask for more"),
        (Scored(None, 6, False, NOW), 0, "early-warning score at least 6"), (Scored(9, 9, True, NOW + 1), 3, ""),
    ],
)  # fmt: skip
def test_a_score_shortens_an_interval_and_never_lengthens_it(score: Scored, ahead: float, why: str) -> None:
    assert due(PACED, scores=(score,), spo2=99)["spo2"] == (ahead, why)


def test_what_came_after_the_last_whole_set_counts_as_far_as_it_goes() -> None:
    whole, later = Scored(1, 1, False, NOW - H), Scored(None, 5, True, NOW)
    assert due(PACED, scores=(later, whole), spo2=99)["spo2"][0] == 0


def test_of_two_entries_of_an_item_the_one_due_first_counts() -> None:
    assert due('item = "site"\nevery = "8 h"', 'item = "site"\nevery = "4 h"', site=98)["site"][0] == 2


def test_an_answer_is_a_value() -> None:
    assert DueNow("site", 60.0, None, None) == DueNow("site", 60.0, None, None)


CASE = '[[case]]\nname = "x"\ngiven = {{ later = "24 h"{given} }}\nexpect = {{ {expect} }}\n'


@pytest.mark.parametrize(
    ("given", "expect", "differs"),
    [
        ('order = "20 cmH2O"', 'order = "allowed"', ""),
        ('order = "30 cmH2O"', 'order = "allowed"', "order: expected allowed, is outside"),
        ('charted = { spo2 = "3 h ago" }', 'due = { spo2 = "in 1 h" }', ""),
        ('charted = { spo2 = "3 h ago" }', 'due = { spo2 = "in 2 h" }', "due.spo2: expected in 2 h, is in 1 h"),
        ('charted = { spo2 = ["9 h ago", "5 h ago"] }', 'due = { spo2 = "1 h ago", swing = "not" }', ""),
        ('removed = "1 h ago"', 'due = { spo2 = "not" }', ""),
        ('removed = "1 h ago"', 'due = { spo2 = "in 1 h" }', "due.spo2: expected in 1 h, is not"),
    ],
)
def test_a_case_may_ask_for_orders_and_for_what_is_due(given: str, expect: str, differs: str) -> None:
    (result,) = run_cases(
        load(TEXT + SUCTION), CASE.format(given=given and f", {given}", expect=expect), "x.cases.toml"
    )
    assert result.differences == ((differs,) if differs else ())


def test_a_rule_without_a_range_says_so_in_a_case() -> None:
    (result,) = run_cases(load(TEXT), CASE.format(given=', order = "20 cmH2O"', expect='order = "not_said"'), "x")
    assert result.passed
    assert "not_said" in ORDERS


@pytest.mark.parametrize(
    ("given", "expect", "mend"),
    [
        ("", 'order = "allowed"', "number with a unit"), ('order = "20"', 'order = "allowed"', "has no unit"),
        ('order = "20 cmH2O"', 'order = "fine"', "allowed"), ("", 'due = { spo2 = "soon" }', "in 2 h"),
        ("early_warning = { score = true }", 'due = { spo2 = "in 2 h" }', "score = 5"),
        ('early_warning = { red = "x" }', 'due = { spo2 = "in 2 h" }', "score = 5"), ("", "due = 3", "key = value"),
        ('charted = { spo2 = "3 h" }', 'due = { spo2 = "in 2 h" }', "3 h ago"),
    ],
)  # fmt: skip
def test_a_case_that_cannot_be_read_is_refused(given: str, expect: str, mend: str) -> None:
    with pytest.raises(ProtocolError, match=mend):
        run_cases(load(TEXT + SUCTION), CASE.format(given=given and f", {given}", expect=expect), "x.cases.toml")


# --- a way off the mains --------------------------------------------------------------------------

TRIP = '\n[trip]\nfactor = 2\nreserve = "30 min"\nback_within = "10 min"\nsource = "invented"\n'


def test_a_trip_needs_its_planned_time_times_the_factor_and_the_reserve_on_top() -> None:
    margin = load(BASE + TRIP).trip
    assert margin is not None and margin.back_s == 600.0 and margin.source == "invented"
    assert margin.needed_min(40.0) == 110.0
    assert margin.told == "planned time x 2 + 30 min"
    assert load(BASE).trip is None, "a rule that says nothing gives no margin"
    bare = load(BASE + '\n[trip]\nfactor = 1\nreserve = "0 min"\n').trip
    assert bare is not None and bare.needed_min(40.0) == 40.0 and bare.back_s is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[trip]\nreserve = "30 min"', "factor"),
        ('[trip]\nfactor = 0.5\nreserve = "30 min"', "factor"),
        ('[trip]\nfactor = "2"\nreserve = "30 min"', "factor"),
        ("[trip]\nfactor = 2", "reserve"),
        ('[trip]\nfactor = 2\nreserve = "30"', "reserve"),
        ('[trip]\nfactor = 2\nreserve = "30 min"\nback_within = "0 min"', "back_within"),
        ('[trip]\nfactor = 2\nreserve = "30 min"\nspare = 1', "spare"),
    ],
)
def test_a_trip_that_cannot_be_read_is_refused_by_its_key(text: str, told: str) -> None:
    with pytest.raises(ProtocolError, match=told):
        load(f"{BASE}\n{text}\n")
