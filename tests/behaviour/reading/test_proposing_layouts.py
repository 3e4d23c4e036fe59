"""Drafting a layout: what the header states is taken, the rest is asked, nothing is read off a magnitude."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from slackwater.errors import LayoutError, LogError
from slackwater.reading.check import check
from slackwater.reading.layout import Layout
from slackwater.reading.propose import Proposal, layout_from_header, propose
from slackwater.reading.read import read_log

STATED = "time [end],flow [mL/min mean],pressure [cmH2O suction negative]"


def log(
    header: str, row: str, stamp: str = "%Y-%m-%dT%H:%M:%SZ", days: int = 1, first: str = "2033-09-13T15:19:00"
) -> bytes:
    """Thirty rows a day, a minute apart; `row` has the stamp at {0}."""
    begun = datetime.fromisoformat(first)
    times = [begun + timedelta(days=day, minutes=minute) for day in range(days) for minute in range(30)]
    return (header + "\n" + "".join(row.format(time.strftime(stamp)) + "\n" for time in times)).encode()


def asked(proposal: Proposal) -> set[str]:
    return {question.key for question in proposal.questions}


def draft(data: bytes, **answers: str) -> Proposal:
    proposal = propose(data, "log.csv", {key.replace("__", "."): value for key, value in answers.items()})
    assert Layout.from_toml(proposal.to_toml(), "draft").as_tables() == proposal.layout.as_tables()
    assert proposal.layout.unconfirmed == tuple(question.key for question in proposal.questions)
    return proposal


def test_a_header_that_states_everything_leaves_nothing_open() -> None:
    proposal = draft(log(STATED, "{0},10,-8.5"))
    assert asked(proposal) == set()
    assert proposal.layout.pressure is not None
    assert proposal.layout.pressure.suction_is == "negative"
    assert proposal.layout.time.marks == "end"
    assert proposal.layout.flow.statistic == "mean"


def test_units_sign_zone_marks_and_statistic_are_asked_where_not_stated() -> None:
    proposal = draft(log("Time,Flow,Pressure", "{0},10,-8.5", "%Y-%m-%d %H:%M:%S"))
    assert asked(proposal) == {
        "time.zone", "time.marks", "flow.unit", "flow.statistic", "pressure.unit", "pressure.suction_is",
    }  # fmt: skip
    with pytest.raises(LayoutError, match="not settled yet"):
        read_log(log("Time,Flow,Pressure", "{0},10,-8.5", "%Y-%m-%d %H:%M:%S"), proposal.layout, "log.csv")


BARE = log("t,F,P", "{0},10,-8")


def test_a_column_that_could_be_the_pressure_is_asked_about_and_may_be_none() -> None:
    proposal = draft(BARE, flow__column="F")
    question = next(question for question in proposal.questions if question.key == "pressure.column")
    assert question.choices == ("P", "none")
    assert {"pressure.unit", "pressure.suction_is"} <= asked(proposal)
    without = draft(BARE, flow__column="F", pressure__column="none")
    assert without.layout.pressure is None
    assert not any(key.startswith("pressure.") for key in asked(without))
    told = draft(BARE, flow__column="F", pressure__column="P")
    assert {"pressure.unit", "pressure.suction_is"} <= asked(told)
    assert "pressure.column" not in asked(told)


def test_while_the_flow_is_open_one_of_the_columns_left_is_it() -> None:
    assert "pressure.column" in asked(draft(BARE))
    assert "pressure.column" not in asked(draft(log("t,F", "{0},10")))


@pytest.mark.parametrize(
    "column", ["Battery [%]", "fluid [mL]", "Room [°C]", "FlowMax [mL/min]", "serial", "remark", "Set"]
)
def test_what_says_that_it_is_something_else_is_no_pressure(column: str) -> None:
    cell = "well" if column == "remark" else "37"
    assert "pressure.column" not in asked(draft(log(f"t,Flow [mL/min mean],{column}", "{0},10," + cell)))


def test_a_pressure_that_its_name_tells_may_be_left_aside_too() -> None:
    proposal = draft(log("Time,Flow,Pressure", "{0},10,-8.5"), pressure__column="none")
    assert proposal.layout.pressure is None


def test_a_unit_without_a_column_says_which_key_is_lacking() -> None:
    assert "pressure.column" in asked(draft(BARE, flow__column="F", pressure__unit="kPa"))
    with pytest.raises(LayoutError, match=r"pressure\.column is missing"):
        propose(log("t,F", "{0},10"), "log.csv", {"flow.column": "F", "pressure.unit": "kPa"})
    with pytest.raises(LayoutError, match=r"pressure\.column is none.*with a column of the header"):
        propose(BARE, "log.csv", {"pressure.column": "none", "pressure.unit": "kPa"})


def test_a_header_that_settles_all_but_an_unnamed_column_is_read_without_it_and_says_so() -> None:
    layout = layout_from_header(log("time [end],flow [mL/min mean],P", "{0},10,-8"), "log.csv")
    assert layout.pressure is None
    assert any("pressure.column; 'none' is assumed" in note for note in layout.notes)


@pytest.mark.parametrize("cells", ["{0},0.02,-0.8", "{0},20,-8.5", "{0},20000,8"])
def test_the_size_of_values_answers_no_question_but_is_shown(cells: str) -> None:
    proposal = draft(log("Time,Flow,Pressure", cells))
    assert {"flow.unit", "pressure.unit", "pressure.suction_is"} <= asked(proposal)
    flow = next(question for question in proposal.questions if question.key == "flow.unit")
    assert "median" in flow.seen
    assert "L/min" in flow.choices


def test_answers_settle_keys_and_the_log_is_then_read() -> None:
    data = log("Datum;Uhrzeit;Fluss;Druck [kPa]", "{0};20;0,85", "%d.%m.%Y;%H:%M:%S")
    proposal = draft(
        data,
        time__zone="Europe/Vienna",
        time__marks="end",
        flow__unit="mL/min",
        flow__statistic="sample",
        flow__step="10 mL/min",
        pressure__suction_is="positive",
    )
    assert asked(proposal) == set()
    read = read_log(data, proposal.layout, "log.csv")
    assert read.ledger.used == 30
    assert read.pressure_mcmh2o is not None
    assert read.pressure_mcmh2o[0] == -8668
    assert read.flow_step_declared


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"pressure.unit": "bar"}, "'bar' is not a unit of pressure"),
        ({"pressure.sign": "x"}, "no key 'pressure.sign'"),
        ({"flow.column": "Flw"}, "the header has no column 'Flw'"),
        ({"time.zone": "Europe/Atlantis"}, "is not a time zone"),
        ({"flow.step": "10"}, "has no unit"),
        ({"log.skip_lines": "many"}, "not a whole number"),
        ({"state.words": "RUN"}, "cannot be read"),
        ({"state.column": "Flow", "state.words": "{broken"}, "cannot be read"),
    ],
)
def test_an_answer_is_checked_like_the_key_in_a_file(answers: dict[str, str], said: str) -> None:
    with pytest.raises(LayoutError) as caught:
        propose(log("Time,Flow,Pressure", "{0},10,-8.5"), "log.csv", answers)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_answer_may_hold_words_or_several_columns() -> None:
    proposal = draft(
        log("day,clock,Flow,St", "{0},10,RUN", "%Y-%m-%d,%H:%M:%S"),
        time__columns="day,clock",
        state__column="St",
        state__words="RUN=running,HALT=off",
    )
    assert proposal.layout.time.columns == ("day", "clock")
    assert proposal.layout.state is not None
    assert proposal.layout.state.words == (("RUN", "running"), ("HALT", "off"))


@pytest.mark.parametrize(
    ("stamp", "first", "form"),
    [
        ("%d/%m/%Y %H:%M:%S", "2033-09-13T15:19:00", "%d/%m/%Y %H:%M:%S"),
        ("%m/%d/%Y %H:%M:%S", "2033-09-13T15:19:00", "%m/%d/%Y %H:%M:%S"),
        ("%m/%d/%Y %I:%M:%S %p", "2033-09-13T15:19:00", "%m/%d/%Y %I:%M:%S %p"),
        ("%d.%m.%Y %H:%M", "2033-09-13T15:19:00", "%d.%m.%Y %H:%M"),
        ("%Y%m%d %H%M%S", "2033-09-13T15:19:00", "%Y%m%d %H%M%S"),
        ("%Y/%m/%d %H:%M:%S", "2033-04-03T15:19:00", "%Y/%m/%d %H:%M:%S"),
        ("%Y-%m-%dT%H:%M:%S+02:00", "2033-04-03T15:19:00", "iso"),
        ("%Y-%m-%d %H:%M:%S.250", "2033-04-03T15:19:00", "iso"),
    ],
)
def test_a_day_above_twelve_or_a_year_first_proves_the_form_of_stamps(stamp: str, first: str, form: str) -> None:
    proposal = draft(log("Time;Flow", "{0};10", stamp, first=first))
    assert "time.format" not in asked(proposal)
    assert proposal.layout.time.format == form


@pytest.mark.parametrize("mark", ["/", "."])
def test_without_a_day_above_twelve_the_form_is_asked_with_what_each_would_mean(mark: str) -> None:
    data = log("Time;Flow", "{0};10", f"%d{mark}%m{mark}%Y %H:%M:%S", days=3, first="2033-04-03T15:19:00")
    proposal = draft(data)
    question = next(question for question in proposal.questions if question.key == "time.format")
    assert set(question.choices) == {f"%d{mark}%m{mark}%Y %H:%M:%S", f"%m{mark}%d{mark}%Y %H:%M:%S"}
    assert "spans 3 days" in question.seen
    answered = draft(data, time__format=f"%d{mark}%m{mark}%Y %H:%M:%S")
    assert "time.format" not in asked(answered)


def test_what_proves_the_form_is_told() -> None:
    proposal = draft(log("Time;Flow", "{0};10", "%d/%m/%Y %H:%M:%S"))
    assert any("cannot be read as %m/%d/%Y" in line for line in proposal.evidence)


def test_numbers_for_stamps_are_asked_and_a_zone_only_where_it_is_needed() -> None:
    data = b"ts,Flow\n" + b"".join(b"%d,10\n" % (2010237540 + n) for n in range(30))
    assert {"time.format", "time.zone"} <= asked(draft(data))
    assert "time.zone" not in asked(draft(data, time__format="epoch_s"))
    assert {"time.start", "time.zone"} <= asked(draft(data, time__format="elapsed_s"))
    assert "time.zone" not in asked(draft(data, time__format="elapsed_s", time__start="2033-09-13T15:19:00Z"))
    assert draft(data.replace(b"ts", b"epoch [s]")).layout.time.format == "epoch_s"


@pytest.mark.parametrize(
    ("header", "zone"),
    [("Time [UTC],Flow", "UTC"), ("Time (Europe/Vienna),Flow", "Europe/Vienna"), ("Time +02:00,Flow", "+02:00")],
)
def test_a_zone_stated_by_the_header_is_taken(header: str, zone: str) -> None:
    proposal = draft(log(header, "{0},10", "%Y-%m-%d %H:%M:%S"))
    assert proposal.layout.time.zone == zone


@pytest.mark.parametrize("above", [0, 1, 5, 55])
def test_the_header_is_found_among_the_first_sixty_lines(above: int) -> None:
    data = b"Unit: 7, ward 3\n" * above + log("Time,Flow [L/min]", "{0},0.25")
    proposal = draft(data)
    assert proposal.layout.log.skip_lines == above
    assert proposal.header_line == above + 1
    assert proposal.layout.flow.unit == "L/min"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252"])
def test_the_encoding_is_found(encoding: str) -> None:
    text = log("Zeit;Fluß [mL/min];Druck [cmH2O]", "{0};10;-8,5").decode()
    data = (text.replace("Zeit", "Zeit–") if encoding == "cp1252" else text).encode(encoding)
    proposal = draft(data)
    assert proposal.layout.log.encoding == encoding.removesuffix("-sig").removesuffix("-le").removesuffix("-be")
    assert proposal.layout.flow.unit == "mL/min"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separator_and_line_end_are_found(separator: str, end: str) -> None:
    data = log("Time;Flow [mL/min]", "{0};10").decode().replace(";", separator).replace("\n", end).encode()
    assert draft(data).layout.log.separator == separator


def test_a_line_of_units_states_units() -> None:
    proposal = draft(log("Time;Flow;Pressure\n;L/min;[kPa]", "{0};0,25;-0,8"))
    assert proposal.layout.log.units_line
    assert proposal.layout.log.decimal == ","
    assert proposal.layout.flow.unit == "L/min"
    assert proposal.layout.pressure is not None
    assert proposal.layout.pressure.unit == "kPa"


def test_a_mark_that_may_part_thousands_is_asked() -> None:
    assert "log.decimal" in asked(draft(log("Time;Flow", "{0};1.250")))
    assert "log.decimal" not in asked(draft(log("Time;Flow", "{0};0.250")))
    assert "log.decimal" not in asked(draft(log("Time;Flow", "{0};12")))


def test_two_columns_that_could_be_the_flow_are_asked() -> None:
    data = log("Time,Flow A,Flow B", "{0},10,20")
    question = next(q for q in draft(data).questions if q.key == "flow.column")
    assert question.choices == ("Flow A", "Flow B")
    assert draft(data, flow__column="Flow B").layout.flow.column == "Flow B"


def test_set_suction_that_differs_in_sign_from_the_pressure_is_asked() -> None:
    assert "set_suction.suction_is" in asked(draft(log("Time,Flow,Pressure,Set", "{0},10,-8.5,20")))
    assert "set_suction.suction_is" not in asked(draft(log("Time,Flow,Pressure,Set", "{0},10,-8.5,-20")))


def test_columns_that_are_left_aside_are_named_in_the_file() -> None:
    proposal = draft(log("Time,Flow,Leuchte", "{0},10,3"))
    assert proposal.unread == ("Leuchte",)
    assert "# Columns that are not read: 'Leuchte'" in proposal.to_toml()


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\xff\xfe", b"only words\n" * 20, b"\x89PNG\r\n\x1a\n\x00\x00"])
def test_what_is_no_log_is_refused(data: bytes) -> None:
    with pytest.raises(LogError) as caught:
        propose(data, "log.csv")
    assert "\n" not in str(caught.value)
    assert caught.value.mend


def test_a_header_alone_is_enough_where_it_states_units_sign_and_zone() -> None:
    data = log("time,flow [mL/min],pressure [cmH2O suction negative]", "{0},10,-8.5")
    layout = layout_from_header(data, "log.csv")
    read = read_log(data, layout, "log.csv")
    assert read.ledger.used == 30
    assert "the header does not state time.marks; 'end' is assumed" in read.notes
    assert "the header does not state flow.statistic; 'mean' is assumed" in read.notes


@pytest.mark.parametrize(
    ("header", "stamp", "lacking"),
    [
        ("time,flow,pressure [cmH2O suction negative]", "%Y-%m-%dT%H:%M:%SZ", "flow.unit"),
        ("time,flow [mL/min],pressure [suction negative]", "%Y-%m-%dT%H:%M:%SZ", "pressure.unit"),
        ("time,flow [mL/min],pressure [cmH2O]", "%Y-%m-%dT%H:%M:%SZ", "pressure.suction_is"),
        ("time,flow [mL/min],pressure [cmH2O suction negative]", "%Y-%m-%dT%H:%M:%S", "time.zone"),
    ],
)
def test_a_header_alone_is_refused_where_it_lacks_one_of_them(header: str, stamp: str, lacking: str) -> None:
    with pytest.raises(LayoutError, match=f"log.csv, line 1: the header does not state {lacking}. Pick a layout"):
        layout_from_header(log(header, "{0},10,-8.5", stamp), "log.csv")


def test_a_check_shows_the_first_rows_as_understood() -> None:
    data = log(STATED, "{0},10,-8.5", "%Y-%m-%dT%H:%M:%S+02:00")
    found = check(layout_from_header(data, "log.csv"), data, "log.csv", rows=3)
    assert [row.line for row in found.rows] == [2, 3, 4]
    assert found.rows[0].utc == "2033-09-13T13:19:00Z"
    assert (found.rows[0].flow_ml_per_min, found.rows[0].pressure_cmh2o) == (10.0, -8.5)
    assert (found.every_ms, found.every_declared) == (60_000, False)
    assert (found.first_utc, found.last_utc) == ("2033-09-13T13:19:00Z", "2033-09-13T13:48:00Z")


def test_a_check_shows_local_time_in_the_layouts_zone_and_goes_on_over_refused_rows() -> None:
    data = log("Time,Flow [mL/min]", "{0},10", "%Y-%m-%d %H:%M:%S") + b"junk\n" * 20
    layout = draft(data, time__zone="Europe/Vienna", time__marks="end", flow__statistic="mean").layout
    found = check(layout, data, "log.csv", rows=1)
    assert found.rows[0].local == "2033-09-13 15:19:00.000+02:00"
    assert found.rows[0].utc == "2033-09-13T13:19:00Z"
    assert (found.ledger.used, found.ledger.refused) == (30, 20)
