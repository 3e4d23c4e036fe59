"""The published schema against real documents, and against documents that lie."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from typing import Any

import jsonschema
import pytest

import slackwater
from end_to_end.a_stay import stay
from slackwater.assessment.schema import schema
from slackwater.protocol.shipped import shipped_names
from slackwater.protocol.status import Status
from slackwater.simulate import scenario_names

QUICK = (
    "none", "effort_only_minutes", "massive", "gravity_none", "ventilated", "blocked_to_the_end", "open_circuit",
    "limb_blocked", "tissue", "blanks", "dst_autumn", "exchanged", "pneumonectomy", "child", "usual_chart",
)  # fmt: skip
RULES = (None, "air-50-8h", "strict-local", "fluid-450")


@cache
def document_of(name: str, rule: str | None) -> dict[str, Any]:
    made = stay(name)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.document(
        slackwater.assess(
            [slackwater.read_log(data, layout, f"log-{n}.csv") for n, data in enumerate(made.logs, start=1)],
            chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", made.scenario.zone),
            episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
            protocol=None if rule is None else slackwater.shipped_protocol(rule),
        )
    )


def faults(found: dict[str, Any]) -> list[str]:
    checker = jsonschema.Draft202012Validator(schema())
    return [f"{list(error.absolute_path)}: {error.message[:200]}" for error in checker.iter_errors(found)]


def test_the_schema_is_itself_right() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_a_schema_handed_out_is_a_fresh_one() -> None:
    schema()["properties"].clear()
    assert schema()["properties"]


def test_its_words_are_those_of_the_code() -> None:
    assert schema()["$defs"]["status"]["enum"] == [status.word for status in Status]
    from slackwater.leak.words import REASONS, STATES

    leak = schema()["$defs"]["leak"]["properties"]
    assert sorted(leak["state"]["enum"]) == sorted(STATES)
    assert sorted(leak["reason"]["enum"]) == sorted(REASONS)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("name", QUICK)
def test_the_document_satisfies_the_schema(name: str, rule: str | None) -> None:
    found = document_of(name, rule)
    assert faults(json.loads(json.dumps(found, allow_nan=False))) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", scenario_names())
def test_every_simulated_stay_satisfies_the_schema(name: str) -> None:
    for rule in (None, *shipped_names()):
        assert faults(json.loads(json.dumps(document_of(name, rule), allow_nan=False))) == [], rule


def test_the_ledger_adds_up_in_every_document() -> None:
    for name in QUICK:
        ledger = document_of(name, "air-50-8h")["ledger"]
        parts = ("used", "refused", "duplicate", "conflicting")
        assert sum(ledger[part] for part in parts) == ledger["rows_read"]
        assert sum(ledger["chart"][part] for part in parts) == ledger["chart"]["rows_read"]


def test_nothing_in_it_says_yes_or_no_to_removal() -> None:
    """Booleans are few, and none of them is a verdict."""

    def booleans(value: Any, at: str = "") -> set[str]:
        if isinstance(value, bool):
            return {at}
        if isinstance(value, dict):
            return {found for key, inner in value.items() for found in booleans(inner, key)}
        if isinstance(value, list):
            return {found for inner in value for found in booleans(inner, at)}
        return set()

    for name in QUICK:
        assert booleans(document_of(name, "strict-local")) <= {"as_of_last_reading", "guards_waived", "overdue"}


Bend = Callable[[dict[str, Any]], object]
LIES: dict[str, Bend] = {
    "a key more": lambda d: d.update(ready=True),
    "a key less": lambda d: d.pop("ledger"),
    "a status nobody knows": lambda d: d.update(overall="ready"),
    "a status as a yes": lambda d: d.update(overall=True),
    "a time without Z": lambda d: d.update(as_of="2041-03-04T14:19:00"),
    "a time with an offset": lambda d: d.update(as_of="2041-03-04T15:19:00+01:00"),
    "not met, and met since": lambda d: d.update(overall="not_met", met_since="2041-03-04T14:19:00Z"),
    "a rule without its hash": lambda d: d["protocol"].update(sha256="237f"),
    "no caution of support only": lambda d: d.update(cautions=[c for c in d["cautions"] if c["id"] != "cau-C1"]),
    "no caution of the rule in force": lambda d: d.update(cautions=[c for c in d["cautions"] if c["id"] != "cau-C6"]),
    "an answer without a rule": lambda d: d.update(protocol=None),
    "a chance above one": lambda d: d["leak"].update(p=1.2),
    "a leak in litres": lambda d: d["leak"].update(unit="L/min"),
    "a word and a number at once": lambda d: d["criteria"][0].update(value={"low": 0, "unit": "", "word": "x"}),
    "a guard among the clauses": lambda d: d["criteria"].append(d["guards"][0]),
    "a line zero": lambda d: d["criteria"][0]["evidence"][0]["rows"][0].update(from_line=0),
    "rows below nothing": lambda d: d["ledger"].update(used=-1),
    "an answer that is not a number": lambda d: d["leak"].update(low="0"),
}  # fmt: skip


@pytest.mark.parametrize("lie", LIES)
def test_a_document_that_lies_does_not_pass(lie: str) -> None:
    found = copy.deepcopy(document_of("none", "air-50-8h"))
    assert faults(found) == []
    LIES[lie](found)
    assert faults(found)
