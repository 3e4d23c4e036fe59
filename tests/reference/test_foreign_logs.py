"""Logs of other trades whose gaps, steps and faults are known, read and judged through the public functions.

'README' is the data sets' own; sources and licences: the NOTICE.md beside each file (tests/data/real).
"""

from __future__ import annotations

import csv
import json
import re
from functools import cache

import numpy as np
import pytest

from behaviour.reading.typed_log import layout
from reference.foreign import REAL, below, instant, judged, log_of, rows_of, text_of
from slackwater import Log, assess, minute_csv, read_log
from slackwater.feed.line import read_line
from slackwater.leak.stretches import stretches
from slackwater.leak.words import LEAKING, QUIET
from slackwater.protocol.status import Status
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import NONE
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.types import Interval, Trace


def inner_gaps(trace: Trace) -> tuple[Interval, ...]:
    return gaps(trace, int(trace.start_ms[0]), int(trace.end_ms[-1]))


def longest_s(trace: Trace) -> float:
    """From stamp to stamp, as the sources count: the longest gap, and the row before it."""
    return (max(gap.end_ms - gap.start_ms for gap in inner_gaps(trace)) + trace.every_ms) / 1000


# --- how much was recorded: continuous glucose, every five minutes ------------------------------------------------

with (REAL / "cgm_5min" / "t2d_five_reference.csv").open(encoding="utf-8") as _file:
    SUBJECTS = list(csv.DictReader(_file))


def subject(name: str) -> Log:
    header, *lines = text_of("cgm_5min/t2d_five").splitlines()
    mine = [header, *(line for line in lines if line.startswith(f"{name},"))]
    return log_of("\n".join(mine) + "\n", "time", "glucose_mg_dl")


@pytest.mark.parametrize("expected", SUBJECTS, ids=lambda row: row["id"])
def test_the_share_recorded_and_what_it_held_are_those_of_another_program(expected: dict[str, str]) -> None:
    """t2d_five_reference.csv, by R's iglu 4.3.0: share active, days, mean, median, range. From the minute table.

    iglu counts readings on a grid from the first to the last; we give each its time. Jitter of seconds lies between.
    """
    table = rows_of(minute_csv(assess([subject(expected["id"])])))
    covered = np.array([float(row["covered"]) for row in table])
    flow = np.array([float(row["flow_ml_per_min"] or "nan") for row in table])
    assert 100 * covered.mean() == pytest.approx(float(expected["active_percent"]), abs=0.05)
    assert len(table) / 1440 == pytest.approx(float(expected["ndays"]), abs=0.05)
    held = np.isfinite(flow)
    assert np.average(flow[held], weights=covered[held]) == pytest.approx(float(expected["mean"]), abs=0.005)
    assert np.median(flow[held]) == float(expected["median"])
    assert np.isnan(flow[covered == 0]).all(), "nothing recorded is never a value"


def test_the_holes_of_a_glucose_series_are_as_its_readme_counts_them() -> None:
    """README: Subject 1 has 91 holes over 10 min, longest 6.83 h. The least holes, of one row, are gaps as well."""
    trace = place([subject("Subject 1")])
    from_stamp_to_stamp = [gap.end_ms - gap.start_ms + trace.every_ms for gap in inner_gaps(trace)]
    assert sum(length > 10 * MINUTE_MS for length in from_stamp_to_stamp) == 91
    assert round(max(from_stamp_to_stamp) / 3_600_000, 2) == 6.83
    assert len(from_stamp_to_stamp) > 91


# --- on and off: a runner's pace, and a pump whose valve is shut --------------------------------------------------


@cache
def run_log() -> Log:
    """Pace, a row every five seconds; 12.5 lies between running and walking."""
    told = json.loads((REAL / "cpd_turing" / "run_log.json").read_text("utf-8"))
    lines = zip(told["time"]["raw"], told["series"][0]["raw"], strict=True)
    return log_of("time,pace\n" + "".join(f"{at},{pace}\n" for at, pace in lines), "time", "pace")


def marked_ms() -> list[int]:
    """README: a runner's on and off, as people marked it: at rows 60, 96, 114, 174, 204, 240, 258, 317."""
    told = json.loads((REAL / "cpd_turing" / "annotations.json").read_text("utf-8"))["run_log"]
    stamps = json.loads((REAL / "cpd_turing" / "run_log.json").read_text("utf-8"))["time"]["raw"]
    assert told["6"] == told["8"] == [60, 96, 114, 174, 204, 240, 258, 317]
    return [instant(stamps[row]) for row in told["6"]]


