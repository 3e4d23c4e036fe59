"""Laws of representation: how a stay is written down changes no answer (M1 to M9, M23, M34, M39)."""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import strategies as st

import slackwater
from property.a_small_stay import (
    MINUTES,
    PLAIN,
    PROTOCOL,
    RULE,
    Reading,
    Said,
    Stay,
    Way,
    chart_text,
    conclusions,
    episode_text,
    healed,
    judged,
    layout_toml,
    log_rows,
    log_text,
    statuses,
    stays,
)
from property.quick_and_many import Laws
from slackwater.assessment.assessment import Assessment

LAWS = Laws()

# One cmH2O is 98.0665 Pa, one mmHg 13.5951 x 9.80665 Pa: exact (NIST SP 811, appendix B.8).
PASCAL = Fraction(980665, 10000)
UNITS = (
    Way(pressure_unit="kPa", pressure_per=PASCAL / 1000),
    Way(pressure_unit="hPa", pressure_per=PASCAL / 100, sign=-1),
    Way(pressure_unit="mmHg", pressure_per=PASCAL / (Fraction(135951, 10000) * Fraction(980665, 100000))),
    Way(pressure_unit="Pa", pressure_per=PASCAL, sign=-1),
    Way(flow_unit="L/min", flow_per=Fraction(1, 1000)),
    Way(flow_unit="L/h", flow_per=Fraction(60, 1000), pressure_unit="mbar", pressure_per=PASCAL / 100),
)


def minute_states(found: Assessment) -> list[Any]:
    leak = found.leak_trace
    assert leak is not None
    return [leak.state.tolist(), leak.reason.tolist(), leak.open_shown.tolist()]


def same(first: Assessment, second: Assessment, *, lines: bool = True) -> None:
    assert conclusions(first, lines=lines) == conclusions(second, lines=lines)
    assert minute_states(first) == minute_states(second)
    assert slackwater.minute_csv(first) == slackwater.minute_csv(second)


@LAWS.law(stays(), st.sampled_from(UNITS))
def test_m1_other_units_and_signs_change_no_status_and_no_minute(stay: Stay, way: Way) -> None:
    plain, other = judged(stay), judged(stay, way)
    assert statuses(plain) == statuses(other)
    assert minute_states(plain) == minute_states(other)
    for key in ("met_since", "first_met", "waiting_for", "leak"):
        assert conclusions(plain)[key] == conclusions(other)[key]


INSTANT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z")


def moved(value: Any, by: timedelta) -> Any:
    """The document with every instant moved."""
    text = json.dumps(value)
    return json.loads(INSTANT.sub(lambda m: (datetime.fromisoformat(m[0]) + by).strftime("%Y-%m-%dT%H:%M:%SZ"), text))


@LAWS.law(
    stays(), st.sampled_from((timedelta(days=1), timedelta(days=-365), timedelta(minutes=1), timedelta(minutes=777)))
)
def test_m2_moving_every_instant_moves_every_answer_and_nothing_else(stay: Stay, by: timedelta) -> None:
    here, there = conclusions(judged(stay)), conclusions(judged(stay, replace(PLAIN, start=PLAIN.start + by)))
    for document in (here, there):
        document["cautions"] = [c for c in document["cautions"] if c["id"] != "cau-C5"]  # it names the moment in words
        if by % timedelta(days=1):
            document["forecast"] = None  # people sleep at night: an estimate knows the hour of the clock
    assert moved(here, by) == there


@LAWS.law(stays(), st.sampled_from((60, -570, 345, 840)))
def test_m3_the_same_instants_with_another_offset_are_the_same(stay: Stay, offset_min: int) -> None:
    same(judged(stay), judged(stay, replace(PLAIN, offset_min=offset_min)))


@LAWS.law(stays(), st.integers(0, 2**16))
def test_m5_the_order_of_rows_and_columns_is_nothing(stay: Stay, seed: int) -> None:
    chance = random.Random(seed)
    columns = list(PLAIN.columns)
    chance.shuffle(columns)
    way = replace(PLAIN, columns=tuple(columns))
    rows = log_rows(stay, way)
    chance.shuffle(rows)
    said = list(stay.said)
    chance.shuffle(said)
    same(judged(stay), judged(stay, way, logs=[log_text(rows, way)], chart=chart_text(said)), lines=False)


@LAWS.law(stays(), st.integers(1, 4), st.integers(0, 2**16), st.booleans())
def test_m6_one_log_or_several_in_any_order_with_or_without_overlap(
    stay: Stay, parts: int, seed: int, overlap: bool
) -> None:
    chance = random.Random(seed)
    rows = log_rows(stay)
    files: list[list[str]] = [[] for _ in range(parts)]
    for row in rows:
        chosen = chance.sample(range(parts), 2 if overlap and parts > 1 else 1)
        for index in chosen:
            files[index].append(row)
    chance.shuffle(files)
    given = [log_text(file) for file in files if file]
    split = judged(stay, logs=given)
    same(judged(stay), split, lines=False)
    assert split.ledger.read == sum(map(len, files))
    assert split.ledger.duplicate == sum(map(len, files)) - len(rows)


