"""Every dialect that exports come in, read to the same few numbers."""

from __future__ import annotations

import hashlib
from datetime import datetime

import pytest

from behaviour.reading.typed_log import GONE, HEADER, layout, read, rows, shown, whole
from slackwater.reading.log import NONE, STATES

GOOD = rows("10,-8.0", "20,-8.5", ",-9.0")
FLOWS = [10.0, 20.0, None]
PRESSURES = [-8.0, -8.5, -9.0]


def utc(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


FIRST = utc("2033-09-13T15:19:00+00:00")


def test_a_plain_log_is_read_in_thousandths_with_its_hash_and_lines() -> None:
    log = read(GOOD)
    assert shown(log.flow_ul_per_min) == FLOWS
    assert shown(log.pressure_mcmh2o) == PRESSURES
    assert log.time_ms.tolist() == [FIRST, FIRST + 1000, FIRST + 2000]
    assert log.line.tolist() == [2, 3, 4]
    assert log.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (3, 3, 0)


def test_arrays_handed_out_are_read_only() -> None:
    log = read(GOOD)
    with pytest.raises(ValueError, match="read-only"):
        log.flow_ul_per_min[0] = 0
    with pytest.raises(ValueError, match="read-only"):
        log.time_ms[0] = 0


@pytest.mark.parametrize(
    ("encoding", "data"),
    [
        ("utf-8", GOOD.encode()),
        ("utf-8", GOOD.encode("utf-8-sig")),
        ("utf-16", GOOD.encode("utf-16")),
        ("utf-16", b"\xfe\xff" + GOOD.encode("utf-16-be")),
        ("utf-16", GOOD.encode("utf-16-le")),
        ("utf-16", GOOD.encode("utf-16-be")),
        ("latin-1", GOOD.encode("latin-1")),
        ("cp1252", GOOD.encode("cp1252")),
        ("ascii", GOOD.encode("ascii")),
    ],
)
def test_each_encoding_gives_the_same_rows(encoding: str, data: bytes) -> None:
    log = read(data, layout({"log.encoding": encoding}))
    assert shown(log.flow_ul_per_min) == FLOWS
    assert shown(log.pressure_mcmh2o) == PRESSURES


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "latin-1", "cp1252"])
def test_a_column_named_with_an_umlaut_is_found_in_its_encoding(encoding: str) -> None:
    log = read(
        GOOD.replace("Flow", "Flüsse").encode(encoding), layout({"log.encoding": encoding, "flow.column": "Flüsse"})
    )
    assert shown(log.flow_ul_per_min) == FLOWS


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_each_line_end_gives_the_same_rows_and_lines(end: str) -> None:
    log = read(GOOD.replace("\n", end))
    assert shown(log.flow_ul_per_min) == FLOWS
    assert log.line.tolist() == [2, 3, 4]


def test_line_ends_may_be_mixed_in_one_file() -> None:
    log = read(
        "time,Flow,Vac\r\n2033-09-13T15:19:00Z,10,-8.0\r2033-09-13T15:19:01Z,20,-8.5\n2033-09-13T15:19:02Z,,-9.0\r\n"
    )
    assert shown(log.flow_ul_per_min) == FLOWS
    assert log.line.tolist() == [2, 3, 4]


def test_empty_lines_are_no_rows_and_are_counted() -> None:
    log = read(
        "\n".join(["time,Flow,Vac", "", "2033-09-13T15:19:00Z,10,-8.0", "   ", "2033-09-13T15:19:01Z,20,-8.5", "", ""])
    )
    assert log.ledger.read == log.ledger.used == 2
    assert log.ledger.blank_lines == 3
    assert log.line.tolist() == [3, 5]


def test_a_last_line_without_an_end_is_read_and_told() -> None:
    log = read(GOOD.removesuffix("\n"))
    assert shown(log.flow_ul_per_min) == FLOWS
    assert any("no line end" in note for note in log.notes)
    assert not any("no line end" in note for note in read(GOOD).notes)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_each_separator(separator: str) -> None:
    assert shown(read(GOOD.replace(",", separator), layout({"log.separator": separator})).flow_ul_per_min) == FLOWS


def test_a_decimal_comma() -> None:
    text = GOOD.replace(",", ";").replace(".", ",").replace("10", "10,5")
    log = read(text, layout({"log.separator": ";", "log.decimal": ","}))
    assert shown(log.flow_ul_per_min) == [10.5, 20.0, None]
    assert shown(log.pressure_mcmh2o) == PRESSURES


