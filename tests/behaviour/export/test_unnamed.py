"""Nobody is named: inv-M36, tgt-P2 (Safe Harbor, 45 CFR 164.514(b)(2)), haz-J03.

Which of the 18 classes of Safe Harbor a drain's record can hold at all: names and contact (free text, drain number,
words typed in the wrong place), places smaller than a state (site, ward), dates and ages above 89, record numbers
(patient), device serial numbers, any other unique code (hashes of files). Each has a canary here.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import strategies as st

from behaviour.export.a_drain_told import CANARIES, KEY, MADE_MS, drain, found, material, of_type, rows, text
from behaviour.store.a_drain import LAYOUT, ROWS, RULE, chart_text, episode, log_rows, log_text, ms, row
from property.quick_and_many import Laws
from slackwater.assessment.assess import assess
from slackwater.assessment.document import document
from slackwater.episode.chart import read_chart
from slackwater.episode.pseudonyms import pseudonym
from slackwater.errors import UsageError
from slackwater.export import tables
from slackwater.export.bundle import bundle
from slackwater.export.material import Material, Removal, of_files
from slackwater.export.unnamed import BEGINS_MS, LONGEST_MS, begins_ms, unnamed
from slackwater.protocol.load import load_protocol
from slackwater.reading.read import read_log

NAMED_RULE = RULE.replace(
    b'source = "invented for the tests"', b'source = "Zwirnbach, ward Kr\xc3\xa4henfeld"'
).replace(b'status = "example"', b'status = "approved"\napproved_by = "Quendel-77"')


def everything_told(of: Material) -> str:
    """All that any format gives of it, as text."""
    csvs = [data.decode() for data in tables.files(of, "csv").values()]
    parquet = [data.decode("latin-1") for data in tables.files(of, "parquet").values()]
    return "\n".join((text(of), *csvs, *parquet))


def a_named_drain() -> Material:
    return replace(of_files(found(rule=NAMED_RULE, number="Zwirnbach-1", chart=SAME_DRAIN)), removal=material().removal)


SAME_DRAIN = tuple(one.replace(",1,", ",Zwirnbach-1,") for one in (*ROWS, row(40, "note", "0664-555-0199")))


def hidden(of: Material) -> set[str]:
    """What must not be in it: canaries, real dates, hashes, the age."""
    assert of.found.trace is not None
    return {*CANARIES, "2041-", of.found.trace.logs[0].sha256, of.found.chart.sha256, "Krähenfeld"}


def test_the_identified_export_holds_the_canaries_so_the_search_can_find_them() -> None:
    """The control of tgt-P1."""
    shown = everything_told(a_named_drain())
    for word in ("Zwirnbach", "SN-CANARY-9", "0664-555-0199", "2041-", "Krähenfeld", "Quendel-77"):
        assert word in shown, word


@pytest.mark.parametrize("of", [material, a_named_drain])
def test_nothing_that_names_leaves(of: Any) -> None:
    shown = everything_told(unnamed(of(), KEY))
    escaped = json.dumps("Krähenfeld Ödön")[1:-1].split()
    for word in (*hidden(of()), *escaped, "nurse", "_Zwirn"):
        assert word not in shown, word


def test_the_inputs_it_was_judged_from_have_no_names_in_them() -> None:
    """So nothing worked out of them can have: notes and initials are gone before the drain is judged again."""
    told = unnamed(a_named_drain(), KEY).found
    assert told.trace is not None and told.evaluation is not None
    logs = [(log.name, log.serials, log.notes, log.layout, log.ledger) for log in told.trace.logs]
    inputs = repr((told.chart, told.episode, told.evaluation.protocol, logs))
    for word in (*hidden(a_named_drain()), "nurse", "ward"):
        assert word not in inputs, word


def test_an_age_above_89_is_told_as_90() -> None:
    assert material().found.episode.age_years == 93
    assert unnamed(material(), KEY).found.episode.age_years == 90


@pytest.mark.parametrize(("limit", "told"), [("max_age_years = 92", None), ("min_age_years = 18", 90.0)])
def test_where_a_limit_of_the_rule_lies_above_89_the_age_is_not_known(limit: str, told: float | None) -> None:
    """90 would be inside of 92, and 93 is not: what is merged may be doubtful, and never wrong."""
    of = of_files(found(rule=RULE.replace(b"[applies]", f"[applies]\n{limit}".encode())))
    one = unnamed(of, KEY).found
    assert one.episode.age_years == told
    assert of.found.overall is not None and one.overall is not None
    if told is None:
        assert (of.found.overall.word, one.overall.word) == ("not_applicable", "cannot_tell")
    else:
        assert of.found.overall is one.overall


@pytest.mark.parametrize("asked", ["indication", "excludes"])
def test_a_word_in_the_wrong_place_is_a_pseudonym_in_drain_and_rule_and_judged_as_before(asked: str) -> None:
    rule = RULE.replace(b"[applies]", f'[applies]\n{asked} = ["quendel_family"]'.encode())
    of = of_files(found(indication="quendel_family", rule=rule))
    told = unnamed(of, KEY).found
    assert told.episode.indication == pseudonym(KEY, "word", "quendel_family")
    assert told.evaluation is not None and of.found.evaluation is not None
    assert told.evaluation.population.status is of.found.evaluation.population.status
    assert "quendel" not in everything_told(unnamed(of, KEY))


def test_a_rule_is_called_by_its_hash_where_its_own_name_is_on_no_list() -> None:
    told = unnamed(material(), KEY).found.evaluation
    assert told is not None
    assert told.protocol.name == f"rule-{pseudonym(KEY, 'rule', 'small-50')[:8]}"
    assert (told.protocol.version, [one.id for one in told.protocol.removal]) == ("1", ["air", "fluid"])
    own = material().found.evaluation
    assert own is not None and told.protocol.sha256 == own.protocol.sha256
    shipped = unnamed(drain("healing"), KEY).found.evaluation
    assert shipped is not None and shipped.protocol.name == "air-50-8h"


def test_a_clause_with_an_id_that_may_name_somebody_is_called_by_what_it_measures() -> None:
    rule = RULE.replace(b'id = "air"', b'id = "zwirnbach-77"').replace(b'version = "1"', b'version = "of-Zwirnbach"')
    told = unnamed(of_files(found(rule=rule)), KEY).found.evaluation
    assert told is not None
    assert [one.id for one in told.protocol.removal] == ["air_leak-1", "fluid"]
    assert [one.id for one in told.criteria] == ["air_leak-1", "fluid"]
    assert told.protocol.version == pseudonym(KEY, "version", "of-Zwirnbach")[:8]


def test_every_stay_begins_at_one_moment_so_neither_weekday_nor_hour_tells_who() -> None:
    for of in (material(), drain("healing")):
        made = bundle(unnamed(of, KEY), MADE_MS)
        done = {one["code"]["coding"][-1]["code"]: one["performedDateTime"] for one in of_type(made, "Procedure")}
        assert done["connection"].startswith("2000-01-03T00:00")


def a_long_stay(as_of_day: float | None) -> Material:
    """Fifteen days, a reading every minute of their first hour and of the hours around the tenth day and the end."""
    day = 24 * 60
    hours = (0, 10 * day - 60, 10 * day + 60, 15 * day - 60)
    lines = [one for first in hours for one in log_rows(first, first + 60, leak=20)]
    chart = (*ROWS, row(10 * day - 30, "fluid_output", "40", "mL"), row(12 * day, "fluid_output", "70", "mL"))
    now_ms = None if as_of_day is None else ms(as_of_day * day)
    of = of_files(
        assess(
            [read_log(log_text(lines), LAYOUT, "log.csv", 0.05)], chart=read_chart(chart_text(chart), "chart.csv"),
            episode=episode(), protocol=load_protocol(RULE, "small-50.toml"), now_ms=now_ms,
        )
    )  # fmt: skip
    ends = {ms(5): ms(12 * day)}
    return replace(of, order_ends=ends, removal=Removal("planned", of.found.as_of_ms) if as_of_day is None else None)


def test_a_long_stay_is_told_as_it_stood_after_ten_days() -> None:
    """The days alone would tell who: nothing later is in it, and it is what was to be told on that day."""
    whole, on_the_day = unnamed(a_long_stay(None), KEY), unnamed(a_long_stay(10.0), KEY)
    assert whole.shortened and not on_the_day.shortened
    assert whole.found.as_of_ms == begins_ms(whole.found) + LONGEST_MS
    assert whole.removal is None and not whole.order_ends
    assert text(whole) == text(replace(on_the_day, order_ends={}))
    assert document(whole.found) == document(on_the_day.found)


def test_a_stay_of_ten_days_is_told_to_its_end() -> None:
    assert not unnamed(a_long_stay(9.9), KEY).shortened
    assert unnamed(material(), KEY).removal is not None


def test_done_twice_it_is_as_done_once() -> None:
    once = unnamed(material(), KEY)
    assert unnamed(once, KEY) is once
    assert begins_ms(once.found) // 60_000 * 60_000 == BEGINS_MS  # and its time would not be moved again


def test_the_same_key_gives_the_same_pseudonym_and_another_key_none_that_can_be_linked() -> None:
    one, same, other = (unnamed(material(), key) for key in (KEY, KEY, bytes(range(1, 17))))
    assert text(one) == text(same)

    def ids(of: Material) -> set[str]:
        made = bundle(of, MADE_MS)
        words = {entry["fullUrl"] for entry in made["entry"]}
        return words | {one["identifier"][0]["value"] for one in of_type(made, "Patient")}

    assert not ids(one) & ids(other)


def test_a_short_key_is_refused() -> None:
    with pytest.raises(UsageError, match="too short"):
        unnamed(material(), b"short")


@pytest.mark.parametrize(
    "name", ["small", "healing", "blocked", "dropout", "exchanged", "clamped_charted", "to_gravity"]
)
def test_every_interval_value_and_status_stays(name: str) -> None:
    """inv-M36: the same answer, moved in time."""
    of = drain(name)
    by_ms = moved_by(of)
    told = unnamed(of, KEY).found
    assert by_ms % 60_000 == 0
    assert without(document(told), 0) == without(document(of.found), by_ms)
    for column in ("flow", "pressure", "covered"):
        np.testing.assert_array_equal(minutes(told, column), minutes(of.found, column))


def moved_by(of: Material) -> int:
    return BEGINS_MS - begins_ms(of.found) // 60_000 * 60_000


def minutes(of: Any, column: str) -> Any:
    return getattr(of.leak_trace.minutes, column)


def without(told: dict[str, Any], by_ms: int) -> Any:
    """An assessment without names, files and texts that hold a time; instants moved by `by_ms`.

    Without its forecast, which goes by the ward's clock and is in no export.
    """
    kept = {
        key: value
        for key, value in told.items()
        if key not in ("ledger", "history", "notes", "cautions", "protocol", "forecast")
    }
    drain_told = kept.pop("drain")
    kept["drain"] = {key: drain_told[key] for key in ("side", "space", "connected_at")}
    return moved(kept, by_ms)


def moved(value: Any, by_ms: int) -> Any:
    if isinstance(value, dict):
        dropped = ("rows", "source", "say", "provenance", "note", "needs", "waiting_for", "warnings", "what")
        return {key: moved(inner, by_ms) for key, inner in value.items() if key not in dropped}
    if isinstance(value, list):
        return [moved(inner, by_ms) for inner in value]
    if isinstance(value, str) and value[4:5] == "-" and value.endswith("Z"):
        return round(datetime.fromisoformat(value).timestamp() * 1000) + by_ms
    return value


LETTERS = st.text(st.characters(categories=("Lu", "Ll"), include_characters="äöü"), min_size=6, max_size=12)
DIGITS = st.text(st.sampled_from("0123456789"), min_size=7, max_size=12)
NAMES = st.one_of(LETTERS, DIGITS, st.tuples(LETTERS, DIGITS).map("-".join)).map(lambda word: f"Q{word}x")


laws = Laws()


@laws.law(st.fixed_dictionaries(
    {**dict.fromkeys(("patient", "number", "site", "note", "by", "serial"), NAMES), "age": st.integers(91, 120)}
))  # fmt: skip
def test_whatever_is_typed_where_it_does_not_leave(typed: dict[str, Any]) -> None:
    """tgt-P2: generated exports, no hit; and the years are 2000, the age is 90, the serial number is gone."""
    number, note, by, age = (typed[name] for name in ("number", "note", "by", "age"))
    chart = (
        row(30, "fluid_output", "20", "mL", drain=number, note=note, by=by),
        row(61, "suction_ordered", "-10", "cmH2O", drain=number, note=note, by=by),
        row(70, "note", note, drain=number, by=by),
        row(71, note, "1", drain=number, by=by),
    )
    told = {"patient": typed["patient"], "number": number, "site": typed["site"], "age_years": age}
    of = of_files(found(rows(serial=typed["serial"]), chart, **told))
    shown = text(unnamed(of, KEY)) + "".join(data.decode() for data in tables.files(unnamed(of, KEY), "csv").values())
    names = [word for word in typed.values() if isinstance(word, str)]
    for word in (*names, f" {age} ", f"{age}.0"):
        assert word not in shown
    assert not re.search(r"2041-\d\d-", shown)  # a date: an identifier drawn from pseudonyms may hold "2041-"


@pytest.mark.slow
@pytest.mark.parametrize("name", laws.names)
def test_on_many(name: str) -> None:
    laws.many(name)
