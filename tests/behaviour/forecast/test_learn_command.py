"""`slackwater learn`: reads a folder of past stays, and refuses what it cannot learn from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.cli.learn import _stays, command
from slackwater.errors import UsageError
from slackwater.simulate import scenario, simulate, write_bundle
from slackwater.simulate.unit_types import SHINGLE


def learn(*arguments: str) -> None:
    command.main(list(arguments), standalone_mode=False)


def test_a_folder_without_stays_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"holds no folder with a layout\.toml"):
        learn(str(tmp_path))


def test_a_past_stay_is_read_into_cuts(tmp_path: Path) -> None:
    made = simulate(replace(scenario("plateau"), unit=SHINGLE, hours=86.0), 3)
    write_bundle(made, tmp_path / "one")
    found = _stays(str(tmp_path), ("air-20-8h",))
    assert [case.minute // 60 for case in found[0]] == [24, 36]
    assert found[0][0].past.clause.limit_ml_per_min == 20.0


def test_too_few_stays_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    made = simulate(replace(scenario("plateau"), unit=SHINGLE, hours=86.0), 3)
    write_bundle(made, tmp_path / "one")
    out = tmp_path / "ours.toml"
    with pytest.raises(UsageError, match="Give at least 20 past drains"):
        learn(str(tmp_path), "--out", str(out))
    assert not out.exists()


def test_a_stay_that_cannot_be_read_is_left_out_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "layout.toml").write_text("[log]\n")
    (tmp_path / "broken" / "log.csv").write_text("a,b\n1,2\n")
    assert _stays(str(tmp_path), ("air-20-8h",)) == []
    assert "broken: left out" in capsys.readouterr().err