def test_a_decimal_comma_inside_quotes_between_commas() -> None:
    log = read(rows('"10,5","-8,25"', '20,"-8"'), layout({"log.decimal": ","}))
    assert shown(log.flow_ul_per_min) == [10.5, 20.0]
    assert shown(log.pressure_mcmh2o) == [-8.25, -8.0]


def test_lines_above_the_header_are_skipped() -> None:
    log = read("Unit 7\n\nWard, 3\n" + GOOD, layout({"log.skip_lines": 3}))
    assert log.line.tolist() == [5, 6, 7]


def test_a_line_of_units_that_agrees_is_no_row() -> None:
    log = read(GOOD.replace("\n", "\n,mL/min,[cmH2O]\n", 1), layout({"log.units_line": True}))
    assert log.line.tolist() == [3, 4, 5]
    assert shown(log.flow_ul_per_min) == FLOWS


def test_quoted_cells_with_separators_quotes_and_spaces() -> None:
    text = rows(
        ' "10" , -8.0 ,"a,b"', '20,"-8.5","he said ""ah"""', ',"-9.0",', header='"time","Flow","Vac","note, free"'
    )
    log = read(text)
    assert shown(log.flow_ul_per_min) == FLOWS
    assert shown(log.pressure_mcmh2o) == PRESSURES


def test_another_quote_or_none() -> None:
    assert shown(read(rows("'10',-8.0"), layout({"log.quote": "'", "time.every": "1 s"})).flow_ul_per_min) == [10.0]
    log = read(rows('10,-8.0,say "ah', header="time,Flow,Vac,note"), layout({"log.quote": "", "time.every": "1 s"}))
    assert shown(log.flow_ul_per_min) == [10.0]


def test_a_line_end_within_quotes_costs_the_row_it_is_in_and_no_other() -> None:
    log = read(rows('10,-8.0,"a', '20,-8.5,b"', "30,-9.0,c", "40,-9,d", header="time,Flow,Vac,note"), refuse_above=0.7)
    assert shown(log.flow_ul_per_min) == [30.0, 40.0]
    assert [row.line for row in log.ledger.first_refused] == [2, 3]


def test_missing_texts_are_rows_without_a_value() -> None:
    log = read(
        rows("---,-8.0", "n/a,---", "-999,-8.5", ",", "30,-9"),
        layout({"log.missing": ["", "---", "n/a", "-999"]}),
    )
    assert shown(log.flow_ul_per_min) == [None, None, None, None, 30.0]
    assert shown(log.pressure_mcmh2o) == [-8.0, None, -8.5, None, -9.0]
    assert log.ledger.used == 5


def test_a_blank_flow_is_missing_whatever_the_layout_calls_missing() -> None:
    assert shown(read(GOOD, layout({"log.missing": ["---"]})).flow_ul_per_min) == FLOWS


