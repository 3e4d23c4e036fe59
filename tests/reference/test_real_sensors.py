"""Sensors that are off, stuck or on a cycle, in series whose faults are known from elsewhere.

Sources: icu_numerics_1min (a monitor's numbers, a sensor that is off written as 0) and anomaly_nab (Numenta Anomaly
Benchmark, with its own labels); notices stand beside the files. 'README' is the data sets' own. None is of a chest
drain: their values are read as a flow in mL/min, to see what the tool makes of such a column.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pytest

from behaviour.reading.typed_log import layout
from behaviour.trace.made_log import MINUTE, NOON, made_log, thousandths
from slackwater.leak.breathing import breathing
from slackwater.leak.doubt import sensor_stuck
from slackwater.leak.stretches import stretches
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


def benchmark(
    name: str, *, plus: float = 0, step: float = 1, every_s: int = 300, without: Collection[int] = ()
) -> Trace:
    """A series as flow in mL/min on a display with this step; `every_s` other than its 300 s: run that much faster;
    rows `without` left out.
    """
    table = rows(f"anomaly_nab/{name}")
    first = instant(table[0])
    kept = [row for number, row in enumerate(table) if number not in without]
    seconds = [(instant(row) - first).total_seconds() * every_s / 300 for row in kept]
    flow = [float(row["value"]) + plus for row in kept]
    return place([made_log(seconds, flow, every=every_s, step=step)])


def instant(row: dict[str, str]) -> datetime:
    """Read as UTC: the benchmark names no zone."""
    return datetime.fromisoformat(row["timestamp"]).replace(tzinfo=UTC)


def stuck(trace: Trace) -> list[tuple[int, int]]:
    """Stretches of minutes in which a sensor stands still."""
    table = minutes(trace, NOON, trace.data_until_ms)
    return list(stretches(sensor_stuck(trace, table, breathing(trace, table))))


MIDDLE = "art_daily_flatmiddle"
FLAT_FROM, FLAT_UNTIL = 10 * DAY_MIN, 10 * DAY_MIN + 23 * 60  # of the eleventh day, in minutes


def flat_rows() -> list[int]:
    return [n for n, row in enumerate(rows(f"anomaly_nab/{MIDDLE}")) if row["value"] == "40.0"]


def test_a_flat_day_among_lively_ones_is_stuck_from_its_labelled_first_minute() -> None:
    """art_daily_flatmiddle: labels.json marks 2014-04-11 00:00, the start of the eleventh day.

    That day holds 40.0 for 23 h, and all of them are doubted; then -8.0, which is another doubt (below zero). Not one
    minute of the thirteen other days is: their plateaus carry noise, and the hour a day that they rest is at zero.
    """
    table = rows(f"anomaly_nab/{MIDDLE}")
    assert table[flat_rows()[0]]["timestamp"] == "2014-04-11 00:00:00"
    assert flat_rows() == list(range(FLAT_FROM // 5, FLAT_UNTIL // 5))
    trace = benchmark(MIDDLE)
    assert int((trace.flow_ul_per_min == 0).sum()) == 13 * 12
    assert stuck(trace) == [(FLAT_FROM, FLAT_UNTIL)]


@pytest.mark.parametrize(("flat", "doubted"), [(3, False), (48, True)])
def test_a_flat_stretch_of_four_hours_is_found_and_one_of_a_quarter_is_not(flat: int, doubted: bool) -> None:
    """The same with all but the first `flat` rows of 40.0 taken out."""
    found = stuck(benchmark(MIDDLE, without=flat_rows()[flat:]))
    assert found == ([(FLAT_FROM, FLAT_FROM + 5 * flat)] if doubted else [])


def test_a_gap_does_not_end_a_stuck_run() -> None:
    """The flat day with 50 of each 60 minutes taken out: two rows an hour, which still hold one value."""
    trace = benchmark(MIDDLE, without=[n for n in flat_rows() if n % 12 > 1])
    assert len(gaps(trace, NOON + FLAT_FROM * MINUTE, NOON + FLAT_UNTIL * MINUTE)) == 23
    assert stuck(trace) == [(FLAT_FROM, FLAT_UNTIL - 50)]


def test_a_flat_day_is_too_small_to_be_stuck_on_a_coarse_display() -> None:
    """docs/definitions.md: a small steady flow may print one value for long. 40 is two steps of 20."""
    assert stuck(benchmark(MIDDLE, step=20)) == []


@pytest.mark.parametrize("lowered_by", [0, 40], ids=["-4 cmH2O", "0 cmH2O"])
def test_a_pressure_that_is_flat_for_a_day_is_stuck_at_zero_too(lowered_by: float) -> None:
    """The same series as a suction in tenths of cmH2O: pressure must move with breathing whatever its level."""
    table = rows(f"anomaly_nab/{MIDDLE}")
    pressure = thousandths([(lowered_by - float(row["value"])) / 10 for row in table])
    seconds = [300 * n for n in range(len(table))]
    trace = place([made_log(seconds, [0.0] * len(table), every=300, pressure_mcmh2o=pressure)])
    assert stuck(trace) == [(FLAT_FROM, FLAT_UNTIL)]


def test_a_flow_that_is_flat_for_a_day_is_not_stuck_at_zero() -> None:
    """docs/definitions.md: a flow of zero is not stuck by itself; that is how a healed lung reads."""
    assert stuck(benchmark(MIDDLE, plus=-40)) == []


def test_nothing_fires_on_a_line_that_is_flat_for_two_weeks() -> None:
    """art_flatline, 45.0 throughout. README: no anomaly, nothing may fire; nothing does.

    No reading ever differed, so the log cannot say how often a value repeats by chance: such a display may be coarse.
    What that costs is the next check.
    """
    trace = benchmark("art_flatline")
    assert len(trace.start_ms) == 14 * DAY_MIN // 5
    assert stuck(trace) == []


def test_a_flow_that_never_moves_while_pressure_breathes_is_stuck() -> None:
    """docs/definitions.md: one printed value for long where breathing must show. art_flatline a reading a second,
    beside a made pressure that breathes by 4 cmH2O at 14 a minute: the patient moves and the flow sensor does not.
    """
    n = len(rows("anomaly_nab/art_flatline"))
    breathing = -10 + 2 * np.sin(2 * np.pi * 14 / 60 * np.arange(n))
    flat = [float(row["value"]) for row in rows("anomaly_nab/art_flatline")]
    trace = place([made_log(range(n), flat, step=1, pressure_mcmh2o=thousandths(breathing.tolist()))])
    assert stuck(trace) != []


# --- a cycle -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("every_s", [300, 10, 1])
@pytest.mark.parametrize("plus", [0, -20], ids=["20 and 80", "off and 60"])
def test_nothing_fires_on_a_perfect_cycle(plus: float, every_s: int) -> None:
    """art_daily_perfect_square_wave, on for 9 h and off for 15 h of each day. README: nothing may fire.

    As it stands, and 30 and 300 times as fast (on for 18 min, for 108 s), as a pump might. A value held for hours is
    not stuck where values are always held for hours: how long is too long comes from the log itself.
    """
    table = rows("anomaly_nab/art_daily_perfect_square_wave")
    held = [len(list(run)) for _, run in groupby(row["value"] for row in table)]
    assert len(held) == 29 and {108, 180} == set(held[1:-1])
    assert stuck(benchmark("art_daily_perfect_square_wave", plus=plus, every_s=every_s)) == []


# --- a sensor that lives -------------------------------------------------------------------------------------------

MACHINE = "anomaly_nab/machine_temperature_2014-01-06_to_08"


def machine(step: float) -> tuple[Trace, Minutes]:
    """Three days of it from midnight, as shown in steps of `step`; 0: all of its digits."""
    table = rows(MACHINE)
    values = [float(row["value"]) for row in table]
    shown = [round(value / step) * step for value in values] if step else values
    seconds = [(instant(row) - instant(table[0])).total_seconds() for row in table]
    trace = place([made_log(seconds, shown, every=300, step=step)])
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
    assert int((trace.flow_ul_per_min == NONE).sum()) == 12
    assert not sensor_stuck(trace, table, breathing(trace, table)).any()


def test_a_living_sensor_shown_in_whole_units_is_doubted_for_at_most_one_percent_of_its_time() -> None:
    """Rounded to whole degrees its rows agree by chance, up to seven in a row; a doubt only takes evidence away."""
    trace, table = machine(1)
    found = list(stretches(sensor_stuck(trace, table, breathing(trace, table))))
    assert sum(end - first for first, end in found) <= 0.01 * len(table)
    for first, end in found:
        assert len(set(table.flow[first:end].tolist())) == 1
