"""Layout files: a closed set of keys, nothing guessed, nothing silently defaulted; and back to text."""

# ruff: noqa: E501 -- one fault a line reads best as a table

from __future__ import annotations

import re

import pytest

from behaviour.reading.typed_log import read, rows
from slackwater.errors import LayoutError
from slackwater.reading.layout import Layout
from slackwater.reading.shipped import layout as shipped
from slackwater.reading.shipped import layout_names

FULL = """
unconfirmed = []
[log]
separator = ";"
decimal = ","
encoding = "utf-8"
skip_lines = 3
units_line = false
quote = '"'
missing = ["", "---"]
[time]
columns = ["date", "time"]
format = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Vienna"
marks = "end"
every = "1 s"
[flow]
column = "Flow"
unit = "L/min"
step = "10 mL/min"
rounding = "nearest"
statistic = "mean"
max_column = "FlowMax"
ceiling = "5 L/min"
[pressure]
column = "Vac"
unit = "kPa"
suction_is = "positive"
min_column = "VacMin"
max_column = "VacMax"
step = "0.1 kPa"
[set_suction]
column = "Set"
[battery]
column = "Bat"
unit = "%"
[mains]
column = "AC"
yes = ["1", "on"]
no = "0"
[fluid]
column = "Vol"
unit = "mL"
[state]
column = "St"
words = { RUN = "running", "Stand by" = "standby" }
[serial]
column = "SN"
"""


def without(key: str, text: str = FULL) -> str:
    return re.sub(rf"(?m)^{re.escape(key)} = .*\n", "", text, count=1)


def within(table: str, old: str, new: str) -> str:
    head, mark, tail = FULL.partition(f"[{table}]")
    assert old in tail
    return head + mark + tail.replace(old, new, 1)


