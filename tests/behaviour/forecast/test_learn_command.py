"""`slackwater learn`: reads a folder of past stays, and refuses what it cannot learn from."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from slackwater.cli.inputs import read_protocol
from slackwater.cli.learn import _bundles, _says, _stays, command
from slackwater.errors import UsageError
from slackwater.forecast.learn import Case, Learnt, by_clause
from slackwater.leak.filter.model import shipped_model
from slackwater.simulate import scenario, simulate, write_bundle
from slackwater.simulate.unit_types import SHINGLE


def read(folder: Path, *rules: str, zone: str = "UTC") -> list[list[Case]]:
    return _stays(_bundles(str(folder)), [read_protocol(rule) for rule in rules or ("air-20-8h",)], zone, map)


@pytest.fixture
def one(tmp_path: Path) -> Path:
    made = simulate(replace(scenario("plateau"), unit=SHINGLE, hours=86.0), 3)
    write_bundle(made, tmp_path / "one")
    return tmp_path


def test_a_folder_without_stays_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"holds no folder with a layout\.toml"):
        command.main([str(tmp_path)], standalone_mode=False)


def test_a_past_stay_is_read_into_cuts(one: Path) -> None:
    (found,) = read(one)
    assert [(case.minute // 60, round(case.followed_h)) for case in found] == [(24, 62), (36, 50), (48, 38), (72, 14)]
    assert found[0].past.clause.limit_ml_per_min == 20.0


def test_the_hour_of_the_wards_clock_comes_with_it(one: Path) -> None:
    start = scenario("plateau").start.astimezone(UTC)
    for zone, ahead in (("UTC", 0.0), ("+01:00", 1.0)):
        (found,) = read(one, zone=zone)
        assert found[0].past.first_hour == pytest.approx(start.hour + start.minute / 60.0 + ahead)


def test_a_stay_counts_once_however_many_rules_it_is_judged_by(one: Path) -> None:
    (found,) = read(one, "air-20-8h", "air-50-8h")
    assert [cuts[0].past.clause.limit_ml_per_min for cuts in by_clause(found)] == [20.0, 50.0]


def test_too_few_stays_are_refused_and_nothing_is_written(one: Path) -> None:
    out = one / "ours.toml"
    with pytest.raises(UsageError, match=r"could have been made for 1\. Give past drains until it is 20"):
        command.main([str(one), "--out", str(out), "--jobs", "1"], standalone_mode=False)
    assert not out.exists()


def test_a_stay_that_cannot_be_read_is_left_out_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "layout.toml").write_text("[log]\n")
    (tmp_path / "broken" / "log.csv").write_text("a,b\n1,2\n")
    assert read(tmp_path) == []
    assert "broken: left out" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (6.0, 6.4, "They did NOT help there: keep the old numbers."),
        (6.0, 5.8, "That may be chance: keep the old numbers, or give more stays."),
        (6.0, 5.0, "They helped there."),
    ],
)
def test_the_verdict_follows_the_gain_and_its_error(before: float, after: float, verdict: str) -> None:
    says = _says(Learnt(shipped_model(), {}, 56, before, after, 0.3), 25, 60, "ours.toml")
    assert verdict in says
    assert "25 stays of 60 gave 56 forecasts" in says
    assert f"CRPS was {before:.2f} h and is {after:.2f} h" in says
