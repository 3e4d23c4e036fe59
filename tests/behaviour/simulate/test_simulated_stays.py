"""The same seed gives the same stay; a stay is files that the documented shapes describe."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from slackwater import simulate as sim
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.errors import UsageError
from slackwater.reading.layout import Layout
from slackwater.simulate.course import PATTERNS
from slackwater.simulate.fault import FAULT_KINDS
from slackwater.simulate.unit_types import UNIT_TYPES


def _brief(name: str, hours: float = 6.0) -> sim.Scenario:
    return replace(sim.scenario(name), hours=hours)


def test_the_same_seed_gives_the_same_bytes() -> None:
    first, again = (sim.simulate(_brief("healing"), 7) for _ in range(2))
    assert first.logs == again.logs
    assert first.chart_csv == again.chart_csv
    assert first.truth.leak_rest_ml_per_min.tolist() == again.truth.leak_rest_ml_per_min.tolist()


def test_another_seed_gives_another_stay() -> None:
    one, two = (sim.simulate(_brief("healing"), seed) for seed in (7, 8))
    assert one.logs != two.logs
    assert one.chart_csv != two.chart_csv


def test_a_longer_cohort_begins_with_the_shorter_one() -> None:
    short = list(sim.cohort(1, seed=5))
    longer = next(islice(sim.cohort(3, seed=5), 1))
    assert longer[0] == short[0][0]
    assert longer[1].logs == short[0][1].logs


def test_every_course_and_every_fault_has_a_scenario() -> None:
    scenarios = [sim.scenario(name) for name in sim.scenario_names()]
    assert {s.course.pattern for s in scenarios} == set(PATTERNS)
    assert {f.kind for s in scenarios for f in s.faults} == set(FAULT_KINDS)
    assert {s.unit.name for s in scenarios} == {u.name for u in UNIT_TYPES}


def test_an_unknown_scenario_is_refused_with_the_names_that_exist() -> None:
    with pytest.raises(UsageError, match=r"'nonesuch' is no scenario\. Name one of: demo, "):
        sim.scenario("nonesuch")


@pytest.mark.parametrize("name", sim.scenario_names())
def test_a_stay_is_read_by_its_own_layout_chart_and_episode_readers(name: str) -> None:
    stay = sim.simulate(_brief(name), 2)
    layout = Layout.from_toml(stay.layout_toml, "layout.toml")
    assert layout.unconfirmed == ()
    chart = read_chart(stay.chart_csv.encode(), "chart.csv", zone=stay.scenario.zone)
    assert chart.read > 5
    assert all(entry.known for entry in chart.entries)
    episode = read_episode(stay.episode_toml.encode(), "episode.toml")
    assert episode.drain_number == "1"
    assert episode.connected_at == stay.scenario.start_s * 1000


@pytest.mark.parametrize("unit", UNIT_TYPES, ids=lambda unit: unit.name)
def test_a_log_is_a_table_with_the_columns_its_layout_names(unit: sim.UnitType) -> None:
    stay = sim.simulate(replace(_brief("healing", 3.0), unit=unit), 3)
    layout = tomllib.loads(stay.layout_toml)
    text = stay.logs[0].decode(layout["log"]["encoding"])
    body = text.splitlines()[layout["log"]["skip_lines"] :]
    rows = list(csv.reader(body, delimiter=layout["log"]["separator"], quotechar=layout["log"]["quote"]))
    header = rows[0]
    named = [*layout["time"]["columns"], layout["flow"]["column"], layout["pressure"]["column"]]
    assert set(named) <= set(header)
    assert {len(row) for row in rows} == {len(header)}
    data = rows[2:] if layout["log"]["units_line"] else rows[1:]
    assert len(data) == 3 * 3600 // unit.cadence_s
    decimal = layout["log"]["decimal"]
    flows = [float(row[header.index(layout["flow"]["column"])].replace(decimal, ".")) for row in data]
    assert max(flows) > 0


def test_a_bundle_holds_the_files_and_the_truth_of_every_minute(tmp_path) -> None:  # type: ignore[no-untyped-def]
    stay = sim.simulate(replace(sim.scenario("exchanged"), hours=24.0), 4)
    names = [path.name for path in sim.write_bundle(stay, tmp_path / "stay")]
    assert names == [
        "log.csv",
        "log-2.csv",
        "layout.toml",
        "chart.csv",
        "episode.toml",
        "truth.csv",
        "truth.json",
    ]
    with (tmp_path / "stay" / "truth.csv").open() as file:
        minutes = list(csv.DictReader(file))
    assert len(minutes) == 24 * 60
    assert minutes[0]["minute"] == "2041-03-04T14:19:00Z"
    assert [m["faults"] for m in minutes[18 * 60 : 18 * 60 + 5]] == ["exchange"] * 4 + [""]
    whole = json.loads((tmp_path / "stay" / "truth.json").read_text())
    assert whole["pattern"] == "plateau"
    assert whole["leaking_at_end"] is True
    assert whole["leak_ended_at"] is None


def test_the_demonstration_stays_below_fifty_for_its_last_eight_hours_and_is_open_and_charted() -> None:
    stay = sim.simulate(sim.scenario("demo"), 1)
    flow = stay.sensed.flow_ml_per_min[-8 * 1800 :].reshape(-1, 300)
    assert flow.mean(axis=1).max() < 50.0
    truth = stay.truth
    assert truth.ended_s is not None
    assert truth.ended_s < (90 - 8) * 3600
    assert truth.tube_open[-480:].all()
    assert truth.swing_cmh2o[-480:].min() > 0.8
    chart = [row for row in csv.DictReader(io.StringIO(stay.chart_csv)) if row["time"] >= "2041-03-08T00"]
    said = {(row["item"], row["value"]) for row in chart}
    assert {("swing", "present"), ("cough", "no_leak"), ("tube_open", "yes")} <= said
    assert ("cough", "leak") not in said


def test_the_demonstration_tempts_with_a_nought_while_the_lung_leaks() -> None:
    stay = sim.simulate(sim.scenario("demo"), 1)
    kinked = np.array([bool(names) for names in stay.truth.faults])
    assert 180 <= kinked.sum() <= 190
    rows = np.repeat(kinked, 30)
    assert stay.sensed.flow_ml_per_min[rows][30:-30].max() < 2.5  # shown as nought
    after = np.flatnonzero(kinked)[-1] + 30
    assert stay.truth.leak_rest_ml_per_min[after] > 50.0


def test_a_gap_leaves_no_rows_and_a_blank_leaves_no_value() -> None:
    dropped = sim.simulate(sim.scenario("dropout"), 1)
    hours = dropped.sensed.end_s / 3600.0
    assert not dropped.sensed.present[(hours > 12.0) & (hours <= 14.0)].any()
    blanks = sim.simulate(replace(sim.scenario("blanks"), hours=12.0), 1)
    lines = blanks.logs[0].decode().splitlines()[4:]
    empty = [line.split(";") for line in lines if "---" in line]
    assert len(empty) == 360
    assert {(cells[2], cells[4]) for cells in empty} == {("---", "---")}


def test_local_stamps_repeat_an_hour_in_the_night_the_clocks_go_back() -> None:
    stay = sim.simulate(sim.scenario("dst_autumn"), 1)
    stamps = [";".join(line.split(";")[:2]) for line in stay.logs[0].decode().splitlines()[4:]]
    assert len(stamps) - len(set(stamps)) == 360
    assert sum("dst" in names for names in stay.truth.faults) == 120


def test_a_clock_that_jumps_back_repeats_stamps_and_the_truth_says_when() -> None:
    stay = sim.simulate(sim.scenario("clock_back"), 1)
    stamps = [line.split(",")[0] for line in stay.logs[0].decode().splitlines()[1:]]
    assert len(stamps) - len(set(stamps)) == 1800
    assert stay.truth.faults[24 * 60 - 1] == ()
    assert stay.truth.faults[24 * 60] == ("clock_back",)


def test_a_sparse_nurse_writes_less_and_later_than_a_diligent_one() -> None:
    diligent = sim.simulate(sim.scenario("healing"), 1).chart_csv
    sparse = sim.simulate(replace(sim.scenario("sparse_chart"), hours=72.0), 1).chart_csv
    assert sparse.count("\n") < 0.5 * diligent.count("\n")
    late = [row for row in csv.DictReader(io.StringIO(sparse)) if row["recorded"]]
    assert late
    assert all(row["recorded"] > row["time"] for row in late)
    assert not [row for row in csv.DictReader(io.StringIO(diligent)) if row["recorded"]]
