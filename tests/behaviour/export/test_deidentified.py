"""De-identified exports under attack (tgt-P2): 18 kinds of identifiers planted everywhere, and linkage.

The whole of it, 10,000 exports and 1,000 patients, is `python bench/deidentified.py`.

Sources: Safe Harbor, 45 CFR 164.514(b)(2)(i), its 18 kinds as `planted` has them; the numbers asked for are ours, from
the hazard that a de-identified export re-identifies somebody.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import random
import re
import zipfile

import polars
import pytest

from behaviour.export.given_out import collected, exported, stay_of
from behaviour.export.linkage import alone, found_by_four, found_in_cohort, persons, seen, stay
from behaviour.export.planted import KINDS, WRITTEN, Planted, hits, identity, planted

KEY, OTHER_KEY = bytes(range(16)), bytes(range(1, 17))
FOUND_BY_FOUR = 1  # at most, of 1,000
SHOWN = (
    "patient", "drain number", "site", "serial", "second serial", "rule name", "rule version", "approved by",
    "rule source", "removed by", "note row", "site row", "row of an unknown item", "note of fluid", "note of an order",
    "note of a clamp", "note of a cough", "by of fluid", "by of an order", "by of swing", "drain of a row",
    "clause id", "unknown item", "clause say", "destination", "lot", "kind of hold",
)  # fmt: skip
"""The places that an identified export shows."""


def test_there_are_eighteen_kinds_and_each_is_planted() -> None:
    assert len(KINDS) == 18 and list(KINDS) == [chr(ord("A") + n) for n in range(18)]
    drain = planted(3)
    assert set(drain.who) == set(KINDS) == {kind for kind, _ in drain.where.values()}


def missed(drain: Planted) -> set[str]:
    """The control: kinds that stand in a place that an identified export shows, and that the search did not find."""
    shown = {kind for place, (kind, _) in drain.where.items() if place in SHOWN}
    return shown - set(hits(exported(drain.of, None), drain))


def attacked(numbers: range) -> None:
    for number in numbers:
        drain = planted(number)
        assert not missed(drain), number
        assert hits(exported(drain.of, KEY), drain) == {}, (number, drain.where)
        plain = planted(number, in_rule=False)
        cohort = collected([stay_of(plain.of, plain.rule, ward=plain.who["B"])], KEY)
        assert hits(cohort.files, plain) == {}, (number, plain.where)


def test_nothing_planted_leaves_and_the_search_finds_it_where_everything_may_leave() -> None:
    attacked(range(8))


@pytest.mark.slow
def test_nothing_planted_leaves_two_hundred_drains() -> None:
    attacked(range(1000, 1060))


@pytest.mark.parametrize("way", WRITTEN)
def test_the_search_finds_what_was_written_so(way: str) -> None:
    drain = planted(1)
    for kind, text in drain.who.items():
        data = json.dumps({"note": f"seen by {WRITTEN[way](text)} today"}).encode()
        assert kind in hits({"x.json": data}, drain), (kind, text)


def test_the_search_looks_into_archives_and_parquet() -> None:
    drain = planted(1)
    text = drain.who["A"]
    packed, table = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.txt", text)
    polars.DataFrame({"a": [1]}).write_parquet(table, metadata={"slackwater": text})
    held = io.BytesIO()
    polars.DataFrame({"a": [text, "b"]}).write_parquet(held, compression="zstd")
    for data in (packed.getvalue(), gzip.compress(text.encode()), table.getvalue(), held.getvalue()):
        assert "A" in hits({"x": data}, drain)
    assert "A" in hits({f"{text}.json": b"{}"}, drain)  # and at the files' names
    assert hits({"x.json": b'{"note": "seen"}'}, drain) == {}


def test_two_people_share_no_identifier() -> None:
    one, other = identity(random.Random(1)), identity(random.Random(2))
    assert not set(one.values()) & set(other.values())


CODE = re.compile(rb"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b|\b[0-9a-f]{16,64}\b")


def codes(drains: list[Planted], key: bytes) -> set[bytes]:
    """Every pseudonym, id and hash in the exports and the cohort of these drains."""
    files = {}
    for drain in drains:
        files |= {f"{drain.number}/{name}": data for name, data in exported(drain.of, key).items()}
    files |= collected([stay_of(drain.of, drain.rule) for drain in drains], key).files
    text = b"\n".join(name.encode() + b"\n" + data for name, data in files.items() if b"PAR1" not in data[:4])
    return set(CODE.findall(text))


def test_exports_with_different_keys_share_no_key() -> None:
    """In both are hashes of the rule's file, which is the house's, and of tables whose every byte is the same."""
    drains = [planted(number, in_rule=False) for number in (4, 5, 6)]
    one, other = codes(drains, KEY), codes(drains, OTHER_KEY)
    assert len(one) > 60
    rules = {judged.protocol.sha256.encode() for drain in drains if (judged := drain.of.found.evaluation) is not None}
    tables = set()
    for drain in drains:
        mine, others = exported(drain.of, KEY), exported(drain.of, OTHER_KEY)
        same = [name for name in mine if mine[name] == others[name]]
        assert {name.partition("/")[2] for name in same} <= {"minutes.csv", "clauses.csv", "course.csv"}
        tables |= {hashlib.sha256(mine[name]).hexdigest().encode() for name in same}
    assert rules <= one & other
    assert one & other <= rules | tables


@pytest.mark.slow
def test_by_admission_year_age_band_procedure_and_length_of_stay_nobody_is_found() -> None:
    """Some of tgt-P2, with stays beyond ten days; a cohort, which tells age and procedure, is the control."""
    people = [one for one in persons(1000) if one.number % 50 == 3 or one.stay_min > 16_000]
    stays = [stay(one) for one in people]
    shown = [seen(exported(of, KEY)) for of in stays]
    assert max(one.minutes for one in shown) == 14_400 < max(one.stay_min for one in people)
    assert {one.start for one in shown} == {(0, 0)}
    assert not any(one.ages for one in shown) and len({one.procedures for one in shown}) == 1
    by_day: dict[int, int] = {}
    for one in shown:
        by_day[one.days] = by_day.get(one.days, 0) + 1
    assert found_by_four(people, shown) == sum(count == 1 for count in by_day.values())
    assert found_in_cohort(people, stays, KEY)["no year"] > 10


@pytest.mark.parametrize("seed", range(1, 6))
def test_of_a_thousand_patients_at_most_one_stands_alone_by_what_an_export_tells_of_the_four(seed: int) -> None:
    """It tells the days, ten and more as ten, and neither year nor age nor procedure; uncut, some would be alone."""
    days = [one.stay_min // 1440 for one in persons(1000, seed)]
    assert alone(min(one, 10) for one in days) <= FOUND_BY_FOUR < alone(days) + 2
