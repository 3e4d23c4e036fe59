"""One row for every minute from connection (or the first row) to the moment asked about, missing ones included.

Source of each check: that sentence, which is the minute table's contract (docs/minute-table.md).
"""

from __future__ import annotations

import re

import pytest

import slackwater
from behaviour.assessment.a_quiet_stay import LAYOUT, MINUTES, Said, quiet
from property.a_small_stay import chart_text, episode_text, log_rows, log_text, ms, stamp
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.minute_table import COLUMNS, minute_columns, minute_frame

SAID = (Said(300, "fluid_output", "20", "mL"), Said(400, "swing", "present"))


def stay(connected: float | None, at: float | None, *, log: bool) -> Assessment:
    """Twelve quiet hours, connected at another minute."""
    whole = quiet(*SAID)
    line = "" if connected is None else f'connected_at = "{stamp(connected)}"'
    episode = re.sub(r'connected_at = "[^"]*"', line, episode_text(whole).decode())
    layout = slackwater.Layout.from_toml(LAYOUT, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(log_text(log_rows(whole)), layout, "log.csv")] if log else [],
        chart=slackwater.read_chart(chart_text(SAID), "chart.csv"),
        episode=slackwater.read_episode(episode.encode(), "episode.toml"),
        now_ms=None if at is None else ms(at),
    )


@pytest.mark.parametrize(
    ("connected", "at", "log", "first", "rows"),
    [
        (0, None, True, 0, MINUTES),
        (-30, None, True, -30, MINUTES + 30),
        (0, MINUTES + 15.5, True, 0, MINUTES + 16),
        (MINUTES + 30, MINUTES + 45, True, MINUTES + 30, 15),  # the log is another patient's
        (0, -5, True, 0, 0),
        (-60, -5, True, -60, 55),  # the log begins later
        (0, MINUTES, False, 0, MINUTES),
        (None, MINUTES, False, 300, MINUTES - 300),  # from the first entry on
        (MINUTES + 30, MINUTES, False, None, 0),
    ],
)
def test_one_row_a_minute(connected: float | None, at: float | None, log: bool, first: int | None, rows: int) -> None:
    minute = minute_columns(stay(connected, at, log=log))["minute"]
    assert len(minute) == rows
    assert not rows or [minute[0], minute[-1]] == [stamp(first or 0), stamp((first or 0) + rows - 1)]


def test_connected_after_the_last_reading_there_is_no_row_and_a_note_says_why() -> None:
    found = stay(MINUTES + 30, None, log=True)
    assert {name: len(column) for name, column in minute_columns(found).items()} == dict.fromkeys(COLUMNS, 0)
    (note,) = [note for note in found.notes if "before the drain was connected" in note]
    assert stamp(MINUTES) in note


def test_without_a_log_every_minute_is_missing_and_the_chart_shows_the_tube() -> None:
    table = minute_frame(stay(0, MINUTES, log=False))
    assert tuple(table.columns) == COLUMNS
    assert set(table["state"]) == {"cannot_tell"} and set(table["reason"]) == {"missing"}
    assert table["covered"].sum() == 0
    assert table["flow_ml_per_min"].null_count() == table.height
    shown = {k: way for k, way in enumerate(table["open_shown"]) if way}
    assert shown == {300: "fluid", 400: "charted"}