STAMPS = [
    ("iso", "", "2033-09-13T15:19:00Z", "2033-09-13T15:19:00+00:00"),
    ("iso", "", "2033-09-13 15:19:00z", "2033-09-13T15:19:00+00:00"),
    ("iso", "", "2033-09-13T15:19:00+02:00", "2033-09-13T13:19:00+00:00"),
    ("iso", "", "2033-09-13T15:19:00-0330", "2033-09-13T18:49:00+00:00"),
    ("iso", "", "2033-09-13T15:19:00+02", "2033-09-13T13:19:00+00:00"),
    ("iso", "", "2033-09-13T15:19+02:00", "2033-09-13T13:19:00+00:00"),
    ("iso", "", "2033-09-13T15:19:00.25Z", "2033-09-13T15:19:00.250+00:00"),
    ("iso", "", "2033-09-13T15:19:00.123456789Z", "2033-09-13T15:19:00.123+00:00"),
    ("iso", "Europe/Vienna", "2033-09-13T15:19:00", "2033-09-13T13:19:00+00:00"),
    ("iso", "Europe/Vienna", "2033-01-13  15:19:00", "2033-01-13T14:19:00+00:00"),
    ("iso", "Europe/Vienna", "2033-09-13T15:19:00Z", "2033-09-13T15:19:00+00:00"),
    ("iso", "+05:30", "2033-09-13T15:19:00", "2033-09-13T09:49:00+00:00"),
    ("iso", "UTC", "2036-02-29 00:00:00", "2036-02-29T00:00:00+00:00"),
    ("%d.%m.%Y %H:%M:%S", "Europe/Vienna", "13.09.2033 15:19:00", "2033-09-13T13:19:00+00:00"),
    ("%d.%m.%Y %H:%M:%S", "UTC", "3.9.2033 5:19:00", "2033-09-03T05:19:00+00:00"),
    ("%d.%m.%y %H:%M", "UTC", "13.09.33 15:19", "2033-09-13T15:19:00+00:00"),
    ("%d.%m.%y %H:%M", "UTC", "13.09.99 15:19", "1999-09-13T15:19:00+00:00"),
    ("%d/%m/%Y %H:%M:%S", "UTC", "03/04/2033 15:19:00", "2033-04-03T15:19:00+00:00"),
    ("%m/%d/%Y %I:%M:%S %p", "UTC", "03/04/2033 03:19:00 PM", "2033-03-04T15:19:00+00:00"),
    ("%m/%d/%Y %I:%M:%S %p", "UTC", "03/04/2033 12:00:00 AM", "2033-03-04T00:00:00+00:00"),
    ("%m/%d/%Y %I:%M:%S %p", "UTC", "03/04/2033 12:00:00 pm", "2033-03-04T12:00:00+00:00"),
    ("%Y%m%d %H%M%S", "UTC", "20330913 151900", "2033-09-13T15:19:00+00:00"),
    ("%Y%m%d%H%M%S", "UTC", "20330913151900", "2033-09-13T15:19:00+00:00"),
    ("%Y-%m-%d %H:%M:%S.%f", "UTC", "2033-09-13 15:19:00.5", "2033-09-13T15:19:00.500+00:00"),
    ("%d.%m.%Y %H:%M:%S%z", "", "13.09.2033 15:19:00+0200", "2033-09-13T13:19:00+00:00"),
    ("at %Hh%M on %d.%m.%Y", "UTC", "at 15h19 on 13.09.2033", "2033-09-13T15:19:00+00:00"),
    ("epoch_s", "", "2010237540", "2033-09-13T15:19:00+00:00"),
    ("epoch_s", "", "2010237540.125", "2033-09-13T15:19:00.125+00:00"),
    ("epoch_ms", "", "2010237540125", "2033-09-13T15:19:00.125+00:00"),
]  # fmt: skip


@pytest.mark.parametrize(("form", "zone", "stamp", "instant"), STAMPS, ids=lambda text: str(text))
def test_each_way_to_write_a_stamp(form: str, zone: str, stamp: str, instant: str) -> None:
    changes = {"time.format": form, "time.zone": zone or GONE, "time.every": "1 s"}
    for text in (stamp, f'"{stamp}"', f"  {stamp}  "):
        log = read(f"{HEADER}\n{text},10,-8\n", layout(changes))
        assert log.time_ms.tolist() == [utc(instant)]


def test_date_and_time_in_two_columns_in_any_place() -> None:
    log = read(
        "clock;Flow;day;Vac\n15:19:00;10;13.09.2033;-8.0\n15:19:01;20;13.09.2033;-8.5\n",
        layout(
            {
                "log.separator": ";",
                "time.columns": ["day", "clock"],
                "time.format": "%d.%m.%Y %H:%M:%S",
                "time.zone": "UTC",
            }
        ),
    )
    assert log.time_ms.tolist() == [FIRST, FIRST + 1000]
    assert log.zone == "UTC"


@pytest.mark.parametrize(
    ("start", "zone"),
    [("2033-09-13T15:19:00Z", GONE), ("2033-09-13T17:19:00", "Europe/Vienna"), ("2033-09-13T17:19:00+02:00", GONE)],
)
def test_elapsed_seconds_count_from_the_start(start: str, zone: object) -> None:
    log = read(
        f"{HEADER}\n0,10,-8\n0.5,20,-8\n1,,-8\n",
        layout({"time.format": "elapsed_s", "time.start": start, "time.zone": zone}),
    )
    assert log.time_ms.tolist() == [FIRST, FIRST + 500, FIRST + 1000]


def test_a_comma_as_the_mark_of_a_fraction_of_a_second() -> None:
    log = read("time;Flow;Vac\n2033-09-13T15:19:00,5Z;10;-8\n", layout({"log.separator": ";", "time.every": "1 s"}))
    assert log.time_ms.tolist() == [FIRST + 500]


