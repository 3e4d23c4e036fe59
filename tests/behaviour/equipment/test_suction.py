"""Suction as ordered, set and delivered, and what explains a gap. Outside checks name their source beside them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from end_to_end.the_command import called
from slackwater.assessment.suction import WORDS, against, counted, ordered_levels
from slackwater.equipment.tubing import fluid_column_cmh2o, short_of, standing_column_cm, through_loop_cmh2o
from slackwater.leak.words import REASONS
from slackwater.quantities.units import unit
from slackwater.report.suction import percent, starts_of
from slackwater.simulate import scenario, simulate

PA_PER_CMH2O = 98.0665  # exact, by the contract's factors


def test_what_fluid_in_a_hanging_loop_does() -> None:
    """A column of h cm is worth h cmH2O: a siphon adds to the suction, a filled loop opposes it (derived). 25 cm are
    2.452 kPa within 0.01."""
    assert fluid_column_cmh2o(25.0) * PA_PER_CMH2O / 1000 == pytest.approx(2.452, abs=0.01)
    assert through_loop_cmh2o(-20.0, 12.0) == -8.0
    assert through_loop_cmh2o(-20.0, -10.0) == -30.0
    assert through_loop_cmh2o(-20.0, 25.0) > 0.0, "a column higher than the suction lets none through, and presses"
    for gap in (-7.5, 0.0, 3.2, 18.0):
        assert through_loop_cmh2o(-20.0, standing_column_cm(gap)) - -20.0 == pytest.approx(gap, abs=1e-12)


def test_the_largest_error_of_delivered_suction_that_was_published() -> None:
    """Baumann, Chest 2003;123:1878-86 (read): at -20 cmH2O set, one unit delivered -16.9, 15.5 % short."""
    assert 100 * short_of(-20.0, -16.9) == pytest.approx(15.5, abs=0.05)
    assert short_of(-20.0, -22.0) < 0.0


def by_hand(level: float, pressure: float, reason: str, within: float) -> str:
    """One minute, written out from the words of the definition."""
    if not level < 0:  # none ordered, or not known
        return "not_ordered"
    if reason in ("off", "disconnected"):
        return "off"
    if reason == "clamped":
        return "clamped"
    if reason in ("missing", "sensor", "clock", "conflict") or np.isnan(pressure):
        return "cannot_tell"
    if pressure > level + within:
        return "weaker"
    return "stronger" if pressure < level - within else "kept"


def test_every_minute_against_a_reading_by_hand() -> None:
    rng = np.random.default_rng(20)
    n = 5000
    level = rng.choice([-20.0, -8.0, 0.0, np.nan], n)
    pressure = np.where(rng.random(n) < 0.1, np.nan, np.round(rng.uniform(-26, 3, n), 1))
    reason = rng.integers(0, len(REASONS), n).astype(np.int8)
    for within in (0.5, 2.0, 6.0):
        codes = against(level, pressure, reason, within)
        wanted = [by_hand(*row, within) for row in zip(level, pressure, [REASONS[k] for k in reason], strict=True)]
        assert [WORDS[code] for code in codes] == wanted
        share = counted(codes)
        assert share.ordered == n - wanted.count("not_ordered") and share.kept == wanted.count("kept")
        assert share.share == pytest.approx(share.kept / (share.kept + share.weaker + share.stronger + share.off))


def test_an_order_counts_from_its_first_whole_minute() -> None:
    found = ordered_levels([(90_000, -20.0), (240_000, 0.0)], 0, 6)
    assert np.isnan(found[:2]).all() and found[2:].tolist() == [-20.0, -20.0, 0.0, 0.0]
    assert np.isnan(ordered_levels([], 0, 3)).all(), "no order is not an order of none"


def test_nothing_told_is_no_share() -> None:
    """Missing is never zero, and never a hundred per cent."""
    codes = against(np.full(9, -20.0), np.full(9, np.nan), np.full(9, REASONS.index("missing"), np.int8), 2.0)
    assert counted(codes).share is None and counted(codes).untold == 9
    assert (percent(0.9999), percent(1.0), percent(0.001)) == ("over 99 %", "100 %", "under 1 %")


def test_a_time_that_is_none_is_refused() -> None:
    with pytest.raises(Exception, match="no time of a day"):
        starts_of("07:00 25:00")


def files(name: str, folder: Path) -> list[str]:
    stay = simulate(scenario(name), 1)
    (folder / "log.csv").write_bytes(stay.logs[0])
    (folder / "layout.toml").write_text(stay.layout_toml)
    (folder / "chart.csv").write_text(stay.chart_csv)
    (folder / "episode.toml").write_text(stay.episode_toml)
    return [
        str(folder / "log.csv"), "--layout", str(folder / "layout.toml"), "--chart", str(folder / "chart.csv"),
        "--episode", str(folder / "episode.toml"),
    ]  # fmt: skip


@pytest.mark.slow
def test_a_flat_battery_is_found_with_its_reason_and_its_length(tmp_path: Path) -> None:
    """The scenario's own truth: the battery ends at its fault's start and is back at its end."""
    given = files("battery", tmp_path)
    fault = next(one for one in scenario("battery").faults if one.kind == "battery")
    asked = ("equipment", "suction", *given)
    ran = called(*asked, "--within", "2 cmH2O", "--may-be-off", "15 min", "--json", folder=tmp_path)
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    (one,) = [row for row in told["stretches"] if row["kind"] == "off"]
    true_min = 60 * (fault.end_h - fault.start_h)
    assert one["minutes"] == pytest.approx(true_min, abs=10), "as logged and charted"
    assert one["over_min"] == one["minutes"] - 15
    assert any("battery at" in why for why in one["why"])
    unsaid = called(*asked, folder=tmp_path)
    assert unsaid.code == 2 and "no default" in unsaid.err
    in_kpa = called(*asked, "--within", "0.196133 kPa", "--json", folder=tmp_path)
    assert json.loads(in_kpa.out)["minutes"] == told["minutes"], "the unit a distance is given in changes nothing"


def test_a_kpa_is_what_the_standard_says() -> None:
    """0.5 kPa = 5.099 cmH2O: common practice speaks of it as 5; SP 811's factor."""
    assert float(unit("kPa").factor) * 0.5 == pytest.approx(5.099, abs=0.001)