@LAWS.law(stays())
def test_m7_the_same_log_twice_adds_nothing(stay: Stay) -> None:
    once = judged(stay)
    log = log_text(log_rows(stay))
    twice = judged(stay, logs=[log, log], chart=chart_text([*stay.said, *stay.said]))
    same(once, twice, lines=False)
    assert twice.ledger.used == once.ledger.used
    assert twice.ledger.duplicate == once.ledger.read


@LAWS.law(st.integers(365, MINUTES), st.sampled_from((5, 60, 900)), st.booleans())
def test_m9_two_different_values_for_one_moment_are_neither_averaged_nor_won_by_the_last(
    minute: int, other: int, other_first: bool
) -> None:
    stay = healed()
    row = log_rows(Stay((Reading(minute, other, -100, -130, -70),), ()))
    logs = [log_text(log_rows(stay)), log_text(row)]
    found = judged(stay, logs=logs[::-1] if other_first else logs)
    assert found.leak_trace is not None
    assert found.leak_trace.minutes.conflict[minute - 1]
    assert not np.isfinite(found.leak_trace.minutes.flow[minute - 1])
    assert found.ledger.conflicting >= 2
    judged_without = judged(stay.without([minute]))
    assert statuses(found) == statuses(judged_without)


RENAMED = ("", "Ωmega 🙂", "ע-7", "=SUM(A1)", "x" * 200, "0")


@LAWS.law(stays(), st.sampled_from(RENAMED[1:]), st.sampled_from(RENAMED))
def test_m34_names_notes_and_sites_change_no_answer(stay: Stay, name: str, note: str) -> None:
    free = tuple(replace(s, by=name) if s.item == "fluid_output" else replace(s, by=name, note=note) for s in stay.said)
    other = replace(stay, said=free, patient=name.replace('"', ""), site=name.replace('"', ""))
    same(judged(stay), judged(other))


@LAWS.law(stays(), st.sampled_from((0, 55, 400)), st.integers(1, 300))
def test_m39_rows_from_before_the_connection_change_nothing(stay: Stay, level: int, minutes: int) -> None:
    before = tuple(Reading(-at, level, -100, -130, -70) for at in range(minutes, 0, -1))
    with_them = judged(replace(stay, readings=before + stay.readings))
    same(judged(stay), with_them, lines=False)


@pytest.mark.parametrize(
    "around",
    [
        {"PYTHONHASHSEED": "1", "TZ": "Pacific/Kiritimati", "LC_ALL": "C"},
        {"PYTHONHASHSEED": "4242", "TZ": "America/St_Johns", "LC_ALL": "C.UTF-8", "OMP_NUM_THREADS": "1"},
        {"PYTHONHASHSEED": "random", "TZ": "", "LANG": "tr_TR.UTF-8", "PYTHONUTF8": "0"},
    ],
    ids=["far east", "half an hour off", "another language"],
)
def test_m23_the_same_files_give_the_same_bytes_anywhere(around: dict[str, str], tmp_path: Path) -> None:
    stay = healed(said=(Said(500, "note", "naïve 🙂"), Said(100, "swing", "present")))
    (tmp_path / "log.csv").write_bytes(log_text(log_rows(stay)))
    (tmp_path / "layout.toml").write_text(layout_toml())
    (tmp_path / "chart.csv").write_bytes(chart_text(stay.said))
    (tmp_path / "episode.toml").write_bytes(episode_text(stay))
    (tmp_path / "rule.toml").write_bytes(RULE)
    (tmp_path / "elsewhere").mkdir()
    run = [sys.executable, "-m", "slackwater", "assess"]

    def answer(folder: Path, to: Path, env: dict[str, str]) -> tuple[bytes, bytes]:
        given = [str(to / "log.csv"), "--layout", str(to / "layout.toml"), "--chart", str(to / "chart.csv"),
                 "--episode", str(to / "episode.toml"), "--protocol", str(to / "rule.toml")]  # fmt: skip
        done = subprocess.run(
            [*run, *given, "--json", "--minutes", str(tmp_path / "m.csv")],
            cwd=folder,
            env={**os.environ, **env},
            capture_output=True,
            check=True,
        )
        return done.stdout, (tmp_path / "m.csv").read_bytes()

    usual = answer(tmp_path, tmp_path, {"PYTHONHASHSEED": "0", "TZ": "UTC"})
    assert answer(tmp_path / "elsewhere", Path(".."), around) == usual


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in LAWS.names if "_m39_" not in name])
def test_many(name: str) -> None:
    LAWS.many(name)


def test_the_rule_of_these_laws_has_both_guards() -> None:
    assert not PROTOCOL.guards_waived
    assert PROTOCOL.tube_open is not None
    assert PROTOCOL.effort_seen is not None