def test_each_minute_is_on_the_side_of_the_limit_where_people_saw_the_runner() -> None:
    """Eight switches, each in the minute in which people marked it or in the one after; none besides."""
    leak = judged([run_log()], below("12.5 mL/min", "4 min")).leak_trace
    assert leak is not None
    found = [first for first, _ in stretches(leak.state == QUIET)] + [end for _, end in stretches(leak.state == QUIET)]
    switches = [leak.minutes.start_ms + MINUTE_MS * k for k in sorted(found)]
    late = [switch - marked for switch, marked in zip(switches, marked_ms(), strict=True)]
    assert all(-MINUTE_MS < ms < MINUTE_MS for ms in late), late


def test_four_minutes_below_are_met_where_he_ran_for_five_and_not_where_he_ran_for_three() -> None:
    """People's marks: he ran for 3, 5, 3 and 5 min. In the last of them two rows are missing, so nobody can tell."""
    rule = below("12.5 mL/min", "4 min")
    starts, ends = marked_ms()[::2], marked_ms()[1::2]
    assert [round((end - start) / MINUTE_MS) for start, end in zip(starts, ends, strict=True)] == [3, 5, 3, 5]
    said: dict[int, set[Status]] = {k: set() for k in range(4)}
    for run, (start, end) in enumerate(zip(starts, ends, strict=True)):
        for moment in range(start, end + 2 * MINUTE_MS, 15_000):
            evaluation = judged([run_log()], rule, moment).evaluation
            assert evaluation is not None
            said[run].add(evaluation.criteria[0].status)
    assert [Status.MET in found for found in said.values()] == [False, True, False, False]
    assert Status.CANNOT_TELL in said[3]


@pytest.mark.parametrize(("run", "limit"), [("valve1_12", "30.5 mL/min"), ("valve1_14", "30.2 mL/min")])
def test_a_flow_that_falls_while_a_valve_is_shut_is_below_the_limit_then_and_at_no_other_time(
    run: str, limit: str
) -> None:
    """flow_testbed_valves: `changepoint` marks when the valve begins to shut, is shut, begins to open and is open.

    README: scores for change detection use 60 s right of the mark. The limit lies between both medians of the run.
    """
    text = text_of(f"flow_testbed_valves/{run}")
    shutting, shut, opening, is_open = (instant(row["datetime"]) for row in rows_of(text) if row["changepoint"] == "1")
    leak = judged([log_of(text, "datetime", "flow_l_min", time__every="2 s")], below(limit, "5 min")).leak_trace
    assert leak is not None
    ((first, end),) = stretches(leak.state == QUIET)
    begins, ends = (leak.minutes.start_ms + MINUTE_MS * k for k in (first, end))
    assert shutting <= begins <= shut + 2 * MINUTE_MS  # a minute that is wholly after the mark, and its 60 s
    assert opening <= ends < is_open + MINUTE_MS
    assert (leak.state[1:first] == LEAKING).all() and (leak.state[end:-1] == LEAKING).all()


@pytest.mark.parametrize(("run", "hole_s"), [("valve1_2", 76), ("valve1_4", 54)])
def test_a_hole_of_a_minute_is_one_gap_whether_or_not_single_seconds_are(run: str, hole_s: float) -> None:
    """README: steps of 1-2 s; valve1_2 has a 76 s and valve1_4 a 54 s hole."""
    text = text_of(f"flow_testbed_valves/{run}")
    found, declared = (place([log_of(text, "datetime", "flow_l_min", **more)]) for more in ({}, {"time__every": "2 s"}))
    assert longest_s(found) == longest_s(declared) == hole_s
    assert len(inner_gaps(declared)) == 1
    assert len(inner_gaps(found)) > 40


def test_a_logger_slower_than_its_whole_second_stamps_is_told_what_to_declare() -> None:
    """README: rows at 1 s, steps of 1-2 s. Taken for lost seconds they leave no minute recorded throughout."""
    text = text_of("flow_testbed_valves/valve1_12")
    undeclared = log_of(text, "datetime", "flow_l_min")
    assert any('declare time.every = "2 s"' in note for note in undeclared.notes)
    tables = [rows_of(minute_csv(assess([log_of(text, "datetime", "flow_l_min", **more)])))[1:-1]
              for more in ({}, {"time__every": "2 s"})]  # fmt: skip
    assert max(float(row["covered"]) for row in tables[0]) < 1
    assert min(float(row["covered"]) for row in tables[1]) == 1


def test_a_leak_of_nine_hours_is_found_to_the_minute_and_no_other() -> None:
    """art_daily_jumpsup: 20 and 80 by day and night; labels.json marks 2014-04-11 09:00, from where it is over 100."""
    found = judged([log_of(text_of("anomaly_nab/art_daily_jumpsup"), "timestamp", "value")], below("100 mL/min", "8 h"))
    leak = found.leak_trace
    assert leak is not None and found.evaluation is not None
    ((first, end),) = stretches(leak.state == LEAKING)
    assert leak.minutes.start_ms + MINUTE_MS * first == instant("2014-04-11 09:00:00")
    assert end - first == 9 * 60
    assert (leak.state != LEAKING).sum() == (leak.state == QUIET).sum() == (14 * 24 - 9) * 60


