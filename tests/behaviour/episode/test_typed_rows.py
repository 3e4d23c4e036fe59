"""Rows typed at the bedside are read by the chart's own rules, each fault beside its row."""

from __future__ import annotations

import pytest

from slackwater.episode.typed import LONGEST, Typed, entry_of, faults
from slackwater.errors import ChartError

AT = 2_010_182_400_000


def value(item: str, text: str, unit: str = "") -> object:
    return entry_of(Typed(item, text, unit), AT, AT, "nurse", "1").value


def test_a_row_becomes_an_entry_with_both_its_times() -> None:
    entry = entry_of(Typed("swing", "present", note="  seen\n twice "), AT - 60_000, AT, "nurse", "1")
    assert (entry.time, entry.recorded, entry.value, entry.note, entry.drain) == (
        AT - 60_000,
        AT,
        "present",
        "seen twice",
        "1",
    )


def test_what_is_of_the_patient_names_no_drain() -> None:
    assert entry_of(Typed("spo2", "96", "%"), AT, AT, "nurse", "1").drain is None


def test_a_blank_is_kept_as_a_blank() -> None:
    assert value("fluid_output", "", "mL") is None


def test_each_fault_stands_at_its_row() -> None:
    rows = [
        Typed("swing", "preset"), Typed("fluid_output", "20"), Typed("spo2", "96", "%"), Typed("swimg", "present"),
        Typed("note", "a\x07bell"), Typed("note", "x" * (LONGEST + 1)), Typed("swing", "absent", time_ms=AT + 1),
    ]  # fmt: skip
    found = faults(rows, AT, AT)
    assert sorted(found) == [0, 1, 3, 4, 5, 6]
    assert "present" in found[0].mend
    assert found[1].where == "column unit"
    assert "swing" in found[3].mend


@pytest.mark.parametrize(
    ("text", "unit", "read"),
    [
        ("air", "", "air"),
        (" AIR ", "", "air"),
        ("2", "L/min", "2 L/min"),
        ("28", "%", "28 %"),
        ("0.5", "L/min", "0.5 L/min"),
    ],
)
def test_oxygen_is_air_or_how_much(text: str, unit: str, read: str) -> None:
    assert value("oxygen", text, unit) == read


@pytest.mark.parametrize(
    ("text", "unit"),
    [("2", ""), ("air", "L/min"), ("0", "L/min"), ("0.28", "%"), ("101", "%"), ("2", "mg"), ("x", "%")],
)
def test_oxygen_that_cannot_be_is_refused(text: str, unit: str) -> None:
    with pytest.raises(ChartError) as caught:
        value("oxygen", text, unit)
    assert caught.value.mend
