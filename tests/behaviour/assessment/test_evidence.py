"""Every number opens to what is behind it: the stretch it was decided on, and the chart's or the log's rows in it.

Source of each check: the file as it is written here; what a clause is decided on is in docs/protocols.md.
"""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.assessment.a_quiet_stay import LAYOUT, MINUTES, Said, answer, part, quiet, rule, with_column
from property.a_small_stay import ms
from slackwater.assessment.document import stamp


def clause(measure: str, how: str, more: str, block: str = "removal") -> str:
    return f'[[{block}]]\nid = "it"\nmeasure = "{measure}"\nis = "{how}"\n{more}\n'


FLUID = clause("fluid_output", "at_most", 'limit = "300 mL"\nwithin = "4 h"\ndata_age = "2 h"')
DRAINED = tuple(Said(minute, "fluid_output", "20", "mL") for minute in range(60, MINUTES, 60))


def found(said: tuple[Said, ...], protocol: str, at: float = MINUTES, **how: Any) -> dict[str, Any]:
    return part(answer(quiet(*said), protocol=rule(protocol), at=at, **how), "it")


def lines_of(one: dict[str, Any], of: int = 0) -> list[int]:
    """Chart lines of one stretch."""
    rows = [row for row in one["evidence"][of]["rows"] if row["file"] == "chart.csv"]
    return [line for row in rows for line in range(row["from_line"], row["to_line"] + 1)]


def span(one: dict[str, Any], of: int = 0) -> tuple[str, str]:
    return one["evidence"][of]["from"], one["evidence"][of]["to"]


def times(*minutes: float) -> tuple[str | None, ...]:
    return tuple(stamp(ms(minute)) for minute in minutes)


def test_fluid_opens_to_its_window_and_the_entries_in_it() -> None:
    said = (*DRAINED[:5], Said(301, "spo2", "96", "%"), *DRAINED[5:])
    one = found(said, FLUID, at=MINUTES - 30)
    assert span(one) == times(660 - 240, 660)
    assert lines_of(one) == [10, 11, 12, 13], "of 480 to 660; the header is line 1, spo2 line 7"


def test_neighbours_in_the_chart_are_one_range_of_rows() -> None:
    assert [len(one["rows"]) for one in found(DRAINED, FLUID)["evidence"]] == [1]


def test_fluid_that_nobody_charted_opens_to_the_window_without_a_row() -> None:
    one = found((Said(10, "spo2", "96", "%"),), FLUID)
    assert (span(one), one["evidence"][0]["rows"], one["evidence"][0]["why"]) == (
        times(MINUTES - 240, MINUTES), [], "nothing charted",
    )  # fmt: skip