# --- rows that repeat, and numbers as programs print them ---------------------------------------------------------


def test_a_row_given_twelve_times_is_used_once() -> None:
    """ec2_disk_write_bytes. README: 11 repeated or backward times, 1 h hole. All twelve rows stamped 03:00 say 0."""
    rows = rows_of(text_of("anomaly_nab/ec2_disk_write_bytes_1ef3de"))
    megabytes = "".join(f"{row['timestamp']},{float(row['value']) / 1e6}\n" for row in rows)  # no flow is millions
    trace = place([log_of(f"timestamp,value\n{megabytes}", "timestamp", "value")])
    assert (trace.ledger.read, trace.ledger.duplicate, trace.ledger.conflicting) == (4730, 11, 0)
    assert trace.ledger.refused == 0
    assert longest_s(trace) == 61 * 60  # 01:59 to 03:00
    assert len(inner_gaps(trace)) == 1
    assert trace.clock_steps == trace.conflicts == ()


def test_a_number_is_read_with_all_the_digits_that_a_program_prints() -> None:
    """art_load_balancer_spikes: 4,032 rows of 5 min, 55 of them with 16 digits and more after the point."""
    text = text_of("anomaly_nab/art_load_balancer_spikes")
    assert sum(len(row["value"].partition(".")[2]) > 15 for row in rows_of(text)) == 55
    log = log_of(text, "timestamp", "value")
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (4032, 4032, 0)
    assert log.flow_ul_per_min.tolist() == [round(1000 * float(row["value"])) for row in rows_of(text)]


def test_the_same_numbers_are_taken_from_a_unit_that_sends_them_live() -> None:
    """art_load_balancer_spikes, as any program writes its numbers into JSON."""
    for row in rows_of(text_of("anomaly_nab/art_load_balancer_spikes")):
        sent = json.dumps(
            {"unit": "U-1", "sequence": 1, "time": f"{row['timestamp']}Z", "marks": "start", "statistic": "sample",
             "flow": {"value": float(row["value"]), "unit": "mL/min"}}
        )  # fmt: skip
        flow = read_line(sent).flow
        assert flow is not None and float(flow.value) == float(row["value"])


# --- rows that cannot be read -------------------------------------------------------------------------------------

SAMPLE = re.compile(r"-?[0-9]+\.[0-9]+, -?[0-9]+\.[0-9]+")
NO_FLOW = re.compile(r", ?-?[0-9]+\.[0-9]+")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("bad-row", {4: ("flow", "'0.03.0' is not a number"), 13: ("flow", "too short")}),  # README: `0.03.0`
        ("malformed_breath", {22: ("flow", "too short")}),  # README: a truncated breath
        ("null-breath-data", {3: ("flow", "too short")}),  # README: the first number is missing
    ],
)
def test_a_raw_log_with_torn_rows_loses_those_rows_and_no_other(name: str, said: dict[int, tuple[str, str]]) -> None:
    """icu_vent_paw_flow/malformed_logs: flow and pressure at 50 Hz, with marks between breaths and torn rows.

    A stamp is put before each line, by its place. What is a sample is judged here by a pattern of its own.
    """
    lines = (REAL / "icu_vent_paw_flow" / "malformed_logs" / f"{name}.rawlog").read_text("ascii").splitlines()
    text = "ms,flow,paw\n" + "".join(f"{20 * n},{line}\n" for n, line in enumerate(lines))
    how = layout(
        {"time.columns": ["ms"], "time.format": "epoch_ms", "time.marks": "start", "time.every": "0.02 s"},
        flow={"column": "flow", "unit": "L/min", "statistic": "sample"},
        pressure={"column": "paw", "unit": "cmH2O", "suction_is": "negative"},
    )
    log = read_log(text.encode(), how, name, 1.0)
    samples = [n for n, line in enumerate(lines) if SAMPLE.fullmatch(line)]
    blank = [n for n, line in enumerate(lines) if NO_FLOW.fullmatch(line)]
    assert log.ledger.read == len(lines)
    assert log.ledger.refused == len(lines) - len(samples) - len(blank)
    told = dict(zip((log.time_ms // 20).tolist(), log.flow_ul_per_min.tolist(), strict=True))
    assert all(told[n] == round(1e6 * float(lines[n].split(",")[0])) for n in samples)
    assert all(told[n] == NONE for n in blank), "a blank flow is missing, never zero"
    refused = {row.line: (row.column, row.why) for row in log.ledger.first_refused}
    for line, (column, why) in said.items():
        assert refused[line][0] == column
        assert why in refused[line][1]