def test_offsets_may_differ_within_one_file() -> None:
    log = read(
        f"{HEADER}\n2033-09-13T15:19:00Z,10,-8\n2033-09-13T17:19:01+02:00,20,-8\n2033-09-13T10:19:02-05:00,,-8\n"
    )
    assert log.time_ms.tolist() == [FIRST, FIRST + 1000, FIRST + 2000]
    assert log.zone == "offset in each stamp"


def test_an_offset_in_a_stamp_goes_before_the_zone_of_the_layout() -> None:
    log = read(
        f"{HEADER}\n2033-09-13T15:19:00Z,10,-8\n2033-09-13T17:19:01,20,-8\n", layout({"time.zone": "Europe/Vienna"})
    )
    assert log.time_ms.tolist() == [FIRST, FIRST + 1000]
    assert log.zone == "offset in the stamp, else Europe/Vienna"


AUTUMN = [
    "2033-10-30T01:59:59",
    "2033-10-30T02:00:00",
    "2033-10-30T02:30:00",
    "2033-10-30T02:30:00",
    "2033-10-30T02:59:59",
    "2033-10-30T03:00:00",
]


def test_a_local_time_that_happened_twice_is_kept_and_marked_whatever_the_order_of_rows() -> None:
    how = layout({"time.zone": "Europe/Vienna"})
    for order in (AUTUMN, AUTUMN[::-1]):
        log = read(f"{HEADER}\n" + "".join(f"{stamp},10,-8\n" for stamp in order), how)
        marked = {order[n] for n, doubtful in enumerate(log.time_doubtful.tolist()) if doubtful}
        assert marked == {"2033-10-30T02:00:00", "2033-10-30T02:30:00", "2033-10-30T02:59:59"}
        assert log.ledger.used == 6
        assert any("4 rows have a local time that happened twice in Europe/Vienna" in note for note in log.notes)


def test_with_an_offset_the_repeated_hour_is_not_in_doubt() -> None:
    log = read(
        f"{HEADER}\n2033-10-30T02:30:00+02:00,10,-8\n2033-10-30T02:30:00+01:00,10,-8\n",
        layout({"time.zone": "Europe/Vienna"}),
    )
    assert not log.time_doubtful.any()
    assert (log.time_ms[1] - log.time_ms[0]) == 3_600_000


def test_a_local_time_that_never_happened_is_a_refused_row() -> None:
    log = read(
        f"{HEADER}\n2033-03-27T01:59:59,10,-8\n2033-03-27T02:00:00,20,-8\n2033-03-27T02:59:59,20,-8\n2033-03-27T03:00:00,30,-8\n",
        layout({"time.zone": "Europe/Vienna"}),
        refuse_above=0.5,
    )
    assert shown(log.flow_ul_per_min) == [10.0, 30.0]
    assert log.time_ms[1] - log.time_ms[0] == 1000
    assert [(row.line, row.column) for row in log.ledger.first_refused] == [(3, "time"), (4, "time")]
    assert "never happened in Europe/Vienna" in log.ledger.first_refused[0].why


def test_columns_are_found_by_name_in_any_order_beside_others() -> None:
    log = read("Vac,x, Flow ,time,,\n-8.0,9,10,2033-09-13T15:19:00Z,,\n", layout({"time.every": "1 s"}))
    assert shown(log.flow_ul_per_min) == [10.0]
    assert shown(log.pressure_mcmh2o) == [-8.0]


@pytest.mark.parametrize(
    ("unit", "printed", "inside"),
    [
        ("mL/min", "20", 20.0),
        ("L/min", "0.02", 20.0),
        ("mL/h", "1200", 20.0),
        ("L/h", "1.2", 20.0),
        ("cc/min", "20", 20.0),
    ],
)
def test_each_unit_of_flow(unit: str, printed: str, inside: float) -> None:
    log = read(rows(f"{printed},-8"), layout({"flow.unit": unit, "time.every": "1 s"}))
    assert shown(log.flow_ul_per_min) == [inside]


@pytest.mark.parametrize(
    ("unit", "printed", "inside"),
    [
        ("cmH2O", "-20", -20.0),
        ("cm[H2O]", "-20", -20.0),
        ("kPa", "-1.96133", -20.0),
        ("hPa", "-19.6133", -20.0),
        ("mbar", "-19.6133", -20.0),
        ("Pa", "-1961.33", -20.0),
        ("mmHg", "-10", -13.595),
        ("mm[Hg]", "-10", -13.595),
    ],
)
def test_each_unit_of_pressure(unit: str, printed: str, inside: float) -> None:
    log = read(rows(f"10,{printed}"), layout({"pressure.unit": unit, "time.every": "1 s"}))
    assert shown(log.pressure_mcmh2o) == [inside]