def test_fluid_by_the_units_counter_opens_to_the_rows_of_the_log() -> None:
    log = with_column(quiet(), "fluid", lambda minute: str(minute // 10))
    layout = LAYOUT + '[fluid]\ncolumn = "fluid"\nunit = "mL"\n'
    one = part(answer(quiet(), protocol=rule(FLUID), logs=[log], layout=layout), "it")
    assert one["value"]["high"] == 24.0
    (rows,) = one["evidence"][0]["rows"]
    assert (rows["file"], rows["to_line"] - rows["from_line"] + 1) == ("log.csv", 240)


def test_hours_since_open_from_the_event_to_now() -> None:
    since = clause("hours_since", "at_least", 'of = "clamp_off"\nlimit = "2 h"')
    said = (Said(100, "clamp", "on"), Said(130, "clamp", "off"))
    one = found(said, since)
    assert (span(one), lines_of(one)) == (times(130, MINUTES), [3])
    assert one["evidence"][0]["why"] == "since clamp off"


def test_hours_since_an_event_of_the_episode_have_no_row() -> None:
    one = found((), clause("hours_since", "at_least", 'of = "connected"\nlimit = "2 h"'))
    assert (one["evidence"][0]["to"], one["evidence"][0]["rows"]) == (times(MINUTES)[0], [])


@pytest.mark.parametrize(
    ("measure", "how", "limit", "said"),
    [
        ("spo2", "at_least", '"92 %"', Said(700, "spo2", "96", "%")),
        ("swing", "shown", "", Said(700, "swing", "present")),
        ("chest_xray", "one_of", '["expanded"]', Said(700, "chest_xray", "expanded")),
    ],
)
def test_a_latest_entry_opens_to_its_moment_and_line(measure: str, how: str, limit: str, said: Said) -> None:
    more = 'within = "4 h"' + (f"\nlimit = {limit}" if limit else "")
    one = found((Said(10, "note", "x"), said), clause(measure, how, more))
    assert (span(one), lines_of(one)) == (times(700, 700), [3])


def test_nothing_charted_opens_to_the_time_in_which_nothing_was() -> None:
    one = found((), clause("spo2", "at_least", 'limit = "92 %"\nwithin = "4 h"'))
    assert (one["status"], span(one)) == ("cannot_tell", times(MINUTES - 240, MINUTES))
    assert one["evidence"][0]["rows"] == []


# --- a word anywhere in the window ----------------------------------------------------------------------------------

LOOKED = (
    Said(100, "fluid_appearance", "bloody"), Said(400, "fluid_appearance", "serous"),
    Said(600, "fluid_appearance", "bloody"), Said(700, "fluid_appearance", "serous"),
)  # fmt: skip
NO_BLOOD = clause("fluid_appearance", "none_of", 'limit = ["bloody"]\nwithin = "{within}"')


def test_a_listed_word_that_a_later_entry_follows_is_what_is_shown() -> None:
    one = found(LOOKED, NO_BLOOD.replace("{within}", "5 h"))
    assert (one["status"], one["value"]) == ("not_met", {"word": "bloody"})
    assert (span(one), lines_of(one)) == (times(600, 600), [4])


def test_what_fires_an_item_is_what_is_shown_of_it() -> None:
    blood = clause("fluid_appearance", "one_of", 'limit = ["bloody"]\nwithin = "12 h"', "escalation")
    one = found(LOOKED, blood)
    assert (one["status"], one["value"]) == ("met", {"word": "bloody"})
    assert [lines_of(one, k) for k in range(len(one["evidence"]))] == [[4], [2]]


def test_none_of_a_list_opens_to_everything_that_was_looked_at() -> None:
    said = (LOOKED[0], LOOKED[1], LOOKED[3])
    one = found(said, NO_BLOOD.replace("{within}", "6 h"))
    assert (one["status"], lines_of(one)) == ("met", [3, 4])


def test_an_amount_that_goes_on_firing_shows_what_fired_it() -> None:
    """An hour of 250 mL, then a quarter of nothing: the number is the hour's."""
    said = (Said(180, "fluid_output", "10", "mL"), Said(240, "fluid_output", "250", "mL"),
            Said(255, "fluid_output", "0", "mL"))  # fmt: skip
    bled = clause("fluid_output", "at_least", 'limit = "200 mL"\nwithin = "1 h"', "escalation")
    one = found(said, bled, at=290)
    assert (one["status"], one["value"]["low"]) == ("met", 250.0)
    assert (span(one), lines_of(one)) == (times(180, 240), [3])


# --- lengths of time, and guards ------------------------------------------------------------------------------------


def test_a_clamp_opens_from_its_entry_to_now() -> None:
    clamped = clause("clamped_for", "at_least", 'limit = "30 min"', "escalation")
    one = found((Said(660, "clamp", "on"),), clamped)
    assert (one["status"], span(one), lines_of(one)) == ("met", times(660, MINUTES), [2])


def test_pressure_above_the_rooms_opens_to_the_rows_of_the_log() -> None:
    pushed = clause("positive_pressure_for", "at_least", 'limit = "30 min"', "escalation")
    (rows,) = found((), pushed)["evidence"][0]["rows"]
    assert rows["file"] == "log.csv"


GUARDED = clause("spo2", "at_least", 'limit = "92 %"\nwithin = "4 h"')


def test_a_tube_charted_open_opens_to_its_line_and_not_to_the_log() -> None:
    said = (Said(650, "cough", "leak"), Said(660, "tube_open", "yes"), Said(670, "cough", "no_leak"))
    whole = answer(quiet(*said, swing=0), protocol=rule(GUARDED))
    shown, tried = part(whole, "tube_open")["evidence"][0], part(whole, "effort_seen")["evidence"][0]
    assert [(one["rows"][0]["file"], one["rows"][0]["from_line"]) for one in (shown, tried)] == [
        ("chart.csv", 3), ("chart.csv", 4),
    ]  # fmt: skip


def test_a_swing_at_the_very_end_of_the_log_opens_to_its_minute() -> None:
    (one,) = part(answer(quiet(), protocol=rule(GUARDED)), "tube_open")["evidence"]
    assert one["why"] == "swing"
    assert [row["file"] for row in one["rows"]] == ["log.csv"]
