"""The tables that are worked out of a drain's logs: as `assess` has them, and never of an older state."""

# ruff: noqa: E501  a table: one case a line
from __future__ import annotations

import io
from dataclasses import replace

import polars
import pytest

from behaviour.store.a_drain import OTHER_LAYOUT, bundle, course_held, episode, log, ms, removal, row, taken
from slackwater.assessment.minute_table import minute_csv
from slackwater.store import Record
from slackwater.store.derive import table_of, work_out
from slackwater.store.read_out import assess_drain


def minutes(record: Record, drain: str) -> polars.DataFrame:
    """The minutes as they lie in the record at this moment."""
    (table,) = [one for one in course_held(record, drain).tables if one["kind"] == "minutes"]
    return polars.read_parquet(io.BytesIO(record.files.get(table["sha256"])))


def as_csv(frame: polars.DataFrame) -> list[str]:
    return frame["minute"].dt.strftime("%Y-%m-%dT%H:%M:%SZ").to_list()


def test_the_minutes_are_those_of_the_assessment(record: Record) -> None:
    drain = taken(record).drain
    kept = minutes(record, drain)
    text = minute_csv(assess_drain(record, drain))
    again = polars.read_csv(io.StringIO(text), infer_schema_length=None)
    assert kept.columns == again.columns and kept.height == again.height
    for name in kept.columns[1:]:
        one, other = kept[name], again[name]
        if one.dtype == polars.Float64:
            other = other.cast(polars.Float64, strict=False)
            assert one.is_null().to_list() == other.is_null().to_list(), name
            assert (one - other).abs().max() in (
                None,
                *(value for value in [(one - other).abs().max()] if value < 1e-3),
            )
    assert as_csv(kept) == again["minute"].to_list()


def test_the_tables_are_there_after_an_import(record: Record) -> None:
    drain = taken(record).drain
    assert {one["kind"] for one in course_held(record, drain).tables} == {"minutes", "pyramid", "charge", "calls"}
    assert not work_out(record, drain)


@pytest.mark.parametrize(
    "later",
    [
        bundle(logs=[log(180, 240)]),
        bundle(logs=[], rows=[row(100, "tubing", "kinked")]),
        bundle(logs=[], course=removal(100)),
        bundle(logs=[], course='[[order]]\nkind = "suction"\nlevel = "-20"\nunit = "cmH2O"\nfrom = "2041-05-06T07:00:00Z"\n'),
    ],
    ids=["a longer log", "a chart row", "a removal", "an order"],
)  # fmt: skip
def test_the_tables_follow_what_is_entered(record: Record, later: object) -> None:
    drain = taken(record).drain
    before = [one["made_from"] for one in course_held(record, drain).tables]
    taken(record, later)  # type: ignore[arg-type]
    assert [one["made_from"] for one in course_held(record, drain).tables] != before
    assert not work_out(record, drain)


def test_the_tables_follow_a_correction(record: Record) -> None:
    drain = taken(record).drain
    first = minutes(record, drain)
    taken(record, bundle(logs=[replace(log(leak=50), layout=OTHER_LAYOUT)]))
    taken(record, bundle(episode(connected=60)), correct="read from the wrong line")
    second = minutes(record, drain)
    assert second["minute"].min() != first["minute"].min() or second.height != first.height


def test_an_older_table_stays_in_the_record(record: Record) -> None:
    drain = taken(record).drain
    (before,) = [one for one in course_held(record, drain).tables if one["kind"] == "minutes"]
    taken(record, bundle(logs=[log(180, 240)]))
    assert record.files.sound(before["sha256"])


def test_a_drain_without_a_log_has_no_table(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    assert table_of(record, drain, "minutes") is None


def test_a_table_that_was_not_worked_out_is_made_when_it_is_asked_for(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as stopped:  # the program ended between the import and its tables
        stopped.setattr("slackwater.store.take_in.work_out", lambda *_: False)
        drain = taken(record).drain
    assert course_held(record, drain).tables == ()
    table = table_of(record, drain, "pyramid")
    assert table is not None and table["start"].dt.epoch("ms")[0] == ms(0)


def test_another_drains_chart_row_of_another_patient_makes_no_table_anew(record: Record) -> None:
    drain = taken(record).drain
    before = course_held(record, drain).tables
    taken(record, bundle(episode("INV-2"), logs=[log(serial="U-2")]))
    assert course_held(record, drain).tables == before