def test_suction_is_negative_inside_whatever_its_sign_in_the_log() -> None:
    log = read(rows("10,20.0", "10,-1.5"), layout({"pressure.suction_is": "positive"}))
    assert shown(log.pressure_mcmh2o) == [-20.0, 1.5]
    assert any("1 pressure is above zero" in note for note in log.notes)


def test_where_suction_counts_up_the_smallest_suction_is_the_largest_pressure() -> None:
    log = read(
        rows("10,20,18,22", header="time,Flow,Vac,VacMin,VacMax"),
        layout(
            {
                "pressure.suction_is": "positive",
                "pressure.min_column": "VacMin",
                "pressure.max_column": "VacMax",
                "time.every": "1 s",
            }
        ),
    )
    assert shown(log.pressure_min_mcmh2o) == [-22.0]
    assert shown(log.pressure_max_mcmh2o) == [-18.0]


def test_a_column_that_looks_turned_gets_a_loud_note_and_is_still_read_as_declared() -> None:
    log = read(rows(*["10,18.0", "10,20.0"] * 4))
    assert shown(log.pressure_mcmh2o)[:2] == [18.0, 20.0]
    assert any("CHECK THE SIGN" in note for note in log.notes)


def test_small_positive_pressures_are_no_reason_to_doubt_the_sign() -> None:
    log = read(rows(*["10,0.5", "10,1.0"] * 4))
    assert not any("CHECK THE SIGN" in note for note in log.notes)


def test_every_optional_column() -> None:
    text = (
        "time,Flow,FlowMax,Vac,Set,Bat,AC,Fluid,St,SN\n"
        "2033-09-13T15:19:00Z,10,30,1.0,2.0,99.6,1,0.25,RUN,A1\n"
        "2033-09-13T15:19:01Z,20,,,,,,,,\n"
        "2033-09-13T15:19:02Z,20,30,1.0,2.0,98,0,0.3,STOP,B2\n"
    )
    log = read(
        text,
        layout(
            {"flow.max_column": "FlowMax", "pressure.suction_is": "positive", "pressure.unit": "kPa"},
            set_suction={"column": "Set"},
            battery={"column": "Bat"},
            mains={"column": "AC", "yes": ["1"], "no": ["0"]},
            fluid={"column": "Fluid", "unit": "L"},
            state={"column": "St", "words": {"RUN": "running", "STOP": "off"}},
            serial={"column": "SN"},
        ),
    )
    assert shown(log.flow_max_ul_per_min) == [30.0, None, 30.0]
    assert shown(log.set_suction_mcmh2o) == [-20.394, None, -20.394]
    assert whole(log.battery_percent) == [100, None, 98]
    assert whole(log.mains) == [1, None, 0]
    assert whole(log.fluid_ml) == [250, None, 300]
    assert whole(log.state) == [STATES.index("running"), None, STATES.index("off")]
    assert log.serials == ("A1", "B2")
    assert any("2 serial numbers" in note for note in log.notes)
    assert any("the set suction is read in kPa" in note for note in log.notes)


def test_a_channel_the_layout_does_not_name_is_none() -> None:
    log = read(GOOD, layout(pressure=None))
    assert log.pressure_mcmh2o is None
    assert log.battery_percent is None


def test_the_usual_step_is_found_and_reported_whatever_the_order_of_rows() -> None:
    lines = rows(*["10,-8"] * 6).splitlines()
    shuffled = "\n".join([lines[0], *lines[3:], *lines[1:3]]) + "\n"
    assert read(shuffled).every_ms == 1000
    assert not read(shuffled).every_declared
    assert any("a row stands for 1 s" in note for note in read(shuffled).notes)


def test_a_declared_step_is_taken_and_a_different_usual_step_is_told() -> None:
    log = read(GOOD, layout({"time.every": "10 s"}))
    assert (log.every_ms, log.every_declared) == (10_000, True)
    assert any("usual step between rows is 1 s" in note for note in log.notes)


def test_the_step_of_the_flow_is_found_from_the_printed_values() -> None:
    log = read(rows("10,-8", "30,-8", "0,-8", "50,-8", "120,-8"))
    assert (log.flow_step_ul_per_min, log.flow_step_declared) == (10_000, False)
    assert any("step is 10 mL/min as found" in note for note in log.notes)


