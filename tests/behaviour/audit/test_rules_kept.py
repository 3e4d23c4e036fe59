"""The rules pinned to a cohort's drains stay in it by hash, judge as before, and name nobody."""

from __future__ import annotations

import json
from pathlib import Path

import polars
import pytest

from behaviour.audit.past import healed, rule
from behaviour.audit.test_report import TEXT, called, cohort
from slackwater.audit.case import facts_for
from slackwater.audit.cohort import open_cohort
from slackwater.audit.rules import NOT_NAMED, pinned, place_of, put_rule, rule_of, unnamed
from slackwater.audit.shelf import Folder
from slackwater.errors import UsageError
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.load import load_protocol
from slackwater.protocol.shipped import shipped_bytes, shipped_names

NAMING = ("# by Dr Alder\n" + TEXT.replace(
    'status = "example"', 'status = "approved"\napproved_by = "Dr Alder, 2041-03-01"\nnotes = "ask \\"Alder\\" \u00f6"'
)).encode()  # fmt: skip


@pytest.mark.parametrize("name", shipped_names())
def test_without_people_and_prose_every_rule_that_comes_with_the_program_judges_as_before(name: str) -> None:
    whole = load_protocol(shipped_bytes(name), "x")
    bare = load_protocol(unnamed(shipped_bytes(name)), "x")
    case = healed()
    one, other = (evaluate(each, facts_for(case, each)) for each in (whole, bare))
    assert one.timeline.tolist() == other.timeline.tolist() and one.population == other.population
    parts = [[(part.id, part.status, part.run) for part in (*found.criteria, *found.guards)] for found in (one, other)]
    assert parts[0] == parts[1]
    assert [due.told for due in whole.schedule] == [due.told for due in bare.schedule]
    assert (whole.trip and whole.trip.told) == (bare.trip and bare.trip.told)


def test_a_de_identified_cohort_keeps_no_name_and_the_hash_still_tells_which_rule(tmp_path: Path) -> None:
    at, sha256 = Folder(tmp_path), load_protocol(NAMING, "x").sha256
    put_rule(at, sha256, NAMING, names_stay=False)
    text = at.get(place_of(sha256)).decode()
    assert "Alder" not in text and "2041" not in text and "by Dr" not in text
    found = rule_of(at, sha256)
    assert found is not None
    assert (found.sha256, found.name, found.status, found.approved_by) == (sha256, "by-hand", "approved", NOT_NAMED)
    assert found.removal == load_protocol(NAMING, "x").removal


def test_with_dates_it_stays_as_it_was_and_a_change_of_it_is_refused(tmp_path: Path) -> None:
    at, sha256 = Folder(tmp_path), load_protocol(NAMING, "x").sha256
    put_rule(at, sha256, NAMING, names_stay=True)
    assert at.get(place_of(sha256)) == NAMING and rule_of(at, sha256) == load_protocol(
        NAMING, f"{at.says}/{place_of(sha256)}"
    )
    at.put(place_of(sha256), NAMING.replace(b"50 mL/min", b"500 mL/min"))
    with pytest.raises(UsageError, match="not the rule that was pinned"):
        rule_of(at, sha256)


def test_a_rule_that_came_with_the_program_needs_no_text(tmp_path: Path) -> None:
    own = rule("air-50-8h")
    assert pinned(Folder(tmp_path), [own.sha256, "0" * 64]) == {own.sha256: own}


@pytest.fixture(scope="module")
def two_rules(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve drains; half were under a rule that asks for 1 h, half for 2 h."""
    folder = cohort(tmp_path_factory.mktemp("rules"), drains=12)
    at = Folder(folder / "past")
    longer = TEXT.replace('lasting = "1 h"', 'lasting = "2 h"').replace('version = "1"', 'version = "2"')
    rules = [load_protocol(text.encode(), "x") for text in (TEXT, longer)]
    for text, one in zip((TEXT, longer), rules, strict=True):
        put_rule(at, one.sha256, text.encode(), names_stay=False)
    for k, drain in enumerate(open_cohort(folder / "past").drains):
        sheet = json.loads(at.get(f"drain={drain}/drain.json"))
        one = rules[k % 2]
        sheet["about"] |= {"protocol": f"{one.name} {one.version}", "protocol_sha256": one.sha256}
        at.put(f"drain={drain}/drain.json", json.dumps(sheet).encode())
    table = polars.read_parquet(folder / "past" / "drains.parquet")
    shas = polars.Series("protocol_sha256", [rules[k % 2].sha256 for k in range(len(table))])
    table.with_columns(shas).write_parquet(folder / "past" / "drains.parquet")
    return folder


def test_each_drain_is_judged_by_its_own_rule_and_nothing_need_be_named(two_rules: Path) -> None:
    """Air stops at 2 h: held from 3 h on by the first, from 4 h on by the second."""
    ran = called("audit", "report", "past", "--fewest", "0", "--json", folder=two_rules)
    assert ran.code == 0, ran.err
    said = json.loads(ran.out)
    assert [one[0] for one in said["judged_by"]] == ["by-hand 1", "by-hand 2"]
    figures = {one["key"]: one for part in said["figures"] for one in part["figures"]}
    # first rule: 4 h and 6 h stays, three each: 1 + 3; second: 5 h and 9 h: 1 + 5, less half an hour held of each
    assert figures["avoidable_total"]["estimate"]["value"] == pytest.approx(3 * (1 + 3) + 3 * (0.5 + 4.5))
    for name in ((), ("--protocol", "pinned")):
        again = called("replay", "past", *name, "--json", folder=two_rules)
        assert again.code == 0, again.err
        told = json.loads(again.out)
        assert told["protocol"]["name"] == "each drain's own rule (by-hand 1, by-hand 2)"
        assert {round(one["to_met_h"], 3) for one in told["drains"][::2]} == {3.0}
        assert {round(one["to_met_h"], 3) for one in told["drains"][1::2]} == {4.0}


def test_a_grid_is_made_from_one_rule(two_rules: Path) -> None:
    ran = called("replay", "past", "--limits", "50", "--hours", "1", folder=two_rules)
    assert ran.code == 2 and "several rules are pinned (by-hand 1, by-hand 2)" in ran.err