# (name, the file, where, what is said, the mend)
BROKEN: list[tuple[str, str, str, str, str]] = [
    ("nothing", "", "unit.toml", "the table [log] is missing", "separator ="),
    ("no TOML", "separator: ';'", "unit.toml", "not TOML", "key = "),
    ("a key twice", '[log]\nseparator = ";"\nseparator = ","', "unit.toml", "not TOML", "each key once"),
    ("a table twice", '[log]\nseparator = ";"\n[log]\n', "unit.toml", "not TOML", "each key once"),
    ("an open text", '[log]\nseparator = ";\n', "unit.toml", "not TOML: .*line 2", "key = "),
    ("a NUL", "[log]\nseparator = \"\x00\"", "unit.toml", "not TOML", "key = "),
    ("deep nesting", "x = " + "[" * 5000, "unit.toml", "not TOML", "key = "),
    ("an unknown table", FULL + "[presure]\ncolumn = 'x'\n", "unit.toml", "no table or key 'presure'", 'Did you mean "pressure"'),
    ("a strange table", FULL + "[zzz]\n", "unit.toml", "no table or key 'zzz'", r"Known here: \[log\]"),
    ("a key above the tables", 'separator = ";"\n' + FULL, "unit.toml", "no table or key 'separator'", "Known here"),
    ("a table as a value", "log = 3\n" + FULL.replace("[log]", "[logg]"), "unit.toml", "log is a table", r"Write \[log\]"),
    ("log misspelt", within("log", "seperator" if "seperator" in FULL else "separator", "seperator"), "unit.toml, log", "no key 'seperator'", 'Did you mean "separator"'),
    ("units misspelt", within("flow", "unit =", "units ="), "unit.toml, flow", "no key 'units'", 'Did you mean "unit"'),
    ("suction_was", within("pressure", "suction_is", "suction_was"), "unit.toml, pressure", "no key 'suction_was'", "suction_is"),
    ("a key of another table", within("flow", "statistic", "suction_is"), "unit.toml, flow", "no key 'suction_is'", "Known here"),
    ("serial with a unit", FULL + 'unit = "mL"\n', "unit.toml, serial", "no key 'unit'", "column"),
    ("no table time", FULL.replace("[time]", "").replace('columns = ["date", "time"]\nformat = "%d.%m.%Y %H:%M:%S"\nzone = "Europe/Vienna"\nmarks = "end"\nevery = "1 s"\n', ""), "unit.toml", r"the table \[time\] is missing", "columns ="),
    ("a separator of two", within("log", '";"', '";;"'), "unit.toml, log.separator", "';;' is not one of", "Write one of them"),
    ("a space as separator", within("log", '";"', '" "'), "unit.toml, log.separator", "' ' is not one of", "Write one of them"),
    ("a decimal apostrophe", within("log", '","', '"\'"'), "unit.toml, log.decimal", "is not one of", "Write one of them"),
    ("an encoding unknown", within("log", "utf-8", "utf-7"), "unit.toml, log.encoding", "'utf-7' is not one of", "utf-8"),
    ("an encoding in capitals", within("log", "utf-8", "UTF-8"), "unit.toml, log.encoding", "'UTF-8' is not one of", "utf-8"),
    ("skip_lines as text", within("log", "= 3", '= "3"'), "unit.toml, log.skip_lines", "not a whole number", "e.g. 3"),
    ("skip_lines below zero", within("log", "= 3", "= -1"), "unit.toml, log.skip_lines", "not a whole number", "e.g. 3"),
    ("skip_lines a fraction", within("log", "= 3", "= 1.5"), "unit.toml, log.skip_lines", "not a whole number", "e.g. 3"),
    ("skip_lines true", within("log", "= 3", "= true"), "unit.toml, log.skip_lines", "not a whole number", "e.g. 3"),
    ("units_line as text", within("log", "= false", '= "no"'), "unit.toml, log.units_line", "not true or false", "e.g. false"),
    ("missing as numbers", within("log", '["", "---"]', "[0]"), "unit.toml, log.missing", "not text or a list of texts", "---"),
    ("a quote of two", within("log", "'\"'", "'\"\"'"), "unit.toml, log.quote", "is not one of", "Write one of them"),
    ("no stamp column", within("time", '["date", "time"]', "[]"), "unit.toml, time.columns", "names no stamp column", 'e.g. \\["time"\\]'),
    ("five stamp columns", within("time", '["date", "time"]', '["a","b","c","d","e"]'), "unit.toml, time.columns", "over four", "e.g."),
    ("a stamp column without a name", within("time", '["date", "time"]', '["date", ""]'), "unit.toml, time.columns", "is empty or has spaces", "without them"),
    ("a column with a space", within("flow", '"Flow"', '"Flow "'), "unit.toml, flow.column", "has spaces at its ends", "without them"),
    ("a format of nothing known", within("time", "%d.%m.%Y %H:%M:%S", "%d.%b.%Y"), "unit.toml, time.format", "'%b' is not read here", '"iso"'),
    ("a format without minutes", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H"), "unit.toml, time.format", "no %M", '"iso"'),
    ("a format without a year", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m. %H:%M"), "unit.toml, time.format", "neither %Y and %y", "one of them"),
    ("a format with two years", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %y %H:%M"), "unit.toml, time.format", "both %Y and %y", "one of them"),
    ("a format with two days", within("time", "%d.%m.%Y %H:%M:%S", "%d.%d.%Y %H:%M"), "unit.toml, time.format", "%d stands there twice", "once"),
    ("twelve hours without halves", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %I:%M"), "unit.toml, time.format", "%I and %p go together", "%p"),
    ("halves of 24 hours", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M %p"), "unit.toml, time.format", "%I and %p go together", "%p"),
    ("a fraction of no second", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M.%f"), "unit.toml, time.format", "%f without %S", "seconds"),
    ("a fraction and digits", within("time", "%d.%m.%Y %H:%M:%S", "%H:%M:%S.%f%d.%m.%Y"), "unit.toml, time.format", "digits follow %f", "last"),
    ("a format that ends in a percent sign", within("time", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M %"), "unit.toml, time.format", "'%' is not read", '"iso"'),
    ("a format word unknown", within("time", "%d.%m.%Y %H:%M:%S", "unix"), "unit.toml, time.format", "neither %Y and %y", "epoch_s"),
    ("no zone", without("zone"), "unit.toml", "time.zone is missing", "Europe/Vienna"),
    ("a zone nowhere", within("time", "Europe/Vienna", "Europe/Atlantis"), "unit.toml, time.zone", "'Europe/Atlantis' is not a time zone", "IANA"),
    ("a zone by its initials", within("time", "Europe/Vienna", "CEST"), "unit.toml, time.zone", "'CEST' is not a time zone", "IANA"),
    ("a zone of this machine", within("time", "Europe/Vienna", "localtime"), "unit.toml, time.zone", "is not a time zone", "IANA"),
    ("a zone up the folders", within("time", "Europe/Vienna", "../../etc/passwd"), "unit.toml, time.zone", "is not a time zone", "IANA"),
    ("a zone that is a folder", within("time", "Europe/Vienna", "Europe"), "unit.toml, time.zone", "is not a time zone", "IANA"),
    ("a zone with leap seconds", within("time", "Europe/Vienna", "right/Europe/Vienna"), "unit.toml, time.zone", "is not a time zone", "IANA"),
    ("an offset too far", within("time", "Europe/Vienna", "+19:00"), "unit.toml, time.zone", "is not a time zone", "02:00"),
    ("an offset half said", within("time", "Europe/Vienna", "+2"), "unit.toml, time.zone", "is not a time zone", "02:00"),
    ("elapsed without a start", within("time", "%d.%m.%Y %H:%M:%S", "elapsed_s").replace('["date", "time"]', '["s"]'), "unit.toml", "time.start is missing", "start ="),
    ("elapsed in two columns", within("time", "%d.%m.%Y %H:%M:%S", "elapsed_s"), "unit.toml, time.columns", "elapsed_s is one number", "one column"),
    ("a start that is none", within("time", '"%d.%m.%Y %H:%M:%S"', '"elapsed_s"\nstart = "13.09.2033"').replace('["date", "time"]', '["s"]'), "unit.toml, time.start", "no stamp of the form iso", "2033-09-13T"),
    ("a start that happened twice", within("time", '"%d.%m.%Y %H:%M:%S"', '"elapsed_s"\nstart = "2033-10-30T02:30:00"').replace('["date", "time"]', '["s"]'), "unit.toml, time.start", "happened twice", "offset"),
    ("a start that never was", within("time", '"%d.%m.%Y %H:%M:%S"', '"elapsed_s"\nstart = "2033-03-27T02:30:00"').replace('["date", "time"]', '["s"]'), "unit.toml, time.start", "never happened", "offset"),
    ("a start without a zone", without("zone", within("time", '"%d.%m.%Y %H:%M:%S"', '"elapsed_s"\nstart = "2033-03-27T05:30:00"').replace('["date", "time"]', '["s"]')), "unit.toml", "time.zone is missing, and time.start", "zone ="),
    ("marks in the middle", within("time", '"end"', '"middle"'), "unit.toml, time.marks", "'middle' is not one of", "end"),
    ("every without a unit", within("time", '"1 s"', '"1"'), "unit.toml, time.every", "has no unit", '"8 h"'),
    ("every as a number", within("time", '"1 s"', "1"), "unit.toml, time.every", "not text", '"1 s"'),
    ("every nought", within("time", '"1 s"', '"0 s"'), "unit.toml, time.every", "not above zero", '"1 s"'),
    ("every below nought", within("time", '"1 s"', '"-1 s"'), "unit.toml, time.every", "negative", '"8 h"'),
    ("a pressure as flow", within("flow", '"L/min"', '"kPa"'), "unit.toml, flow.unit", "'kPa' is not a unit of flow", "mL/min"),
    ("flow in capitals", within("flow", '"L/min"', '"ML/MIN"'), "unit.toml, flow.unit", "'ML/MIN' is not a unit of flow", "mL/min"),
    ("flow by the second", within("flow", '"L/min"', '"mL/s"'), "unit.toml, flow.unit", "is not a unit of flow", "mL/min"),
    ("no flow unit said", within("flow", '"L/min"', '""'), "unit.toml, flow.unit", "'' is not a unit of flow", "mL/min"),
    ("a step without a unit", within("flow", '"10 mL/min"', '"10"'), "unit.toml, flow.step", "has no unit", "20 mL/min"),
    ("a step of pressure", within("flow", '"10 mL/min"', '"10 kPa"'), "unit.toml, flow.step", "is not a unit of flow", "mL/min"),
    ("a step of nought", within("flow", '"10 mL/min"', '"0 mL/min"'), "unit.toml, flow.step", "not above zero", "10 mL/min"),
    ("a rounding unknown", within("flow", '"nearest"', '"round"'), "unit.toml, flow.rounding", "'round' is not one of", "nearest"),
    ("a statistic unknown", within("flow", '"mean"', '"median"'), "unit.toml, flow.statistic", "'median' is not one of", "mean"),
    ("a ceiling below nought", within("flow", '"5 L/min"', '"-5 L/min"'), "unit.toml, flow.ceiling", "not above zero", "5 L/min"),
    ("a flow as pressure", within("pressure", '"kPa"', '"L/min"'), "unit.toml, pressure.unit", "'L/min' is not a unit of pressure", "cmH2O"),
    ("bar", within("pressure", '"kPa"', '"bar"'), "unit.toml, pressure.unit", "'bar' is not a unit of pressure", "mbar"),
    ("a sign unknown", within("pressure", '"positive"', '"minus"'), "unit.toml, pressure.suction_is", "'minus' is not one of", "negative"),
    ("a volume as battery", within("battery", '"%"', '"V"'), "unit.toml, battery.unit", "'V' is not a unit of share", "%"),
    ("a flow as fluid", within("fluid", '"mL"', '"mL/h"'), "unit.toml, fluid.unit", "'mL/h' is not a unit of volume", "mL"),
    ("set suction alone", re.sub(r"(?s)\[pressure\].*?\[set", "[set", FULL), "unit.toml", "set_suction.unit is missing", "unit ="),
    ("a state unknown", within("state", '"running"', '"pumping"'), "unit.toml, state.words", "'RUN' is said to mean 'pumping'", "running, off"),
    ("no state words", within("state", '{ RUN = "running", "Stand by" = "standby" }', "{}"), "unit.toml, state.words", "not a table of words", "RUN"),
    ("a state word for a number", within("state", '"running"', "3"), "unit.toml, state.words", "not a table of words", "RUN"),
    ("yes and no at once", within("mains", '"0"', '["0", "1"]'), "unit.toml, mains", "'1' is both yes and no", "one of them"),
    ("one column for two", within("fluid", '"Vol"', '"Flow"'), "unit.toml", "flow.column and fluid.column both name the column 'Flow'", "own column"),
    ("the stamp as flow", within("flow", '"Flow"', '"time"'), "unit.toml", "time.columns and flow.column both name", "own column"),
    ("unconfirmed as text", FULL.replace("unconfirmed = []", 'unconfirmed = "flow.unit"'), "unit.toml", "not a list of keys", "flow.unit"),
    ("unconfirmed and unknown", FULL.replace("= []", '= ["flow.units"]'), "unit.toml, unconfirmed", "no key 'flow.units'", 'Did you mean "flow.unit"'),
]  # fmt: skip


@pytest.mark.parametrize("broken", BROKEN, ids=[entry[0].replace(" ", "_") for entry in BROKEN])
def test_a_broken_layout_is_refused_in_one_line(broken: tuple[str, str, str, str, str]) -> None:
    _, text, where, what, mend = broken
    with pytest.raises(LayoutError) as caught:
        Layout.from_toml(text, "unit.toml")
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith(where)
    assert re.search(what if "\\" in what or ".*" in what else re.escape(what), said), said
    assert re.search(mend, said), said
    assert len(said) < 500


REQUIRED = [
    ("log", "separator"), ("log", "decimal"), ("time", "columns"), ("time", "format"), ("time", "marks"),
    ("flow", "column"), ("flow", "unit"), ("flow", "statistic"), ("pressure", "column"), ("pressure", "unit"),
    ("pressure", "suction_is"), ("set_suction", "column"), ("battery", "column"), ("mains", "column"),
    ("mains", "yes"), ("mains", "no"), ("fluid", "column"), ("fluid", "unit"), ("state", "column"),
    ("state", "words"), ("serial", "column"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "key"), REQUIRED)
def test_each_key_that_would_need_a_guess_is_refused_by_name_when_missing(table: str, key: str) -> None:
    head, mark, tail = FULL.partition(f"[{table}]")
    with pytest.raises(
        LayoutError, match=rf"unit\.toml: {table}\.{key} is missing; it has no default\. Write it, e\.g\. {key} = "
    ):
        Layout.from_toml(head + mark + without(key, tail), "unit.toml")


@pytest.mark.parametrize(("table", "key"), [pair for pair in REQUIRED if pair[0] in ("time", "flow", "pressure")])
def test_a_key_that_is_listed_as_unconfirmed_may_be_missing_and_is_kept(table: str, key: str) -> None:
    head, mark, tail = FULL.replace("= []", f'= ["{table}.{key}"]').partition(f"[{table}]")
    layout = Layout.from_toml(head + mark + without(key, tail), "unit.toml")
    assert layout.unconfirmed == (f"{table}.{key}",)
    with pytest.raises(LayoutError, match=rf"{table}\.{key} is not settled yet.*--set {table}\.{key}="):
        read(rows("10,-8"), layout)


def test_a_layout_with_an_open_key_is_refused_even_if_the_key_has_a_value() -> None:
    layout = Layout.from_toml(FULL.replace("= []", '= ["pressure.unit", "time.zone"]'), "unit.toml")
    with pytest.raises(LayoutError, match=r"pressure\.unit is not settled yet, nor are 1 more"):
        read(rows("10,-8"), layout)


def test_a_full_layout_goes_to_text_and_back() -> None:
    layout = Layout.from_toml(FULL, "unit.toml")
    assert Layout.from_toml(layout.to_toml(), "unit.toml") == layout
    assert layout.flow.step_ul_per_min == 10_000
    assert layout.flow.ceiling_ul_per_min == 5_000_000
    assert layout.time.every_ms == 1000
    assert layout.mains is not None
    assert layout.mains.no == ("0",)


def test_odd_characters_in_names_go_to_text_and_back() -> None:
    text = FULL.replace('"Flow"', '"Fl\\"ö\\\\w\\u007f\\t."').replace('"Stand by"', '"a.b \\" =é"')
    layout = Layout.from_toml(text, "unit.toml")
    assert Layout.from_toml(layout.to_toml(), "unit.toml") == layout


def test_what_may_be_left_out_has_a_safe_value() -> None:
    layout = shipped("plain")
    bare = Layout.from_tables(
        {
            "log": {"separator": ",", "decimal": "."},
            "time": {"columns": "time", "format": "iso", "marks": "end"},
            "flow": {"column": "F", "unit": "mL/min", "statistic": "mean"},
        },
        "bare",
    )
    assert bare.log == layout.log
    assert bare.flow.rounding == "unknown"
    assert bare.pressure is None


def test_a_shipped_layout_is_picked_by_name_only() -> None:
    assert "plain" in layout_names()
    for name in layout_names():
        assert shipped(name).unconfirmed == ()
    with pytest.raises(LayoutError, match=r"no layout is called '../layouts/plain'.*Shipped are: .*plain"):
        shipped("../layouts/plain")


def test_the_plain_layout_reads_the_plain_log() -> None:
    log = read(
        "time,flow [mL/min],pressure [cmH2O suction negative],note\n2033-09-13T15:19:00+02:00,10,-8.0,\n2033-09-13T15:19:01+02:00,20,-8.5,\n",
        shipped("plain"),
    )
    assert log.flow_ul_per_min.tolist() == [10_000, 20_000]


def test_the_layout_travels_with_the_log() -> None:
    assert read(rows("10,-8", "20,-8")).layout["flow"]["unit"] == "mL/min"