def test_the_step_is_found_in_litres_and_over_different_digits() -> None:
    flows = rows("0.10,-8", "0.3,-8", "0.05,-8", "0.2,-8", "0.55,-8")
    assert read(flows, layout({"flow.unit": "L/min"})).flow_step_ul_per_min == 50_000


def test_a_few_different_flows_may_share_a_divisor_by_chance_so_the_last_printed_digit_stands() -> None:
    """One flow is always its own divisor: a log of nothing but 49.9 must not claim a step of 49.9."""
    log = read(rows("49.9,-8", "49.9,-8", "0,-8"))
    assert log.flow_step_ul_per_min == 100
    assert any("only 2 different flows" in note for note in log.notes)


def test_where_every_flow_is_zero_the_last_printed_digit_stands_for_the_step() -> None:
    log = read(rows("0.0,-8", "0,-8"), layout({"flow.unit": "L/min"}))
    assert log.flow_step_ul_per_min == 100_000
    assert any("every flow is zero, so its step cannot be found" in note for note in log.notes)


def test_a_flow_above_the_declared_ceiling_is_read_and_never_lost() -> None:
    log = read(rows("5000,-8", "5001,-8"), layout({"flow.ceiling": "5 L/min"}))
    assert (log.ledger.used, log.flow_ul_per_min.tolist()) == (2, [5_000_000, 5_001_000])


def test_a_row_with_a_cell_that_cannot_be_read_keeps_its_place_in_time_without_a_value() -> None:
    """What stood there may have been worse than anything that could be read: '>4000'."""
    log = read(rows("10,-8", ">4000,-0.3", "20,-8"), refuse_above=1.0)
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (3, 2, 1)
    assert len(log.time_ms) == 3
    assert log.flow_ul_per_min.tolist() == [10_000, NONE, 20_000]


def test_a_declared_step_and_ceiling_are_kept() -> None:
    log = read(GOOD, layout({"flow.step": "10 mL/min", "flow.ceiling": "5 L/min", "flow.rounding": "floor"}))
    assert (log.flow_step_ul_per_min, log.flow_step_declared) == (10_000, True)
    assert log.flow_ceiling_ul_per_min == 5_000_000
    assert (log.rounding, log.statistic, log.marks) == ("floor", "mean", "end")


def test_flows_off_the_declared_step_are_told() -> None:
    assert any(
        "1 flow is no multiple of the declared step" in n
        for n in read(rows("10,-8", "25,-8"), layout({"flow.step": "10 mL/min"})).notes
    )


def test_flows_finer_than_any_display_get_a_loud_note() -> None:
    assert any("CHECK THE UNIT" in note for note in read(rows("0.05,-8", "1.25,-8")).notes)


def test_numbers_that_only_the_careful_reader_knows() -> None:
    log = read(rows("1e1,−8.5", "+20,-.5", "30.,-8", "4E+1,-8.50000"))
    assert shown(log.flow_ul_per_min) == [10.0, 20.0, 30.0, 40.0]
    assert shown(log.pressure_mcmh2o) == [-8.5, -0.5, -8.0, -8.5]


def test_rows_of_the_careful_reader_stand_in_file_order_among_the_others() -> None:
    log = read(rows("10,-8", "1e1,-8", "20,-8", "2e1,-8", "30,-8"))
    assert log.line.tolist() == [2, 3, 4, 5, 6]
    assert shown(log.flow_ul_per_min) == [10.0, 10.0, 20.0, 20.0, 30.0]


def test_a_value_between_thousandths_goes_to_the_even_one() -> None:
    log = read(rows("10.0005,-8", "10.0015,-8", "-10.0005,-8"))
    assert log.flow_ul_per_min.tolist() == [10_000, 10_002, -10_000]


def test_a_footer_is_refused_rows_and_the_rest_is_read() -> None:
    log = read(rows(*["10,-8"] * 9) + "-- end of log --\n", refuse_above=0.1)
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (10, 9, 1)
    assert log.ledger.first_refused[0].line == 11
    assert "too short" in log.ledger.first_refused[0].why


def test_only_the_first_twenty_refused_rows_are_listed_in_file_order() -> None:
    bad = rows(*["10,-8"] * 5) + "x\n" * 30
    log = read(bad, refuse_above=0.9)
    assert log.ledger.refused == 30
    assert [row.line for row in log.ledger.first_refused] == list(range(7, 27))
