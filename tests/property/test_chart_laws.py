"""Laws of charts and episodes, for any rows and any bytes."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from behaviour.episode.typed_chart import HEADER, HOUR, chart, row
from slackwater.episode.chart import known_at, read_chart
from slackwater.episode.episode import read_episode
from slackwater.episode.space import entries_for
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.errors import ChartError, EpisodeError

quarters = st.integers(0, 96)
SAYINGS = [
    ("fluid_output", "200", "mL"), ("fluid_output", "0", "mL"), ("fluid_output", "", ""),
    ("swing", "present", ""), ("swing", "absent", ""), ("canister_level", "480", "mL"),
    ("canister_level", "0", "mL"), ("canister", "changed", ""), ("clamp", "on", ""),
    ("spo2", "93", "%"), ("mood", "good", ""), ("tubing", "milked", ""), ("tubing", "checked", ""),
]  # fmt: skip
Row = tuple[int, tuple[str, str, str], str, int]  # quarter of the day, what, drain, quarters until written
rows_of_a_chart = st.lists(
    st.tuples(quarters, st.sampled_from(SAYINGS), st.sampled_from(["", "1", "2"]), st.integers(-4, 40)),
    max_size=12,
)


def typed(rows: list[Row], note: str = "", later: int = 0) -> Chart:
    return chart(
        *(
            row(
                (quarter + later) / 4, *what, note=note, drain=drain,
                recorded=max(0, quarter + later + wait) / 4,
            )
            for quarter, what, drain, wait in rows
        )
    )  # fmt: skip


def plain(entries: tuple[Entry, ...]) -> list[str]:
    """Entries but for the line they stand on."""
    return sorted(repr(replace(entry, line=0)) for entry in entries)


@given(rows_of_a_chart)
def test_every_row_that_was_read_is_counted_once(rows: list[Row]) -> None:
    read = typed(rows)
    assert read.used + read.refused + read.duplicate + read.conflicting == read.read == len(rows)


@given(rows_of_a_chart, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(rows: list[Row], chance: random.Random) -> None:
    shuffled = list(rows)
    chance.shuffle(shuffled)
    assert plain(typed(shuffled).entries) == plain(typed(rows).entries)


@given(rows_of_a_chart)
def test_every_row_given_twice_changes_no_entry(rows: list[Row]) -> None:
    once, twice = typed(rows), typed(rows + rows)
    assert twice.entries == once.entries
    assert twice.duplicate == once.duplicate + len(rows)


@given(rows_of_a_chart, quarters)
def test_what_is_known_at_a_moment_is_the_chart_of_what_had_been_recorded(rows: list[Row], quarter: int) -> None:
    known = known_at(typed(rows), typed([(quarter, SAYINGS[0], "", 0)]).entries[0].time)
    early = typed([one for one in rows if one[0] <= quarter and max(0, one[0] + one[3]) <= quarter])
    assert plain(known.entries) == plain(early.entries)
    counts = (known.read, known.used, known.duplicate, known.conflicting)
    assert counts == (early.read, early.used, early.duplicate, early.conflicting)


@given(rows_of_a_chart, quarters)
def test_knowing_at_a_moment_twice_is_knowing_once(rows: list[Row], quarter: int) -> None:
    moment = typed([(quarter, SAYINGS[0], "", 0)]).entries[0].time
    once = known_at(typed(rows), moment)
    assert known_at(once, moment) == once


@given(rows_of_a_chart, st.integers(0, 96))
def test_moving_every_time_moves_every_entry_and_nothing_else(rows: list[Row], later: int) -> None:
    rows = [one for one in rows if one[0] + one[3] >= 0]
    moved = tuple(
        replace(entry, time=entry.time + later * HOUR // 4, recorded=entry.recorded + later * HOUR // 4)
        for entry in typed(rows).entries
    )
    assert plain(typed(rows, later=later).entries) == plain(moved)


@given(rows_of_a_chart, st.text("abcäöß🙂א ", max_size=8))
def test_a_note_changes_no_value_and_no_count(rows: list[Row], note: str) -> None:
    without, noted = typed(rows), typed(rows, note=note)
    assert [(e.item, e.value, e.conflict) for e in noted.entries] == [
        (e.item, e.value, e.conflict) for e in without.entries
    ]


@given(rows_of_a_chart)
def test_what_counts_for_a_drain_is_part_of_what_counts_for_its_space_and_the_patient(
    rows: list[Row],
) -> None:
    read, episode = typed(rows), Episode(drain_number="1", shares_space_with=("2",), shares_space_told=True)
    drain, space, patient = (
        {e.line for e in entries_for(read, s, episode).entries} for s in ("drain", "space", "patient")
    )
    assert drain <= space <= patient


@given(st.binary(max_size=200))
def test_any_bytes_are_a_chart_or_are_refused_in_one_line(data: bytes) -> None:
    for whole in (data, f"{HEADER}\n".encode() + data):
        try:
            read_chart(whole, "c.csv", "Europe/Vienna")
        except ChartError as error:
            assert "\n" not in str(error) and error.where.startswith("c.csv") and error.mend


cells = st.one_of(
    st.text(max_size=12), st.sampled_from(["fluid_output", "swing", "20", "mL", "2033-09-13T08:00Z", '"'])
)


@given(st.lists(st.lists(cells, min_size=8, max_size=8).map(",".join), max_size=3).map("\n".join))
def test_any_cells_are_a_chart_or_are_refused_in_one_line(text: str) -> None:
    try:
        read_chart(f"{HEADER}\n{text}".encode("utf-8", "surrogatepass"), "c.csv")
    except ChartError as error:
        assert "\n" not in str(error) and error.where.startswith("c.csv") and error.mend


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))))
def test_any_bytes_are_an_episode_or_are_refused_in_one_line(data: bytes) -> None:
    for whole in (data, b"[drain]\n" + data, b"[drain]\nnumber = " + data):
        try:
            read_episode(whole, "e.toml")
        except EpisodeError as error:
            assert "\n" not in str(error) and error.where.startswith("e.toml") and error.mend
