"""Sensors that are off, stuck or on a cycle, in series whose faults are known from elsewhere.

Sources: icu_numerics_1min (a monitor's numbers, a sensor that is off written as 0) and anomaly_nab (Numenta Anomaly
Benchmark, with its own labels); notices stand beside the files. 'README' is the data sets' own. None is of a chest
drain: their values are read as a flow in mL/min, to see what the tool makes of such a column.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pytest

from behaviour.reading.typed_log import layout
from behaviour.trace.made_log import MINUTE, NOON, made_log, thousandths
from slackwater.leak.doubt import STUCK_MIN, sensor_stuck
from slackwater.leak.stretches import Flags, stretches
from slackwater.reading.log import NONE, Log
from slackwater.reading.read import read_log
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes
from slackwater.trace.types import Minutes, Trace

REAL = Path(__file__).parents[1] / "data" / "real"
DAY_MIN = 24 * 60


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    with gzip.open(REAL / f"{name}.csv.gz", "rt", encoding="utf-8") as file:
        return tuple(csv.DictReader(file))


# --- a sensor that is off, written as 0 ----------------------------------------------------------------------------


def monitor(column: str, missing: list[str], *, zero: str = "0.0") -> Log:
    """One column of the monitor as a unit's export, a row a minute; an off sensor's cell reads `zero`."""
    table = rows("icu_numerics_1min/rec_a_0_960min")
    assert [int(row["t_min"]) for row in table] == list(range(960))
    noon = datetime.fromtimestamp(NOON / 1000, UTC)
    stamps = ((noon + timedelta(minutes=n)).isoformat() for n in range(960))
    cells = (zero if row[column] == "0.0" else row[column] for row in table)
    body = "".join(f"{stamp},{cell}\n" for stamp, cell in zip(stamps, cells, strict=True))
    how = layout({"log.missing": missing, "time.marks": "start", "time.every": "60 s"}, pressure=None)
    return read_log(("time,Flow\n" + body).encode(), how, "monitor.csv", 0.05)


def placed_minutes(log: Log) -> tuple[Trace, Minutes]:
    trace = place([log])
    return trace, minutes(trace, NOON, NOON + 960 * MINUTE)


def uncovered(table: Minutes) -> list[int]:
    """Lengths of the runs of minutes without a reading."""
    return [end - first for first, end in stretches(table.covered == 0)]


@pytest.mark.parametrize("zero", ["0", "0.0"])
def test_a_zero_that_means_off_is_missing_if_the_layout_says_so(zero: str) -> None:
    """README: SpO2 is 0 in 27.5 % of the minutes, in 6 runs, the longest 189 min."""
    log = monitor("SpO2", [zero], zero=zero)
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (960, 960, 0)
    trace, table = placed_minutes(log)
    assert round(100 * (1 - float(table.covered.mean())), 1) == 27.5
    assert len(uncovered(table)) == 6
    assert max(uncovered(table)) == 189
    assert table.present.all() and gaps(trace, NOON, NOON + 960 * MINUTE) == (), "a row without a value is no gap"


@pytest.mark.parametrize(
    ("column", "median", "off_percent"),
    [("SpO2", 97.0, 27.5), ("HR", 55.2, 2.3), ("RESP", 11.0, 2.1)],  # README; RESP's share: counted in the raw file
)
def test_no_minute_holds_a_zero_that_means_off(column: str, median: float, off_percent: float) -> None:
    """README: medians without zeros. Of a whole file, an off minute is NaN, not a small number."""
    _, table = placed_minutes(monitor(column, ["0.0"]))
    assert np.nanmedian(table.flow) == pytest.approx(median, abs=0.05)
    assert np.nanmin(table.flow_min) > 0
    assert np.isnan(table.flow).tolist() == [row[column] == "0.0" for row in rows("icu_numerics_1min/rec_a_0_960min")]
    assert round(100 * float(np.isnan(table.flow).mean()), 1) == off_percent


@pytest.mark.parametrize("missing", [[""], ["0"]], ids=["not declared", "declared as another text"])
def test_a_zero_the_layout_does_not_call_missing_is_a_reading_of_zero(missing: list[str]) -> None:
    """The danger: 264 minutes of an off sensor as 264 minutes of no flow. A 'missing' text is that text alone."""
    _, table = placed_minutes(monitor("SpO2", missing))
    assert table.covered.all()
    assert int((table.flow == 0).sum()) == 264


# --- a sensor that is stuck ----------------------------------------------------------------------------------------


def benchmark(name: str, *, plus: float = 0, step: float = 1, every_s: int = 300) -> Trace:
    """A series as flow in mL/min on a display with this step; `every_s` other than its 300 s: run that much faster."""
    table = rows(f"anomaly_nab/{name}")
    stamps = [datetime.fromisoformat(row["timestamp"]).replace(tzinfo=UTC) for row in table]
    seconds = [(stamp - stamps[0]).total_seconds() * every_s / 300 for stamp in stamps]
    flow = [float(row["value"]) + plus for row in table]
    return place([made_log(seconds, flow, since=NOON, every=every_s, step=step)])


def stuck(trace: Trace) -> Flags:
    return sensor_stuck(trace, minutes(trace, NOON, trace.data_until_ms))


def test_a_line_that_is_flat_for_two_weeks_is_stuck_as_a_flow() -> None:
    """art_flatline: 45.0 throughout.

    README has 'no anomaly: nothing may fire': the benchmark asks for a break in a pattern, and a flat line has none.
    We ask another question. Breathing shows in a flow of 45 mL/min, and one printed value for half an hour is a
    sensor that stands still; so all of it is doubted, from the first minute. That costs evidence and makes none.
    """
    flags = stuck(benchmark("art_flatline"))
    assert len(flags) == 14 * DAY_MIN
    assert flags.all()


@pytest.mark.parametrize(("step", "doubted"), [(9, True), (9.5, False), (45, False)])
def test_a_flat_line_of_less_than_five_steps_of_the_display_is_not_stuck(step: float, doubted: bool) -> None:
    """docs/definitions.md: a small steady flow may print one value for long. 45 is five steps of 9."""
    assert stuck(benchmark("art_flatline", step=step)).tolist() == [doubted] * 14 * DAY_MIN


def test_a_flat_line_at_zero_is_not_stuck() -> None:
    """That is how a healed lung reads."""
    assert not stuck(benchmark("art_flatline", plus=-45)).any()


@pytest.mark.parametrize(("suction", "doubted"), [(-4.5, True), (-1.0, False)])
def test_a_flat_pressure_is_stuck_where_there_is_suction(suction: float, doubted: bool) -> None:
    """art_flatline in tenths of cmH2O, a reading a second, 67 minutes; near the room's pressure it may rest."""
    n = len(rows("anomaly_nab/art_flatline"))
    flat = thousandths([suction] * n)
    trace = place([made_log(range(n), [0.0] * n, since=NOON, pressure_mcmh2o=flat)])
    assert stuck(trace).tolist() == [doubted] * (n // 60 + 1)


def test_a_flat_day_among_lively_ones_is_stuck_from_its_labelled_first_minute() -> None:
    """art_daily_flatmiddle: labels.json marks 2014-04-11 00:00, the start of the eleventh day.

    That day holds 40.0 for 23 h, and all of them are doubted; then -8.0, which is another doubt (below zero). Not one
    minute of the thirteen other days is: their plateaus carry noise, and the hour a day that they rest is at zero.
    """
    table = rows("anomaly_nab/art_daily_flatmiddle")
    flat = [n for n, row in enumerate(table) if row["value"] == "40.0"]
    assert table[flat[0]]["timestamp"] == "2014-04-11 00:00:00" and len(flat) == 23 * 12
    trace = benchmark("art_daily_flatmiddle")
    assert list(stretches(stuck(trace))) == [(10 * DAY_MIN, 10 * DAY_MIN + 23 * 60)]
    assert int((trace.flow_ul_per_min == 0).sum()) == 13 * 12


def test_a_gap_does_not_end_a_stuck_run() -> None:
    """The flat day with 50 of each 60 minutes taken out: ten minutes at a time are never half an hour."""
    table = rows("anomaly_nab/art_daily_flatmiddle")[10 * 288 : 10 * 288 + 276]
    kept = [n for n in range(len(table)) if n % 12 < 2]
    trace = place([made_log([300 * n for n in kept], [float(table[n]["value"]) for n in kept], every=300, step=1)])
    flags = stuck(trace)
    assert STUCK_MIN > 10
    assert flags.all()
    assert len(gaps(trace, NOON, trace.data_until_ms)) == 22


# --- a cycle -------------------------------------------------------------------------------------------------------


def test_a_perfect_cycle_of_hours_between_zero_and_60_is_stuck_while_on_and_never_while_off() -> None:
    """art_daily_perfect_square_wave (20 for 15 h, 80 for 9 h a day), lowered by 20 to be a flow that goes off.

    README has 'nothing may fire' for a perfect cycle. On sensor_stuck that holds for its off phase: zero is never
    stuck. It does not hold for nine hours at 60 to the digit: the cycle is perfect, but no flow of a patient is.
    The two edges of each on phase are found to the minute, so a cycle is not taken for one long run.
    """
    table = rows("anomaly_nab/art_daily_perfect_square_wave")
    runs = [(value, len(list(run))) for value, run in groupby(row["value"] for row in table)]
    assert {value: {n * 5 for v, n in runs[1:] if v == value} for value in ("20.0", "80.0")} == {
        "20.0": {900, 360},  # the series ends six hours into its last night
        "80.0": {540},
    }
    flags = stuck(benchmark("art_daily_perfect_square_wave", plus=-20))
    assert list(stretches(flags)) == list(on_phases())
    assert len(list(on_phases())) == 14


def on_phases() -> Iterator[tuple[int, int]]:
    """Minutes at 80, from the raw rows."""
    at = 0
    for value, run in groupby(row["value"] for row in rows("anomaly_nab/art_daily_perfect_square_wave")):
        end = at + 5 * len(list(run))
        if value == "80.0":
            yield at, end
        at = end


def test_both_levels_of_the_cycle_are_stuck_if_neither_is_zero() -> None:
    """As it stands, at 20 and 80: each phase holds one printed value for hours."""
    assert stuck(benchmark("art_daily_perfect_square_wave")).all()


@pytest.mark.parametrize("plus", [0, -20])
def test_nothing_fires_on_a_cycle_whose_phases_are_shorter_than_half_an_hour(plus: float) -> None:
    """The same cycle 300 times as fast, on for 108 s and off for 180 s, as a pump might: it keeps no value long."""
    trace = benchmark("art_daily_perfect_square_wave", plus=plus, every_s=1)
    table = minutes(trace, NOON, trace.data_until_ms)
    assert len(table) == 68
    assert int((table.flow_min == table.flow_max).sum()) > STUCK_MIN, "minutes of one value there are, but no run"
    assert not sensor_stuck(trace, table).any()


# --- a sensor that lives -------------------------------------------------------------------------------------------

MACHINE = "anomaly_nab/machine_temperature_2014-01-06_to_08"


def machine(step: float) -> tuple[Trace, Minutes]:
    table = rows(MACHINE)
    stamps = [datetime.fromisoformat(row["timestamp"]).replace(tzinfo=UTC) for row in table]
    values = [float(row["value"]) for row in table]
    shown = [round(value / step) * step for value in values] if step else values
    seconds = [(stamp - stamps[0]).total_seconds() for stamp in stamps]
    trace = place([made_log(seconds, shown, since=NOON, every=300, step=step)])
    return trace, minutes(trace, NOON, trace.data_until_ms)


def test_a_clock_that_ran_back_once_gives_one_disputed_hour_and_no_stuck_sensor() -> None:
    """machine_temperature: README's one repeated time is one step back, 02:55 to 02:00, after which twelve stamps
    come a second time. Nothing in that hour can be used, and nothing anywhere is stuck.
    """
    stamps = [row["timestamp"] for row in rows(MACHINE)]
    back = [(a, b) for a, b in pairwise(stamps) if b <= a]
    assert back == [("2014-01-07 02:55:00", "2014-01-07 02:00:00")]
    assert len(stamps) - len(set(stamps)) == 12
    trace, table = machine(0)
    assert trace.ledger.conflicting == 24 and len(trace.clock_steps) == 1
    assert np.flatnonzero(table.clock).tolist() == list(range(DAY_MIN + 120, DAY_MIN + 180))
    assert (trace.flow_ul_per_min == NONE).sum() == 12
    assert not sensor_stuck(trace, table).any()


def test_a_living_sensor_shown_in_whole_units_is_doubted_for_at_most_two_percent_of_its_time() -> None:
    """Rounded to whole degrees, six rows in a row may agree by chance: 65 of 4,320 minutes. Each such run is no longer
    than 35 minutes, and a doubt only takes evidence away.
    """
    trace, table = machine(1)
    found = list(stretches(sensor_stuck(trace, table)))
    assert sum(end - first for first, end in found) <= 0.02 * len(table)
    assert all(STUCK_MIN <= end - first <= 35 for first, end in found)
    for first, end in found:
        assert len(set(table.flow[first:end].tolist())) == 1
