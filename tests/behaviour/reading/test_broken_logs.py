"""Logs with one fault each: refused whole or row by row, in one line that says what, where, and the mend."""

# ruff: noqa: E501 -- one fault a line reads best as a table

from __future__ import annotations

import bz2
import gzip
import lzma
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from behaviour.reading.typed_log import HEADER, layout, read, rows
from slackwater.errors import LogError, UsageError
from slackwater.reading.layout import Layout
from slackwater.reading.log import Log
from slackwater.reading.read import read_log

FOLDER = Path(__file__).parents[2] / "data" / "broken" / "logs"
T = "2033-09-13T15:19:00Z"
LINE2 = "log.csv, line 2"
FLOW, VAC, TIME = f"{LINE2}, column 'Flow'", f"{LINE2}, column 'Vac'", f"{LINE2}, column 'time'"
SEMI = {"log.separator": ";", "log.decimal": ","}
GOOD = rows("10,-8", "20,-8")

# (name, file, layout changes, where it is, what is said of it, the mend)
FILES: list[tuple[str, str | bytes, dict[str, Any], str, str, str]] = [
    ("nothing", b"", {}, "log.csv", "the file is empty", "Export"),
    ("only a byte-order mark", b"\xef\xbb\xbf", {}, "log.csv, line 1", "no column 'time'", "one cell"),
    ("only a header", HEADER, {}, "log.csv, line 1", "a header and no rows", "Export"),
    ("only a header and its line end", HEADER + "\n", {}, "log.csv, line 1", "a header and no rows", "Export"),
    ("only a header and empty lines", HEADER + "\n\n \n", {}, "log.csv, line 1", "no rows", "Export"),
    ("only empty lines", "\n\n\n", {}, "log.csv, line 1", "no column 'time'", "separator"),
    ("skips past the end", GOOD, {"log.skip_lines": 9}, "log.csv", "ends before line 10", "skip_lines"),
    ("header higher up", GOOD, {"log.skip_lines": 1}, "log.csv, line 2", "no column 'time'", "skip_lines = 0"),
    ("header lower down", "Unit 7\n\n" + GOOD, {}, "log.csv, line 1", "no column 'time'", "skip_lines = 2"),
    ("another separator", GOOD.replace(",", ";"), {}, "log.csv, line 1", "no column 'time'", "one cell: check log.sep"),
    ("a column missing", rows("10", header="time,Flow"), {}, "log.csv, line 1", "no column 'Vac'", "'time', 'Flow'"),
    ("a name nearly right", GOOD.replace("Flow", "Flows"), {}, "log.csv, line 1", "no column 'Flow'", "mean 'Flows'?"),
    ("a name in another case", GOOD.replace("Flow", "flow"), {}, "log.csv, line 1", "no column 'Flow'", "'flow'"),
    ("a look-alike letter", GOOD.replace("Flow", "Flоw"), {}, "log.csv, line 1", "no column 'Flow'", "mean 'Flоw'?"),
    ("two columns of a name", rows("10,-8,1", header="time,Flow,Vac,Flow"), {}, "line 1", "columns 2 and 4 are both called 'Flow'", "own name"),
    ("two unread columns of a name", rows("10,-8,1,1", header="time,Flow,Vac,x,x"), {}, "line 1", "columns 4 and 5", "own name"),
    ("an open quote in the header", GOOD.replace("Flow", '"Flow'), {}, "log.csv, line 1", "a quote is opened", "log.quote"),
    ("a NUL in the header", GOOD.replace("Flow", "Fl\0ow"), {}, "log.csv, line 1", "control character", "skip_lines"),
    ("too many columns", rows("10", header="time,Flow,Vac," + ",".join(f"c{n}" for n in range(1000))), {}, "line 1", "1003 columns, over 1000", "separator"),
    ("the header's flow unit is another", rows("1,-8", header="time,Flow [L/min],Vac"), {"flow.column": "Flow [L/min]"}, "line 1, column 'Flow [L/min]'", "says L/min, the layout says mL/min", "flow.unit"),
    ("the header's pressure unit is another", rows("10,-8", header="time,Flow,Vac (kPa)"), {"pressure.column": "Vac (kPa)"}, "line 1, column 'Vac (kPa)'", "says kPa, the layout says cmH2O", "pressure.unit"),
    ("the units line's flow unit is another", GOOD.replace("\n", "\n,L/min,cmH2O\n", 1), {"log.units_line": True}, "line 2, column 'Flow'", "says L/min", "flow.unit"),
    ("the units line's pressure unit is another", GOOD.replace("\n", "\n,mL/min,(mmHg)\n", 1), {"log.units_line": True}, "line 2, column 'Vac'", "says mmHg", "pressure.unit"),
    ("no units line", "\n".join([HEADER, f"{T},10"]), {"log.units_line": True}, "log.csv, line 2", "line of units does not have", "units_line = false"),
    ("a units line cut off", HEADER + "\n", {"log.units_line": True}, "log.csv, line 2", "line of units does not have", "units_line = false"),
    ("a units line not declared", f"{HEADER}\n,mL/min,cmH2O\n{T},10,-8\n", {}, "line 2, column 'time'", "there is no time stamp", "check"),
    ("UTF-8 broken", GOOD.encode().replace(b"20,", b"2\xff,"), {}, "log.csv, line 3, character 23", "not utf-8", "log.encoding"),
    ("UTF-8 cut off", GOOD.encode() + b"\xc3", {}, "log.csv, line 4, character 1", "not utf-8", "log.encoding"),
    ("UTF-8 overlong", GOOD.encode().replace(b",20,", b",\xc0\xb2,"), {}, "line 3", "not utf-8", "log.encoding"),
    ("UTF-8 with a surrogate", GOOD.encode().replace(b",20,", b",\xed\xa0\x80,"), {}, "line 3", "not utf-8", "log.encoding"),
    ("CP1252 read as UTF-8", GOOD.replace("Flow", "Flüss").encode("cp1252"), {}, "line 1, character 8", "not utf-8", "cp1252"),
    ("no ASCII", GOOD.replace(",20,", ",2０,").encode(), {"log.encoding": "ascii"}, "line 3", "not ascii", "log.encoding"),
    ("no CP1252", GOOD.encode().replace(b",20,", b",\x81,"), {"log.encoding": "cp1252"}, "line 3", "not cp1252", "log.encoding"),
    ("UTF-16 read as UTF-8", GOOD.encode("utf-16"), {}, "log.csv, line 1", "mark of UTF-16", 'encoding = "utf-16"'),
    ("UTF-16 read as Latin-1", GOOD.encode("utf-16"), {"log.encoding": "latin-1"}, "line 1", "mark of UTF-16", "utf-16"),
    ("UTF-16 without mark read as UTF-8", GOOD.encode("utf-16-le"), {}, "log.csv, line 1", "control character", "skip_lines"),
    ("UTF-8 read as UTF-16", GOOD.encode(), {"log.encoding": "utf-16"}, "log.csv, line 1", "", ""),
    ("UTF-16 cut off", GOOD.encode("utf-16")[:-1], {"log.encoding": "utf-16"}, "line 3", "not utf-16-le", "log.encoding"),
    ("UTF-16 with half a pair", GOOD.encode("utf-16-le") + b"\x00\xd8", {"log.encoding": "utf-16"}, "line 4", "not utf-16-le", "log.encoding"),
    ("a UTF-8 mark on Latin-1", b"\xef\xbb\xbf" + GOOD.encode(), {"log.encoding": "latin-1"}, "line 1", "mark of UTF-8", 'encoding = "utf-8"'),
    ("a UTF-8 mark on ASCII", b"\xef\xbb\xbf" + GOOD.encode(), {"log.encoding": "ascii"}, "line 1", "mark of UTF-8", "utf-8"),
    ("two byte-order marks", b"\xef\xbb\xbf\xef\xbb\xbf" + GOOD.encode(), {}, "line 1", "no column 'time'", "time"),
    ("a line of 70 kB", GOOD + T + "," + "9" * 70_000 + ",-8\n", {}, "log.csv, line 4", "over 64 kB long", "encoding"),
    ("a line of 5 MB without end", GOOD + "x" * 5_000_000, {}, "log.csv, line 4", "over 64 kB long", "separator"),
    ("a hundred thousand cells in a line", GOOD + "," * 100_000 + "\n", {}, "log.csv, line 4", "over 64 kB long", "separator"),
    ("a header of 70 kB", "time,Flow,Vac," + "x" * 70_000 + "\n" + "x\n", {}, "line 2, column 'time'", "too short", "check"),
    ("a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), {}, "log.csv, line 1", "not utf-8", "log.encoding"),
    ("a zip archive", b"PK\x03\x04\x14\x00\x00\x00\x08\x00" + b"\x00" * 50, {}, "log.csv", "is compressed (zip", "Unpack it first"),
    ("a log packed by gzip", gzip.compress(GOOD.encode()), {}, "log.csv", "is compressed (gzip)", "Unpack it first"),
    ("a log packed by bzip2", bz2.compress(GOOD.encode()), {}, "log.csv", "is compressed (bzip2)", "Unpack it first"),
    ("a log packed by xz", lzma.compress(GOOD.encode()), {}, "log.csv", "is compressed (xz)", "Unpack it first"),
    ("a page of HTML", "<!DOCTYPE html>\n<html><body>moved</body></html>\n", {}, "log.csv, line 1", "no column 'time'", "one cell"),
    ("JSON", '{"time": "2033", "Flow": 10, "Vac": -8}\n{}\n', {}, "log.csv, line 1", "a quote stands inside a cell", "log.quote"),
    ("one instant only", rows("10,-8"), {}, "log.csv", "fewer than two different instants", "time.every"),
    ("the same instant twice", f"{HEADER}\n{T},10,-8\n{T},10,-8\n", {}, "log.csv", "fewer than two different instants", "every = "),
    ("litres under millilitres", rows("0.05,-8", "0,-8", "0.12,-8"), {}, FLOW, "every flow above zero is below 1 mL/min", "flow.unit"),
    ("litres under millilitres from the third row", rows("0,-8", "0.0,-8", "0.9,-8"), {}, "line 4, column 'Flow'", "unit slip", "in mL/min"),
    ("litres an hour under millilitres an hour", rows("1.2,-8", "59,-8"), {"flow.unit": "mL/h"}, FLOW, "unit slip", "flow.unit"),
    ("every flow below its step", rows("5,-8", "4,-8"), {"flow.step": "10 mL/min"}, FLOW, "below flow.step (10 mL/min)", "flow.unit"),
    ("nothing but junk", f"{HEADER}\n" + "junk\n" * 5, {}, "line 2, column 'time'", "more than 5 % of the 5 rows", "check"),
    ("one row of ten is junk", rows(*["10,-8"] * 9) + "junk\n", {}, "line 11, column 'time'", "more than 5 % of the 10 rows", "check"),
    ("every row has a column more", rows("10,-8,", "20,-8,"), {}, VAC, "too long: 4 cells, the header has 3", "check"),
    ("day first read as month first", f"{HEADER}\n13/09/2033 15:19,10,-8\n13/09/2033 15:20,10,-8\n", {"time.format": "%m/%d/%Y %H:%M", "time.zone": "UTC"}, TIME, "no day of the calendar when read as %m/%d", "check"),
    ("month first read as day first", f"{HEADER}\n09/13/2033 15:19,10,-8\n09/13/2033 15:20,10,-8\n", {"time.format": "%d/%m/%Y %H:%M", "time.zone": "UTC"}, TIME, "no day of the calendar when read as %d/%m", "check"),
    ("no offset and no zone", f"{HEADER}\n2033-09-13T15:19:00,10,-8\n2033-09-13T15:19:01,10,-8\n", {}, TIME, "carries no offset", "check"),
    ("a night that never was", f"{HEADER}\n2033-03-27T02:10:00,10,-8\n2033-03-27T02:11:00,10,-8\n", {"time.zone": "Europe/Vienna"}, TIME, "never happened in Europe/Vienna", "check"),
    ("decimal points read as commas", rows("10.5,-8", "20.5,-8").replace(",", ";"), SEMI, FLOW, "not a number (the decimal mark here is ',')", "check"),
    ("decimal commas read as points", rows("10;-8,5", "20;-8,5").replace("Z,", "Z;").replace(HEADER, "time;Flow;Vac"), {"log.separator": ";"}, VAC, "'-8,5' is not a number", "check"),
]  # fmt: skip

# (name, the row's cells after the stamp; the column and what is said of it) between good rows
CELLS: list[tuple[str, str, str, str]] = [
    ("a word for a flow", "abc,-8", "Flow", "'abc' is not a number"),
    ("a word for a pressure", "10,abc", "Vac", "'abc' is not a number"),
    ("an underscore in a number", "1_000,-8", "Flow", "'1_000' is not a number"),
    ("Arabic digits", "١٢,-8", "Flow", "'١٢' is not a number"),
    ("full-width digits", "１２,-8", "Flow", "is not a number"),
    ("a superscript digit", "1²,-8", "Flow", "is not a number"),
    ("nan", "nan,-8", "Flow", "'nan' is not a number"),
    ("NaN", "10,NaN", "Vac", "'NaN' is not a number"),
    ("inf", "inf,-8", "Flow", "'inf' is not a number"),
    ("-Infinity", "10,-Infinity", "Vac", "'-Infinity' is not a number"),
    ("a huge exponent", "1e400,-8", "Flow", "'1e400' is not a number"),
    ("a large exponent", "1e99,-8", "Flow", "beyond 200 L/min"),
    ("hexadecimal", "0x10,-8", "Flow", "'0x10' is not a number"),
    ("a unit in the cell", "10 mL/min,-8", "Flow", "'10 mL/min' is not a number"),
    ("a percent sign", "10%,-8", "Flow", "'10%' is not a number"),
    ("two points", "1.2.3,-8", "Flow", "'1.2.3' is not a number"),
    ("two signs", "10,--8", "Vac", "'--8' is not a number"),
    ("a sign behind", "10,8-", "Vac", "'8-' is not a number"),
    ("only a sign", "10,-", "Vac", "'-' is not a number"),
    ("only a point", ".,-8", "Flow", "'.' is not a number"),
    ("a space within", "1 000,-8", "Flow", "'1 000' is not a number"),
    ("a hard space within", "1\u00a0000,-8", "Flow", "'1·000' is not a number"),
    ("an apostrophe within", "1'000,-8", "Flow", "is not a number"),
    ("sixteen digits", "1234567890123456,-8", "Flow", "is not a number"),
    ("a brace of digits", "(10),-8", "Flow", "'(10)' is not a number"),
    ("less than", "<10,-8", "Flow", "'<10' is not a number"),
    ("a formula", "=1+1,-8", "Flow", "'=1+1' is not a number"),
    ("a flag", "10*,-8", "Flow", "'10*' is not a number"),
    ("true", "true,-8", "Flow", "'true' is not a number"),
    ("a fraction", "1/2,-8", "Flow", "'1/2' is not a number"),
    ("an emoji", "🙂,-8", "Flow", "is not a number"),
    ("right-to-left mark", "\u200f10,-8", "Flow", "'·10' is not a number"),
    ("a tab in a number", "1\t0,-8", "Flow", "'1·0' is not a number"),
    ("a long cell is not repeated", "SURNAME, FORENAME".replace(",", "") * 5 + ",-8", "Flow", "'SURNAME FORENAMESU…' is not"),
    ("too much flow", "200001,-8", "Flow", "'200001' mL/min is beyond 200 L/min"),
    ("too much flow backwards", "-200001,-8", "Flow", "beyond 200 L/min"),
    ("too much pressure", "10,401", "Vac", "'401' cmH2O is beyond 400 cmH2O"),
    ("too much suction", "10,-400.001", "Vac", "beyond 400 cmH2O, likely a unit slip"),
    ("a row too short", "10", "Flow", "too short: 2 cells, the header has 3"),
    ("a row too long", "10,-8,9", "Vac", "too long: 4 cells, the header has 3"),
    ("a decimal comma between commas", "10,5,-8,5", "Vac", "too long: 5 cells"),
    ("a NUL", "1\x000,-8", "", "control character"),
    ("a NUL in place of a flow", "\x00,-8", "", "control character"),
    ("an escape", "10,\x1b[2J", "", "control character"),
    ("a form feed", "10,-8\x0c", "", "control character"),
    ("the end mark of old systems", "10,-8\x1a", "", "control character"),
    ("an open quote", '"10,-8', "", "a quote is opened and not closed"),
    ("a quote within", '1"0,-8', "", "a quote stands inside a cell"),
    ("text behind a quote", '"10"x,-8', "", "text follows a closing quote"),
    ("two quoted parts", '"1""0",-8', "Flow", "is not a number"),
]  # fmt: skip

# (name, the stamp; what is said of it) in an ISO column between good rows
STAMPS: list[tuple[str, str, str]] = [
    ("no stamp", "", "there is no time stamp"),
    ("a blank stamp", "   ", "there is no time stamp"),
    ("a word", "noon", "'noon' is no stamp of the form iso"),
    ("only a day", "2033-09-13", "no stamp of the form iso"),
    ("only a time", "15:19:00", "no stamp of the form iso"),
    ("no such day", "2033-02-29T15:19:00Z", "no day of the calendar"),
    ("day nought", "2033-09-00T15:19:00Z", "no day of the calendar"),
    ("month 13", "2033-13-01T15:19:00Z", "no day of the calendar"),
    ("month nought", "2033-00-01T15:19:00Z", "no day of the calendar"),
    ("a century that is no leap year", "2100-02-29T15:19:00Z", "no day of the calendar"),
    ("hour 24", "2033-09-13T24:00:00Z", "no time of day"),
    ("minute 60", "2033-09-13T15:60:00Z", "no time of day"),
    ("second 60", "2033-09-13T15:19:60Z", "no time of day"),
    ("before 1970", "1969-12-31T23:59:59Z", "a year outside 1970 to 2199"),
    ("year nought", "0000-09-13T15:19:00Z", "a year outside 1970 to 2199"),
    ("far ahead", "2200-01-01T00:00:00Z", "a year outside 1970 to 2199"),
    ("five digits of year", "12033-09-13T15:19:00Z", "no stamp of the form iso"),
    ("one digit of month", "2033-9-13T15:19:00Z", "no stamp of the form iso"),
    ("slashes", "2033/09/13 15:19:00Z", "no stamp of the form iso"),
    ("an offset of 19 hours", "2033-09-13T15:19:00+19:00", "an offset beyond 18 hours"),
    ("an offset with 60 minutes", "2033-09-13T15:19:00+01:60", "an offset beyond 18 hours"),
    ("a zone's name", "2033-09-13T15:19:00 CEST", "no stamp of the form iso"),
    ("a zone in brackets", "2033-09-13T15:19:00Z[UTC]", "no stamp of the form iso"),
    ("no offset", "2033-09-13T15:19:00", "carries no offset"),
    ("Arabic digits", "٢٠٣٣-09-13T15:19:00Z", "no stamp of the form iso"),
    ("ten digits of fraction", "2033-09-13T15:19:00.1234567890Z", "no stamp of the form iso"),
    ("a point without fraction", "2033-09-13T15:19:00.Z", "no stamp of the form iso"),
    ("cut off", "2033-09-13T15:1", "no stamp of the form iso"),
    ("a week date", "2033-W37-2T15:19:00Z", "no stamp of the form iso"),
    ("seconds since 1970", "2010237540", "no stamp of the form iso"),
]  # fmt: skip

# (name, layout changes, the cells of the header, the row, column, what is said)
OTHERS: list[tuple[str, dict[str, Any], str, str, str, str]] = [
    ("battery over 100 %", {"battery.column": "B"}, ",B", "10,-8,101", "B", "not a share of 0 to 100 %"),
    ("battery below zero", {"battery.column": "B"}, ",B", "10,-8,-1", "B", "not a share of 0 to 100 %"),
    ("fluid below zero", {"fluid.column": "F", "fluid.unit": "mL"}, ",F", "10,-8,-1", "F", "below zero"),
    ("fluid over 100 L", {"fluid.column": "F", "fluid.unit": "L"}, ",F", "10,-8,250", "F", "likely a unit slip"),
    ("fluid is a word", {"fluid.column": "F", "fluid.unit": "L"}, ",F", "10,-8,full", "F", "'full' is not a number"),
    ("an unknown state", {"state.column": "S", "state.words": {"RUN": "running"}}, ",S", "10,-8,HALT", "S", "the word 'HALT' is not among"),
    ("a state in another case", {"state.column": "S", "state.words": {"RUN": "running"}}, ",S", "10,-8,run", "S", "'run' is not among"),
    ("an unknown mains word", {"mains.column": "M", "mains.yes": ["1"], "mains.no": ["0"]}, ",M", "10,-8,2", "M", "'2' is not among"),
    ("set suction beyond sense", {"set_suction.column": "P"}, ",P", "10,-8,-2000", "P", "beyond 400 cmH2O"),
    ("largest flow is a word", {"flow.max_column": "X"}, ",X", "10,-8,high", "X", "'high' is not a number"),
    ("smallest pressure is a word", {"pressure.min_column": "L"}, ",L", "10,-8,low", "L", "'low' is not a number"),
    ("kilopascals of Pa", {"pressure.unit": "kPa"}, "", "10,-800", "Vac", "'-800' kPa is beyond 400 cmH2O"),
    ("litres of millilitres", {"flow.unit": "L/min"}, "", "300,-8", "Flow", "'300' L/min is beyond 200 L/min"),
]  # fmt: skip


def named(table: list[Any]) -> Any:
    return pytest.mark.parametrize("broken", table, ids=[entry[0].replace(" ", "_") for entry in table])


def conserved(log: Log) -> bool:
    ledger = log.ledger
    return ledger.used + ledger.refused + ledger.duplicate + ledger.conflicting == ledger.read


def refused(data: bytes, how: Layout, share: float = 0.05) -> str:
    """The error's one line; any other error is a fault of the test's subject."""
    tracemalloc.start()
    try:
        with pytest.raises(LogError) as caught:
            read_log(data, how, "log.csv", share)
        assert tracemalloc.get_traced_memory()[1] < 20 * len(data) + 5_000_000
    finally:
        tracemalloc.stop()
    text = str(caught.value)
    assert "\n" not in text
    assert caught.value.where.startswith("log.csv")
    assert caught.value.mend
    return text


@named(FILES)
def test_a_broken_file_is_refused_in_one_line(broken: tuple[str, str | bytes, dict[str, Any], str, str, str]) -> None:
    _, file, changes, where, what, mend = broken
    text = refused(file.encode() if isinstance(file, str) else file, layout(changes))
    for said in (where, what, mend):
        assert said in text


def one_bad_row(log: Log, column: str, what: str) -> None:
    assert (log.ledger.read, log.ledger.used, log.ledger.refused) == (3, 2, 1)
    row = log.ledger.first_refused[0]
    assert (row.line, row.column) == (3, column)
    assert what in row.why
    assert "\n" not in row.why


@named(CELLS)
def test_a_broken_cell_costs_its_row_and_no_other(broken: tuple[str, str, str, str]) -> None:
    _, cells, column, what = broken
    text = rows("10,-8", cells, "20,-8")
    one_bad_row(read(text, refuse_above=0.5), column, what)
    told = refused(text.encode(), layout())
    assert "log.csv, line 3" in told
    assert what in told


@named(STAMPS)
def test_a_broken_stamp_costs_its_row_and_no_other(broken: tuple[str, str, str]) -> None:
    _, stamp, what = broken
    text = f"{HEADER}\n{T},10,-8\n{stamp},30,-8\n2033-09-13T15:19:09Z,20,-8\n"
    one_bad_row(read(text, refuse_above=0.5), "time", what)
    assert "log.csv, line 3, column 'time'" in refused(text.encode(), layout())


@named(OTHERS)
def test_a_broken_value_beside_the_flow_costs_its_row(broken: tuple[str, dict[str, Any], str, str, str, str]) -> None:
    _, changes, header, cells, column, what = broken
    blanks = "," * header.count(",")
    text = rows("1,-8" + blanks, cells, "2,-8" + blanks, header=HEADER + header)
    one_bad_row(read(text, layout(changes), refuse_above=0.5), column, what)


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.csv")), ids=lambda path: path.stem)
def test_each_broken_file_in_the_folder_is_refused_or_conserved(path: Path) -> None:
    data = path.read_bytes()
    try:
        log = read_log(data, layout(), path.name, 1.0)
    except LogError as error:
        assert path.name in str(error)
        return
    assert conserved(log)
    assert log.ledger.refused >= 1


def test_there_are_enough_broken_files() -> None:
    everything = [*FILES, *CELLS, *STAMPS, *OTHERS]
    assert len({(entry[0], entry[1] if isinstance(entry[1], (str, bytes)) else "") for entry in everything}) >= 130
    assert sorted(FOLDER.glob("*.csv"))


@pytest.mark.parametrize("share", [-0.1, 1.1, float("nan")])
def test_a_share_of_refused_rows_outside_0_to_1_is_refused(share: float) -> None:
    with pytest.raises(UsageError, match=r"refuse_above: .* is no share of the rows"):
        read(GOOD, refuse_above=share)


def test_exactly_the_share_is_still_read() -> None:
    log = read(rows(*["10,-8"] * 19) + "junk\n", refuse_above=0.05)
    assert log.ledger.refused == 1
    assert conserved(log)


def test_with_nothing_left_to_use_a_file_is_refused_whatever_the_share() -> None:
    assert "no row can be read" in refused(f"{HEADER}\njunk\n".encode(), layout(), 1.0)


def test_many_odd_rows_are_given_up_early_and_not_read_to_the_end() -> None:
    text = f"{HEADER}\n" + "junk\n" * 60_000
    assert "more than 5 % of the 60000 rows" in refused(text.encode(), layout())


def test_a_file_over_the_limits_of_bytes_or_rows_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("slackwater.reading.read.MOST_ROWS", 5)
    assert "over 5 rows" in refused(rows(*["10,-8"] * 6).encode(), layout())
    monkeypatch.setattr("slackwater.reading.decoding.MOST_BYTES", 1000)
    assert "log.csv: over 0 GB" in refused(rows(*["10,-8"] * 60).encode(), layout())


def test_twenty_thousand_odd_rows_stay_within_memory() -> None:
    text = f"{HEADER}\n" + "".join(f"2033-09-13T15:{n // 60 % 60:02d}:{n % 60:02d}Z,1e1,-8\n" for n in range(20_000))
    tracemalloc.start()
    try:
        assert read(text).ledger.used == 20_000
        assert tracemalloc.get_traced_memory()[1] < 60 * len(text)
    finally:
        tracemalloc.stop()
