"""`[[home]]` clauses and `[suction] kept_within`: read strictly, judged by the one evaluator, nothing by default."""

from __future__ import annotations

import pytest

from slackwater.errors import ProtocolError
from slackwater.protocol.cases import run_cases
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol

BASE = """name = "ours"
version = "1"
status = "example"
source = "invented for the tests"
[evidence]
data_age = "1 h"
gaps = "0 min"
"""
AIR = '[[home]]\nid = "air"\nmeasure = "air_leak"\nis = "below"\nlimit = "200 mL/min"\nlasting = "24 h"\n'
HELP = '[[home]]\nid = "help"\nmeasure = "home_help"\nis = "one_of"\nlimit = ["yes"]\nwithin = "7 d"\n'
YES = 'home_help = [["1 h ago", "yes"]]'


def load(text: str) -> Protocol:
    return load_protocol((BASE + text).encode(), "ours.toml")


@pytest.mark.parametrize(
    ("given", "home"),
    [
        ('air_leak = [["30 h", "0 mL/min"]], home_help = [["1 h ago", "yes"]]', "met"),
        ('air_leak = [["30 h", "0 mL/min"]]', "cannot_tell"),
        ('air_leak = [["30 h", "0 mL/min"]], home_help = [["8 d ago", "yes"]]', "cannot_tell"),
        ('air_leak = [["30 h", "200 mL/min"]], home_help = [["1 h ago", "yes"]]', "not_met"),
        ('air_leak = [["30 h", "0 mL/min"]], home_help = [["1 h ago", "no"]]', "not_met"),
        (f'air_leak = [["20 h", "0 mL/min"], ["9 min", "missing"], ["14 h", "0 mL/min"]], {YES}', "cannot_tell"),
        (f'patient = {{ operation_kind = "pneumonectomy" }}, air_leak = [["30 h", "0 mL/min"]], {YES}',
         "not_applicable"),
    ],
)  # fmt: skip
def test_going_home_is_judged_like_any_other_group(given: str, home: str) -> None:
    case = f'[[case]]\nname = "one"\ngiven = {{ {given} }}\nexpect = {{ home = "{home}" }}\n'
    (result,) = run_cases(load(AIR + HELP), case, "ours.cases.toml")
    assert not result.differences, result.differences


def test_a_rule_of_home_clauses_alone_is_a_rule_and_says_nothing_of_removal() -> None:
    rule = load(HELP)
    assert [one.id for one in rule.home] == ["help"] and not rule.removal and rule.suction is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HELP.replace("home_help", "home_hlep"), "Did you mean 'home_help'"),
        (HELP.replace('"yes"', '"maybe"'), "maybe"),
        (HELP + 'say = "ring"\n', "escalation"),
        (HELP + HELP, "stands twice"),
        (AIR.replace('lasting = "24 h"\n', ""), "lasting or within"),
        (HELP.replace("[[home]]", "[home]"), "list of tables"),
        ('[suction]\nlowest = "5 cmH2O"\nhighest = "20 cmH2O"\nkept_within = "0 cmH2O"\n' + HELP, "is zero"),
        ('[suction]\nlowest = "5 cmH2O"\nhighest = "20 cmH2O"\nkept_within = "2"\n' + HELP, "kept_within"),
    ],
)  # fmt: skip
def test_a_slip_is_refused_with_its_place(text: str, told: str) -> None:
    with pytest.raises(ProtocolError, match=told):
        load(text)


def test_what_counts_as_kept_is_said_by_the_rule_or_by_nobody() -> None:
    """0.2 kPa is 2.03943 cmH2O (NIST SP 811)."""
    said = load('[suction]\nlowest = "5 cmH2O"\nhighest = "20 cmH2O"\nkept_within = "0.2 kPa"\n' + HELP).suction
    assert said is not None and said.kept_within is not None
    assert float(said.kept_within.value) == pytest.approx(2.03943, abs=1e-5)
    unsaid = load('[suction]\nlowest = "5 cmH2O"\nhighest = "20 cmH2O"\n' + HELP).suction
    assert unsaid is not None and unsaid.kept_within is None
