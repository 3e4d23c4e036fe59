"""One drain in figures, each worked out by hand beside its check. Numbers of the evidence dossier by their number."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta, timezone

import polars
import pytest

from behaviour.audit.by_hand import DAY, LEAK, RULE, a_drain, flow, ms
from slackwater.audit.case import Case
from slackwater.audit.charting import Kept, charting
from slackwater.audit.handling import blocked_stretches, off_suction, suction_kept
from slackwater.audit.lasting import CANNOT_TELL, CENSORED, NO, YES, LeakAsked, LeakLasted, lasted
from slackwater.audit.measures import Asked, Measured, measured
from slackwater.audit.standing import AIR_OVER, AIR_UNTOLD, MET_BROKEN, MET_TO_END, ONE, SEVERAL, by_day, held
from slackwater.leak.words import BLOCKED, CLAMPED, OFF
from slackwater.protocol.rule import Due, Edge
from slackwater.protocol.status import Status
from slackwater.risk.prolonged import OVER_168_H_CAPPED
from slackwater.risk.prolonged import lasted as by_paper

ASKED = Asked(leaks=(LeakAsked(50.0, 5), LeakAsked(50.0, 7)))
FIVE, SEVEN = ASKED.leaks


def told(case: Case, asked: Asked = ASKED) -> Measured:
    found = measured(case, RULE, asked)
    assert sum(found.stood_h.values()) == pytest.approx(found.in_h)  # every hour is in one part
    return found


# --- avoidable hours -------------------------------------------------------------------------------


def test_avoidable_hours_by_hand() -> None:
    """Air stops at 2 h: an hour without it is full at 3 h. The film comes at 4 h, the drain is out at 12 h, at 08:00.

    3 h air not met; 1 h waiting for the film, of which nobody knows; 8 h met; one of them after 07:00.
    """
    found = told(a_drain(flow((LEAK, 120), (0.0, 600)), out=720, film=[(240, "expanded")]))
    assert found.stood_h == {AIR_OVER: 3.0, ONE: 1.0, MET_TO_END: 8.0}
    assert found.waited_h == {("film", "cannot tell"): 1.0}
    assert (found.first_met_h, found.met_to_end_h) == (4.0, 4.0)
    assert found.avoidable is not None
    assert found.avoidable.surely_h == 8.0
    assert found.avoidable.at_most_h == 9.0  # had the film been good from the start, from 3 h on
    assert found.avoidable.by_day_h == 1.0
    assert found.at_removal is Status.MET


def test_a_coded_hold_is_taken_off_and_counted_once_where_two_overlap() -> None:
    """Met from 3 h to 12 h. Imaging 5 h to 7 h, staff 6 h to 8 h: 3 h held, of which 1 h for several reasons."""
    holds = [("awaiting_imaging", 300, 420), ("awaiting_staff", 360, 480), ("patient_wish", 0, 60)]
    found = told(a_drain(flow((LEAK, 120), (0.0, 600)), out=720, holds=holds))
    assert found.avoidable is not None
    assert found.avoidable.held_h == {"awaiting_imaging": 1.0, "several reasons": 1.0, "awaiting_staff": 1.0}
    assert found.avoidable.surely_h == 6.0
    assert held((), (0, 10)) == ([], [(0, 10)])


def test_a_hold_without_an_end_stands_to_the_removal() -> None:
    found = told(a_drain(flow((LEAK, 120), (0.0, 600)), out=720, holds=[("ventilated", 600, None)]))
    assert found.avoidable is not None and found.avoidable.surely_h == 7.0


def test_what_cannot_be_told_is_in_at_most_and_not_in_surely() -> None:
    """Quiet from 2 h, nothing recorded 5 h to 6 h, out at 12 h: an hour without air is full again at 7 h.

    A minute is judged at its end: the first lost one shows at 5 h 1 min.
    """
    found = told(a_drain(flow((LEAK, 120), (0.0, 180), (None, 60), (0.0, 360)), out=720))
    assert found.first_met_h == 3.0 and found.met_to_end_h == 7.0
    parts = {AIR_OVER: 3.0, MET_BROKEN: 2 + 1 / 60, AIR_UNTOLD: 2 - 1 / 60, MET_TO_END: 5.0}
    assert found.stood_h == pytest.approx(parts)
    assert found.avoidable is not None
    assert (found.avoidable.surely_h, found.avoidable.at_most_h) == (5.0, 9.0)


def test_a_rule_that_was_not_met_at_the_removal_was_not_met_up_to_it() -> None:
    """Quiet 2 h to 10 h, then nothing recorded to the removal at 12 h, within a minute: no hour 'up to the removal'."""
    for last in (None, LEAK):
        found = told(a_drain(flow((LEAK, 120), (0.0, 480), (last, 120)), out=720))
        assert found.first_met_h == 3.0 and found.met_to_end_h is None
        assert found.avoidable is not None and found.avoidable.surely_h == 0.0


def test_a_break_for_certain_is_in_neither() -> None:
    """Air comes back for ten minutes at 5 h: met from 6 h 10 min on, to the minute."""
    found = told(a_drain(flow((LEAK, 120), (0.0, 180), (LEAK, 10), (0.0, 410)), out=720))
    assert found.avoidable is not None
    assert found.avoidable.surely_h == found.avoidable.at_most_h == pytest.approx(12 - 6 - 10 / 60)
    assert found.first_met_h == 3.0


def test_one_other_thing_is_named_and_two_are_not_split() -> None:
    """Air met from 3 h. Oxygen too low until 5 h, film bad until 7 h: 2 h both, then 2 h the film alone."""
    case = a_drain(
        flow((LEAK, 120), (0.0, 600)), out=720, film=[(0, "space_new_or_larger"), (420, "expanded")],
        oxygen=[(0, 88.0), (300, 95.0)],
    )  # fmt: skip
    found = told(case)
    assert found.stood_h == {AIR_OVER: 3.0, SEVERAL: 2.0, ONE: 2.0, MET_TO_END: 5.0}
    assert found.waited_h == {("film", "not met"): 2.0}


def test_a_log_that_ends_long_before_the_removal_leaves_those_hours_untold() -> None:
    """Met at 3 h; the log ends at 5 h; out at 12 h: the rule looks back an hour, so nothing is told of 5 h to 12 h."""
    found = told(a_drain(flow((LEAK, 120), (0.0, 180)), out=720))
    assert found.at_removal is Status.CANNOT_TELL
    assert found.avoidable is not None
    assert (found.avoidable.surely_h, found.avoidable.at_most_h) == (0.0, 9.0)
    assert found.stood_h[AIR_UNTOLD] == 7.0


def test_a_log_that_ends_shortly_before_the_removal_does_not() -> None:
    found = told(a_drain(flow((LEAK, 120), (0.0, 580)), out=720))
    assert found.at_removal is Status.MET
    assert found.avoidable is not None and found.avoidable.surely_h == 9.0


def test_a_drain_that_is_still_in_has_no_avoidable_hours() -> None:
    found = told(a_drain(flow((LEAK, 120), (0.0, 600))))
    assert found.avoidable is None and found.at_removal is None and found.tube_days is None
    assert found.stood_h[MET_TO_END] == 9.0


def test_by_day_is_by_the_wards_clock_over_midnight_and_the_change_of_clocks() -> None:
    night = (ms(0), ms(12 * 60))  # 20:00 to 08:00 UTC
    assert by_day(night, timezone.utc, (7, 22)) == 3 * 3_600_000  # noqa: UP017
    assert by_day(night, timezone(timedelta(hours=2)), (7, 22)) == 3 * 3_600_000  # 22:00 to 10:00


def test_what_was_recorded_before_connection_or_after_removal_changes_nothing() -> None:
    """Invariant M39: more minutes after the removal, with air, leave every figure as it was."""
    short = a_drain(flow((LEAK, 120), (0.0, 600)), out=720, film=[(240, "expanded")], followed=720)
    longer = a_drain(flow((LEAK, 120), (0.0, 600), (LEAK, 300)), out=720, film=[(240, "expanded")], followed=720)
    assert told(short) == told(longer)
    later = replace(short.facts, connected_ms=ms(60))  # the log began an hour before
    found = told(replace(short, facts=later))
    assert found.stood_h == {AIR_OVER: 2.0, ONE: 1.0, MET_TO_END: 8.0}


# --- days ------------------------------------------------------------------------------------------


def test_78_a_removal_on_the_day_of_the_operation_counts_no_tube_day() -> None:
    """Evidence 78: 0, not missing. Drain-days stay exact: 2 h are 1/12 of a day."""
    found = told(a_drain(flow((0.0, 120)), out=120))
    assert found.tube_days == 0
    assert found.drain_days == pytest.approx(2 / 24)
    assert told(a_drain(flow((0.0, 300)), out=300)).tube_days == 1  # 01:00 of the next day
    assert told(a_drain(flow((0.0, 120)), out=120, connected=False)).drain_days is None


# --- did the leak last? ----------------------------------------------------------------------------


def after_operation(leak_h: float, in_h: float, **how: object) -> Case:
    """The operation ends as the drain is connected; air for leak_h, the drain out after in_h."""
    minutes = round(60 * in_h)
    leaking = round(60 * leak_h)
    return a_drain(flow((LEAK, leaking), (0.0, minutes - leaking)), out=minutes, operation=0, **how)  # type: ignore[arg-type]


def test_55_a_leak_of_119_h_is_not_prolonged_one_of_121_h_is_by_5_days_and_not_by_7() -> None:
    """Evidence 55."""
    assert lasted(after_operation(119, 150), FIVE).outcome == NO
    assert lasted(after_operation(121, 150), FIVE).outcome == YES
    assert lasted(after_operation(121, 190), SEVEN).outcome == NO


def test_56_what_still_leaks_at_168_h_is_reported_as_192_h_and_flagged() -> None:
    """Evidence 56, the style of Brunelli 2013."""
    found = lasted(after_operation(180, 180), SEVEN)
    assert found.outcome == YES and found.to_end and found.last_h == 180.0
    for ended, hours, reported in ((False, found.last_h, (192.0, True)), (True, 30.0, (30.0, False))):
        told = by_paper(hours, OVER_168_H_CAPPED, ended=ended)
        assert (told.reported_h, told.censored) == reported


def test_57_the_clock_starts_at_the_end_of_the_operation_not_at_the_first_record() -> None:
    """Evidence 57: connected 6 h after it, 115 h of air recorded are 121 h. Without its end nobody can tell."""
    case = a_drain(flow((LEAK, 115 * 60), (0.0, 600)), out=125 * 60, operation=-360)
    assert lasted(case, FIVE).outcome == YES and lasted(case, FIVE).last_h == 121.0
    unknown = a_drain(flow((LEAK, 115 * 60), (0.0, 600)), out=125 * 60, operation=None)
    assert lasted(unknown, FIVE) == LeakLasted(CANNOT_TELL, None, False)


@pytest.mark.parametrize("kind", ["patient_died", "transferred", "unplanned", "exchanged"])
def test_79_an_end_by_death_or_transfer_is_followed_no_further_and_never_resolved(kind: str) -> None:
    """Evidence 79, even where no air was recorded for two days before."""
    assert lasted(after_operation(20, 80, kind=kind), FIVE).outcome == CENSORED
    assert lasted(after_operation(20, 80), FIVE).outcome == NO
    assert lasted(a_drain(flow((LEAK, 60), (0.0, 600)), operation=0), FIVE).outcome == CENSORED  # still in


def test_a_drain_taken_out_while_air_was_recorded_is_followed_no_further() -> None:
    found = lasted(after_operation(80, 80), FIVE)
    assert (found.outcome, found.to_end) == (CENSORED, True)


def test_missing_minutes_only_ever_move_it_to_cannot_tell() -> None:
    """Of 121 h of air the last hour, then all of the day after 120 h, is lost."""
    day = 5 * DAY
    lost = a_drain(flow((LEAK, day), (None, 60), (0.0, 1380)), out=day + DAY, operation=0)
    assert lasted(lost, FIVE).outcome == CANNOT_TELL
    few = a_drain(flow((LEAK, day), (None, 59), (0.0, 1381)), out=day + DAY, operation=0)
    assert lasted(few, FIVE).outcome == NO  # less than the 60 min that make it one
    silent = a_drain(flow((LEAK, 600), (0.0, 60)), out=48 * 60, operation=0)  # nothing of its last hour
    assert lasted(silent, FIVE).outcome == CANNOT_TELL


# --- what came after, and in between ---------------------------------------------------------------


def test_a_return_is_known_only_as_far_as_it_was_followed() -> None:
    day = 24 * 60
    quiet = flow((0.0, 120))
    assert told(a_drain(quiet, out=120, back=120 + 6 * day, followed=120 + 6 * day)).back == {7: True, 30: True}
    assert told(a_drain(quiet, out=120, back=120 + 9 * day, followed=120 + 40 * day)).back == {7: False, 30: True}
    assert told(a_drain(quiet, out=120, followed=120 + 8 * day)).back == {7: False, 30: None}
    assert told(a_drain(quiet, out=120)).back == {7: None, 30: None}
    assert told(a_drain(quiet, out=120, kind="patient_died", followed=90 * day)).back == {7: None, 30: None}


def test_blocked_stretches_an_hour_apart_are_two() -> None:
    reason = [0] * 30 + [BLOCKED] * 20 + [0] * 30 + [BLOCKED] * 5 + [0] * 61 + [BLOCKED] * 5 + [0] * 9
    assert blocked_stretches(a_drain(flow((0.0, len(reason))), out=len(reason), reason=reason)) == 2


def test_suction_by_hand() -> None:
    """-20 ordered from minute 10: 30 min at -19, 10 at -15, 5 off, 5 clamped; -19 is within 2 cmH2O."""
    pressure = [-20.0] * 10 + [-19.0] * 30 + [-15.0] * 10 + [0.0] * 10
    reason = [0] * 50 + [OFF] * 5 + [CLAMPED] * 5
    case = a_drain(flow((0.0, 60)), out=60, pressure=pressure, reason=reason, ordered=[(10, -20.0)])
    kept = suction_kept(case, 2.0)
    assert kept is not None and (kept.within, kept.outside, kept.untold) == (30, 15, 5)
    assert off_suction(case) == {"off": 5, "clamped": 5}
    wide = suction_kept(case, 5.0)
    assert wide is not None and wide.within == 40
    assert suction_kept(a_drain(flow((0.0, 60)), out=60, ordered=[(0, 0.0)]), 2.0) is None  # none added: no order


def test_reason_and_status_at_the_removal() -> None:
    early = told(a_drain(flow((LEAK, 120)), out=120, because="given"))
    assert early.at_removal is Status.NOT_MET and early.reason_given
    assert early.avoidable is not None and early.avoidable.at_most_h == 0.0


# --- charting --------------------------------------------------------------------------------------


def rows(*entries: tuple[float, str, float]) -> polars.DataFrame:
    """(minute, item, written so many minutes later)."""
    return polars.DataFrame(
        [
            {"time_ms": ms(at), "recorded_ms": ms(at + late), "item": item, "number": None, "word": "yes"}
            for at, item, late in entries
        ],
        schema={"time_ms": polars.Int64, "recorded_ms": polars.Int64, "item": polars.String, "number": polars.Float64,
                "word": polars.String},
    )  # fmt: skip


def test_occasions_by_hand() -> None:
    """Every 4 h over 20 h: 3:50 on time; due 7:50, 8:20 just in time; due 12:20, 13:30 late; due 17:30, none."""
    case = a_drain(flow((0.0, 1200)), out=1200)
    chart = rows((230, "tube_open", 0), (500, "tube_open", 90), (810, "tube_open", 30), (820, "swing", 0))
    found = charting(case, RULE.schedule, chart)
    assert found.kept == {"tube_open": Kept(on_time=2, late=1, missed=1)}
    assert (found.late_min, found.written_later, found.at_once) == (60.0, 2, 2)
    assert found.silence_h == pytest.approx((1200 - 820) / 60)


def test_more_entries_than_were_asked_for_add_no_occasion() -> None:
    case = a_drain(flow((0.0, 1200)), out=1200)
    every_hour = rows(*((60.0 * k, "tube_open", 0.0) for k in range(1, 20)))
    found = charting(case, RULE.schedule, every_hour)
    assert found.kept["tube_open"].on_time == found.kept["tube_open"].due <= 5


def test_once_from_an_event_and_what_is_owed_after_the_removal() -> None:
    case = a_drain(flow((0.0, 1200)), out=1200)
    once = Due("chest_xray", None, "invented", Edge("connected", 0.0), None, 3600.0)
    later = Due("chest_xray", None, "invented", Edge("removed", 0.0), None, 3600.0)
    assert charting(case, (once,), rows((80, "chest_xray", 0))).kept == {"chest_xray": Kept(on_time=1)}
    assert charting(case, (once,), rows((300, "chest_xray", 0))).kept == {"chest_xray": Kept(late=1)}
    assert charting(case, (once,), rows((80, "swing", 0))).kept == {"chest_xray": Kept(missed=1)}
    assert charting(case, (later,), rows((80, "swing", 0))).kept == {}


def test_nothing_charted_is_no_silence_of_known_length() -> None:
    found = charting(a_drain(flow((0.0, 1200)), out=1200), RULE.schedule, rows())
    assert found.silence_h is None and found.late_min is None and found.kept["tube_open"].missed == 5


def test_a_set_of_observations_is_whole_with_its_last_reading() -> None:
    case = a_drain(flow((0.0, 300)), out=300)
    every = (Due("observations", 14400.0, "invented"),)
    whole = rows((200, "resp_rate", 0), (205, "spo2", 0), (210, "heart_rate", 0))
    assert charting(case, every, whole).kept == {"observations": Kept(on_time=1)}
    assert charting(case, every, rows((200, "resp_rate", 0), (205, "spo2", 0))).kept == {"observations": Kept(missed=1)}
