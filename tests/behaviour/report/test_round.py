"""A line of the round: what it says, what it never says, and the stated order. The small ward is invented."""

from __future__ import annotations

import pickle
import re
from dataclasses import replace
from datetime import UTC
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
import pytest

from slackwater.report.line import ACT, FAILED, OVERDUE, REST, WAITING, RoundLine, Tube, failed_line, in_order
from slackwater.report.round import line_of
from slackwater.report.trend import _line
from slackwater.store.acts import key_of
from slackwater.store.course import course_of
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record, open_record
from ward.a_ward import NOW_MS, recorded_ward

HOUR_MS, MINUTE_MS = 3_600_000, 60_000
PATIENTS = ("W-1", "W-2", "W-3", "W-4", "W-5")


@cache
def record() -> Record:
    return open_record(recorded_ward(Path(mkdtemp(prefix="round-")) / "record"))


def line(patient: str, now_ms: int = NOW_MS) -> RoundLine:
    with record().reading() as connection:
        course = course_of(connection, key_of("drain", key_of("patient", patient), "1"))
    return line_of(course, assess_course(record(), course, now_ms=now_ms), now_ms, UTC)


# --- what is said ---------------------------------------------------------------------------------


@pytest.mark.parametrize("patient", PATIENTS)
def test_every_line_says_whose_drain_it_is_which_and_where(patient: str) -> None:
    told = line(patient)
    assert told.tube.patient == patient
    assert told.tube.place.startswith("drain 1 · ")
    assert "pleural" in told.tube.place


@pytest.mark.parametrize("patient", PATIENTS)
def test_a_line_travels_between_processes_and_is_small(patient: str) -> None:
    told = line(patient)
    sent = pickle.dumps(told)
    assert pickle.loads(sent) == told
    assert len(sent) < 10_000


def test_criteria_met_but_for_a_person_say_since_when_and_whom_they_wait_for() -> None:
    told = line("W-1")
    assert told.rule.word == "not met, waiting for people"
    held = r"a cough or a walk; what the record settles has held since \w+ \d\d \w+ \d\d:\d\d"
    assert re.fullmatch(held, told.rule.detail)
    assert told.rank == WAITING


def test_the_run_is_told_against_the_rules_hours() -> None:
    told = line("W-3").below
    assert told is not None
    hours, minutes = re.match(r"(\d+) h (\d+) min of 12 h below limit", told.words).groups()  # type: ignore[union-attr]
    assert told.percent == int(100 * (60 * int(hours) + int(minutes)) / (12 * 60))


def test_a_danger_that_the_record_shows_stands_first() -> None:
    """Suction after pneumonectomy is a danger: CICM 2009 model answer, as in assessment/warnings.py."""
    told = line("W-4")
    assert told.rank == ACT
    assert told.items[0].startswith("STOP AND CHECK")
    assert told.leak.word == "not judged"


def test_an_escalation_that_was_never_told_here_is_named_and_does_not_cry_out() -> None:
    told = line("W-1")
    assert told.unseen == ("suction short",)  # this unit logs no set suction
    assert told.items == ()


def test_who_may_walk_is_told_by_the_order_alone_and_never_promised() -> None:
    """Order, charge and pain stand side by side; nothing is concluded of them."""
    told = line("W-1")
    assert told.may_be_off == "off suction not ordered: ask first"
    assert "walk" not in told.statuses
    assert line("W-5").may_be_off == "cannot tell: no order of suction is recorded"
    assert re.match(r"(\d+ to \d+ % in .* off mains, from |cannot tell: )", told.lasted)
    assert re.fullmatch(r"\d+ of 10 at .*", told.pain)
    assert line("W-5").pain == "not recorded"


# --- missing is never zero, old is never now ------------------------------------------------------


def test_fluid_that_was_not_told_is_no_number() -> None:
    told = line("W-5")  # since when the first amount counts is not known
    assert told.fluid[0] == "hour to 04:00: cannot tell: not told for all of it"
    assert told.fluid[-1].endswith("not recorded for 5 h since")


def test_fluid_for_each_kg_is_rounded_outward() -> None:
    told = line("W-3").fluid[1]
    found = re.match(r"24 h to [\w :]+: ([\d.]+) mL \(([\d.]+) to ([\d.]+) mL/kg\)", told)
    assert found is not None
    ml, low, high = (float(x) for x in found.groups())
    assert low <= ml / 72.0 <= high  # the simulated patient weighs 72 kg
    assert high - low <= 0.1 + 1e-9


def test_a_value_older_than_the_rule_takes_is_not_live() -> None:
    """air-50-8h takes data up to 1 h old: its [evidence] data_age."""
    fresh, old = line("W-1"), line("W-1", NOW_MS + 61 * MINUTE_MS)
    assert fresh.live
    assert fresh.live_until_ms == NOW_MS + HOUR_MS
    assert not old.live
    assert old.statuses >= {"cannot_tell"}
    assert "waiting" not in old.statuses
    assert old.news == "no data"


def test_without_a_rule_no_value_is_ever_live() -> None:
    assert line("W-4").live_until_ms is None
    assert not line("W-4").live


def test_rows_after_now_are_told_of() -> None:
    """Stamps ahead of the server's clock: whose clock is wrong must be asked."""
    early = line("W-1", NOW_MS - 2 * HOUR_MS)
    assert "2 h after now" in early.ahead
    assert early.rank == ACT
    assert line("W-1").ahead == ""


def test_what_failed_says_so_and_keeps_no_verdict() -> None:
    told = failed_line(line("W-1").tube, NOW_MS)
    assert told.news.startswith(FAILED)
    assert told.rule.word == told.leak.word == "cannot tell"
    assert told.rank == ACT


def test_no_path_crosses_what_was_not_recorded() -> None:
    known = np.array([True, True, False, True, True])
    assert _line(known, [0.0, 10.0, 20.0, 30.0, 40.0], [5.0] * 5) == "M0 5l10 0M30 5l10 0"


def test_the_picture_names_its_day_in_a_sentence() -> None:
    told = line("W-2").trend
    assert told.svg.count("<svg") == 1
    assert "style=" not in told.svg
    assert told.sentence.startswith("Last 24 h: leaking 24 h, largest ")
    assert line("W-5").trend.svg == ""


# --- order ----------------------------------------------------------------------------------------


def made(number: str, **said: object) -> RoundLine:
    base = RoundLine(Tube(number, "P", number), NOW_MS, data_until_ms=NOW_MS, charted_ms=NOW_MS)
    return replace(base, **said)  # type: ignore[arg-type]


def test_the_order_is_the_one_stated() -> None:
    lines = [
        made("rest"),
        made("old", data_until_ms=NOW_MS - HOUR_MS),
        made("waiting", statuses=frozenset({"waiting"})),
        made("overdue", overdue=("cough",)),
        made("act", items=("bleeding",), overdue=("cough",)),
        RoundLine(Tube("pending", "P", "pending")),
    ]
    assert [one.rank for one in lines[:5]] == [REST, REST, WAITING, OVERDUE, ACT]
    names = [one.tube.number for one in in_order(lines)]
    assert names == ["act", "overdue", "waiting", "old", "rest", "pending"]


def test_among_equals_the_drain_charted_longest_ago_comes_first() -> None:
    lines = [made("fresh"), made("long ago", charted_ms=NOW_MS - 5 * HOUR_MS), made("never", charted_ms=None)]
    assert [one.tube.number for one in in_order(lines)] == ["never", "long ago", "fresh"]
