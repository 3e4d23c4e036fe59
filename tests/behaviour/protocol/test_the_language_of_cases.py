"""Cases beside a rule: what the page says is so, what differs is told, and a case that cannot be read is refused."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from behaviour.protocol.a_rule import air_alone, facts, one_clause
from slackwater.errors import ProtocolError
from slackwater.protocol import Status
from slackwater.protocol.cases import run_cases
from slackwater.protocol.shipped import shipped
from slackwater.quantities.spans import MINUTE_MS

PAGE = Path(__file__).parents[3] / "docs" / "protocol-cases.md"
RULE = shipped("air-50-8h")
GOOD = """
[[case]]
name = "quiet"
given = { air_leak = [["8 h", "0 mL/min"]], tube_open = "shown" }
expect = { overall = "met" }
"""


def test_the_case_that_is_broken_below_is_good_as_it_stands() -> None:
    (result,) = run_cases(RULE, GOOD, "air.cases.toml")
    assert result.passed
    assert result.name == "quiet"


@pytest.mark.parametrize("block", re.findall(r"```toml\n(.*?)```", PAGE.read_text("utf-8"), re.S))
def test_the_examples_of_the_page_hold(block: str) -> None:
    assert all(result.passed for result in run_cases(RULE, block, "page"))


@pytest.mark.parametrize("block", re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.S))
def test_the_python_of_the_page_runs(block: str) -> None:
    exec(block, {})


def test_what_differs_is_told_in_words() -> None:
    text = GOOD.replace('overall = "met"', 'overall = "not_met", air = "met", since = { air = "3 h ago" }')
    (result,) = run_cases(RULE, text, "air.cases.toml")
    assert not result.passed
    assert result.differences == ("overall: expected not_met, is met", "since.air: expected 3 h ago, is 0 min ago")


BROKEN = [
    ("[[case]]", "[[cases]]", "unknown key 'cases'", "'case'"),
    ("[[case]]\n", "", "unknown key 'name'", "usual, case"),
    ('name = "quiet"\n', "", "name: is missing", "sentence"),
    ('"8 h"', '"8"', "air_leak: '8' has no unit", "8 h"),
    ('"8 h"', '"0 h"', "air_leak", "8 h"),
    ('"8 h"', '"1e9 h"', "air_leak", "a year at most"),
    ('"0 mL/min"', '"0"', "air_leak: '0' has no unit", "20 mL/min"),
    ('"0 mL/min"', "0", "air_leak: 0 is not text", "unit in quotes"),
    ('"0 mL/min"', '"gone"', "air_leak", "20 mL/min"),
    ('[["8 h", "0 mL/min"]]', '["8 h", "0 mL/min"]', "air_leak", "[["),
    ("air_leak", "airleak", "unknown key 'airleak'", "'air_leak'"),
    ('tube_open = "shown"', 'tube_open = "open"', "tube_open", '["3 h ago"]'),
    ('tube_open = "shown"', 'tube_open = ["3 h"]', "tube_open: '3 h' is not an age", "3 h ago"),
    ('tube_open = "shown"', 'tube_open = { swings = ["3 h ago"] }', "unknown key 'swings'", "'swing'"),
    ('tube_open = "shown"', 'connected = "yesterday"', "connected", '"unknown"'),
    ('tube_open = "shown"', 'rounding = "up"', "rounding", "nearest, floor"),
    ('tube_open = "shown"', 'effort = [["3 h ago", "yes"]]', "effort: 'yes'", '"no_leak"'),
    ('tube_open = "shown"', 'spo2 = [["3 h ago", "95"]]', "spo2: '95' has no unit", "%"),
    ('tube_open = "shown"', 'fluid_appearance = [["3 h ago", "red"]]', "fluid_appearance: 'red'", "serous"),
    ('tube_open = "shown"', "patient = { age = 3 }", "unknown key 'age'", "age_years"),
    ('tube_open = "shown"', 'patient = { age_years = "three" }', "age_years", "unknown"),
    ('overall = "met"', 'overall = "yes"', "'yes' is not a status", "not_met, cannot_tell"),
    ('overall = "met"', 'overal = "met"', "unknown key 'overal'", "'overall'"),
    ('expect = { overall = "met" }', "expect = {}", "expect: says nothing", "overall"),
    ('overall = "met"', 'since = { air = "now" }', "'now' is not an age", "3 h ago"),
    ("[[case]]", "[[case]", "not valid TOML", "line"),
]


@pytest.mark.parametrize(("good", "bad", "what", "mend"), BROKEN, ids=[repr(b) for _, b, _, _ in BROKEN])
def test_a_case_that_cannot_be_read_is_refused_with_place_and_mend(good: str, bad: str, what: str, mend: str) -> None:
    with pytest.raises(ProtocolError) as caught:
        run_cases(RULE, GOOD.replace(good, bad, 1), "air.cases.toml")
    said = str(caught.value)
    assert said.startswith("air.cases.toml")
    assert "\n" not in said
    assert what in said
    assert mend in said


def test_a_file_without_cases_is_refused() -> None:
    with pytest.raises(ProtocolError, match="holds no case"):
        run_cases(RULE, "", "air.cases.toml")


def test_usual_is_what_a_case_starts_from_and_the_patient_is_joined_key_by_key() -> None:
    text = (
        '[usual]\ntube_open = "shown"\npatient = { age_years = 70, breathing = "invasive" }\n'
        '[[case]]\nname = "a"\ngiven = { air_leak = [["8 h", "0 mL/min"]], patient = { breathing = "own" } }\n'
        'expect = { overall = "met" }\n'
        '[[case]]\nname = "b"\ngiven = { air_leak = [["8 h", "0 mL/min"]] }\nexpect = { overall = "not_applicable" }\n'
    )
    assert [result.passed for result in run_cases(RULE, text, "x")] == [True, True]


# --- what `given` becomes ----------------------------------------------------------------------------------------


def test_stretches_shorter_than_a_minute_share_it() -> None:
    found = facts(air_alone(), air_leak=[["6 s", "500 mL/min"], ["54 s", "0 mL/min"], ["60 s", "missing"]])
    signal = found.signals["air_leak", "space"]
    assert signal.mean_low.tolist() == [50.0, 0.0]
    assert signal.mean_high.tolist() == [50.0, np.inf]
    assert signal.peak_low.tolist() == [500.0, 0.0]
    assert signal.trough_high[0] == 0.0
    assert signal.known.tolist() == [True, False]
    assert signal.tolerable.tolist() == [True, True]


def test_a_minute_half_recorded_keeps_what_was_recorded_as_its_low_bound() -> None:
    signal = facts(air_alone(), air_leak=[["30 s", "100 mL/min"], ["30 s", "missing"]]).signals["air_leak", "space"]
    assert (signal.mean_low[0], signal.mean_high[0]) == (50.0, np.inf)
    assert (signal.peak_low[0], signal.peak_high[0]) == (100.0, np.inf)
    assert (signal.trough_low[0], signal.trough_high[0]) == (0.0, 100.0)
    assert not signal.known[0]


def test_a_minute_in_doubt_keeps_nothing() -> None:
    signal = facts(air_alone(), air_leak=[["30 s", "100 mL/min"], ["30 s", "doubt"]]).signals["air_leak", "space"]
    assert (signal.mean_low[0], signal.mean_high[0], signal.peak_low[0]) == (0.0, np.inf, 0.0)
    assert not signal.tolerable[0]


def test_now_is_where_the_longer_list_ends_plus_later() -> None:
    found = facts(air_alone(), air_leak=[["2 h", "0 mL/min"]], fluid_output=[["3 h", "1 mL"]], later="10 min")
    assert found.now_ms - found.grid_start_ms == 190 * MINUTE_MS
    assert found.length == 190
    assert found.data_until_ms == found.grid_start_ms + 120 * MINUTE_MS


@pytest.mark.parametrize(
    ("to", "window", "low", "high"),
    [
        (240, 240, 60.0, 60.0),  # all three whole
        (240, 120, 30.0, 30.0),
        (240, 90, 20.0, 30.0),  # the second entry is cut: between nothing and all of it
        (240, 300, 60.0, np.inf),  # time before connection is charted by nobody
        (300, 120, 20.0, np.inf),  # time after the last entry too
        (120, 120, 30.0, 30.0),
    ],
)
def test_bounds_of_an_amount(to: int, window: int, low: float, high: float) -> None:
    entries = [["2 h", "30 mL"], ["1 h", "10 mL"], ["1 h", "20 mL"]]
    found = facts(air_alone(), fluid_output=entries)
    at = np.array([found.grid_start_ms + to * MINUTE_MS])
    lows, highs = found.amounts["fluid_output", "space"].totals(at, window * MINUTE_MS)
    assert (lows[0], highs[0]) == (low, high)


def test_a_weight_is_never_supplied() -> None:
    assert facts(shipped("child-6mlkg-8h")).weight_kg is None


def test_a_patient_of_whom_nothing_is_said_lies_inside_every_shipped_rule_but_for_the_weight() -> None:
    from slackwater.protocol.population import judge_population
    from slackwater.protocol.shipped import shipped_names

    for name in shipped_names():
        protocol = shipped(name)
        found = judge_population(protocol.applies, facts(protocol, patient={"weight_kg": 5}))
        assert found.status is Status.MET, (name, found.reasons)


def test_a_scope_of_any_kind_finds_what_the_case_gives() -> None:
    for scope in ("drain", "space", "patient"):
        rule = one_clause(f'measure = "spo2"\nscope = "{scope}"\nis = "at_least"\nlimit = "92 %"\nwithin = "4 h"')
        text = (
            '[[case]]\nname = "x"\ngiven = { spo2 = [["1 h ago", "95 %"]] }\nexpect = { it = "met", overall = "met" }\n'
        )
        assert run_cases(rule, text, "x")[0].passed
