"""Inputs that must be refused, one fault each: what is wrong with which file, and what the one line says.

A case names its file's new contents (or a change to the sound text), and two pieces of the line on
stderr: the place, and the mend.
"""

# ruff: noqa: E501  a table: one case a line
from __future__ import annotations

import gzip
import io
import os
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars

from end_to_end import a_ward_folder as ward

Content = str | bytes
SECRET = "Q7-private-words-of-a-ward-round-Q7"  # stands in a bad cell: no error may show more than a glimpse of it


@dataclass(frozen=True)
class Broken:
    """One refused call. `files` are written over the sound folder; `prepare` may do what bytes cannot."""

    label: str
    place: str
    mend: str
    files: dict[str, bytes] = field(default_factory=dict)
    arguments: tuple[str, ...] = ward.ALL
    stdin: bytes = b""
    prepare: Callable[[Path], None] | None = None
    command: tuple[str, ...] = ("assess",)


def _bytes(content: Content) -> bytes:
    return content.encode() if isinstance(content, str) else content


def log_of(label: str, content: Content, place: str, mend: str) -> Broken:
    return Broken(f"log: {label}", place, mend, {"log.csv": _bytes(content)})


def layout_of(label: str, old: str, new: str, place: str, mend: str) -> Broken:
    return Broken(f"layout: {label}", place, mend, {"layout.toml": changed(ward.LAYOUT, old, new)})


def episode_of(label: str, old: str, new: str, place: str, mend: str) -> Broken:
    return Broken(f"episode: {label}", place, mend, {"episode.toml": changed(ward.EPISODE, old, new)})


def rule_of(label: str, old: str, new: str, place: str, mend: str) -> Broken:
    return Broken(f"rule: {label}", place, mend, {"rule.toml": changed(ward.RULE, old, new)})


def chart_row(label: str, row: str, place: str, mend: str) -> Broken:
    """One more row, on line 8 of the chart."""
    return Broken(f"chart: {label}", place, mend, {"chart.csv": (ward.CHART + row + "\n").encode()})


def file_of(name: str, label: str, content: Content, place: str, mend: str) -> Broken:
    return Broken(f"{name}: {label}", place, mend, {name: _bytes(content)})


def option(label: str, arguments: tuple[str, ...], place: str, mend: str, stdin: bytes = b"") -> Broken:
    return Broken(f"option: {label}", place, mend, {}, arguments, stdin)


def other(label: str, words: str, place: str, mend: str, stdin: bytes = b"") -> Broken:
    """Another command than assess, as its words."""
    return Broken(f"{words.split()[0]}: {label}", place, mend, {}, (), stdin, None, tuple(words.split()))


def changed(text: str, old: str, new: str) -> bytes:
    assert text.count(old) >= 1, f"{old!r} does not stand in the sound file"
    return text.replace(old, new, 1).encode()


def zipped(text: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("log.csv", text)
    return buffer.getvalue()


def parquet() -> bytes:
    buffer = io.BytesIO()
    polars.DataFrame({"Stamp": ["a"], "Air": [1]}).write_parquet(buffer)
    return buffer.getvalue()


def picture() -> bytes:
    return b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8


def is_a_folder(name: str) -> Callable[[Path], None]:
    def make(folder: Path) -> None:
        (folder / name).unlink()
        (folder / name).mkdir()

    return make


def is_gone(name: str) -> Callable[[Path], None]:
    def make(folder: Path) -> None:
        (folder / name).unlink()

    return make


def dangles(name: str) -> Callable[[Path], None]:
    def make(folder: Path) -> None:
        (folder / name).unlink()
        os.symlink(folder / "nowhere", folder / name)

    return make


DEEP = "x = " + "[" * 20_000 + "]" * 20_000 + "\n"
SOUND = ward.log()
TOP = "Invented record\nBegun 2041\n"

LOGS = [
    log_of("empty", "", "log.csv", "Export the log again"),
    log_of("only spaces", " \n \n", "log.csv", "Set log.skip_lines"),
    log_of("header only", TOP + ward.HEADER + "\n", "log.csv", "Export"),
    log_of("ends before the header", "Invented record\n", "log.csv", "Set log.skip_lines"),
    log_of("header one line lower", "one more\n" + SOUND, "log.csv, line 3", "set log.skip_lines = 3"),
    log_of("another separator", SOUND.replace(";", ","), "log.csv, line 3", "check log.separator"),
    log_of("a column is missing", SOUND.replace("Air;Air top", "Flow;Air top"), "log.csv, line 3", "Did the layout mean 'Air top'"),
    log_of("a column almost right", SOUND.replace("Stamp;", "Stmp;"), "log.csv, line 3", "Did the layout mean"),
    log_of("two columns of one name", SOUND.replace("Charge", "Doing", 1), "log.csv, line 3", "check log.skip_lines"),
    log_of("a second column of one name", SOUND.replace("\n", ";\n").replace("Box;\n", "Box;Air\n"), "log.csv, line 3", "Give each column its own name"),
    log_of("a quote left open in the header", SOUND.replace("Stamp;", '"Stamp;'), "log.csv, line 3", "Set log.skip_lines and log.quote"),
    log_of("NUL bytes", SOUND.replace(";10;", ";\x0010;"), "log.csv, line 4", "layout check"),
    log_of("NUL only", b"\x00" * 5000, "log.csv", "log.skip_lines"),
    log_of("UTF-16", SOUND.encode("utf-16"), "log.csv, line 1", 'Set log.encoding = "utf-16"'),
    log_of("UTF-16 without its mark", SOUND.encode("utf-16-le"), "log.csv", "log."),
    log_of("not UTF-8", SOUND.encode().replace(b"pump", b"p\xfcmp"), "log.csv, line 4, character", "Set log.encoding"),
    log_of("a zip file", zipped(SOUND), "log.csv", "Unpack it first"),
    log_of("a gzip file", gzip.compress(SOUND.encode(), mtime=0), "log.csv", "Unpack it first"),
    log_of("a parquet file", parquet(), "log.csv", "log."),
    log_of("a picture", picture(), "log.csv", "Set log.encoding"),
    log_of("binary junk", bytes((i * 89 + 7) % 256 for i in range(20_000)), "log.csv", "Set log.encoding"),
    log_of("one huge line", TOP + ward.HEADER + "\n" + "9" * 3_000_000 + "\n", "log.csv, line 4", "."),
    log_of("a huge header", TOP + "a;" * 200_000 + "\n", "log.csv, line 3", "Check log.separator"),
    log_of("stamps of another form", ward.log(stamp="2041-05-06T08:00:00"), "log.csv, line 4, column 'Stamp'", "layout check"),
    log_of("no stamps", ward.log(stamp=""), "log.csv, line 4, column 'Stamp'", "layout check"),
    log_of("no such day", ward.log(stamp="31.02.2041 08:00:00"), "log.csv, line 4, column 'Stamp'", "layout check"),
    log_of("hour 25", ward.log(stamp="06.05.2041 25:00:00"), "log.csv, line 4, column 'Stamp'", "layout check"),
    log_of("the other decimal mark", ward.log(line="1.02"), "log.csv, line 4, column 'Line'", "layout check"),
    log_of("flow in words", ward.log(flow=SECRET), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("flow of infinity", ward.log(flow="inf"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("flow of nan", ward.log(flow="nan"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("flow beyond any unit", ward.log(flow="99999999"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("a formula as flow", ward.log(flow="=CMD()"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("digits of another script", ward.log(flow="١٢"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("thousands marks", ward.log(flow="1_000"), "log.csv, line 4, column 'Air'", "layout check"),
    log_of("pressure beyond any pump", ward.log(line="99999"), "log.csv, line 4, column 'Line'", "layout check"),
    log_of("charge above a hundred", ward.log(charge=400), "log.csv, line 4, column 'Charge'", "layout check"),
    log_of("mains in other words", ward.log(plugged=SECRET), "log.csv, line 4, column 'Plugged'", "layout check"),
    log_of("a state nobody named", ward.log(doing=SECRET), "log.csv, line 4, column 'Doing'", "layout check"),
    log_of("fluid below zero", ward.log(fluid=-5), "log.csv, line 4, column 'Fluid'", "layout check"),
    log_of("one cell too many", "\n".join(line + (";x" if n > 2 else "") for n, line in enumerate(SOUND.splitlines())) + "\n", "log.csv, line 4", "layout check"),
    log_of("one cell too few", "\n".join(line.rpartition(";")[0] if n > 2 else line for n, line in enumerate(SOUND.splitlines())) + "\n", "log.csv, line 4", "layout check"),
    log_of("a quote left open in rows", ward.log(box='"B-7'), "log.csv, line 4", "layout check"),
    log_of("one row in ten is spoilt", "\n".join(line.replace(";10;", ";x;") if n % 10 == 5 else line for n, line in enumerate(SOUND.splitlines())), "log.csv, line 6, column 'Air'", "layout check"),
    log_of("litres under a heading of millilitres", ward.log(flow="0,05", top="0,06"), "log.csv, line 4, column 'Air'", "set flow.unit"),
    log_of("control characters in a cell", ward.log(box="B\x1b[31m7"), "log.csv, line 4", "layout check"),
    log_of("a page instead of a log", "<!doctype html><html><body>Sign in</body></html>", "log.csv", "log.skip_lines"),
    log_of("JSON instead of a log", '{"rows": [1, 2, 3]}\n', "log.csv", "log.skip_lines"),
    log_of("the chart given as a log", ward.CHART, "log.csv", "log.s"),
    Broken("log: is not there", "log.csv", "Check the name", prepare=is_gone("log.csv")),
    Broken("log: is a folder", "log.csv", "Check the name", prepare=is_a_folder("log.csv")),
    Broken("log: a link to nowhere", "log.csv", "Check the name", prepare=dangles("log.csv")),
]  # fmt: skip

LAYOUTS = [
    file_of("layout.toml", "empty", "", "layout.toml", "Write [log]"),
    file_of("layout.toml", "not TOML", "[log\n", "layout.toml", "Write key"),
    file_of("layout.toml", "nested deep", DEEP, "layout.toml", "Write"),
    file_of("layout.toml", "not UTF-8", ward.LAYOUT.encode().replace(b"Stamp", b"St\xe4mp"), "layout.toml", "Save"),
    file_of("layout.toml", "NUL bytes", ward.LAYOUT.replace("Stamp", "St\x00mp"), "layout.toml", "Write key"),
    file_of("layout.toml", "a key twice", ward.LAYOUT.replace('marks = "end"', 'marks = "end"\nmarks = "end"'), "layout.toml", "each key once"),
    file_of("layout.toml", "UTF-16", ward.LAYOUT.encode("utf-16"), "layout.toml", "Save"),
    layout_of("an open question", "unconfirmed = []", 'unconfirmed = ["pressure.unit"]', "pressure.unit", "--set"),
    layout_of("an open question nobody knows", "unconfirmed = []", 'unconfirmed = ["pressure.colour"]', "layout.toml, unconfirmed", "Did you mean"),
    layout_of("a table nobody knows", "[battery]", "[batery]", "layout.toml", 'Did you mean "battery"'),
    layout_of("a key nobody knows", "max_column", "maxcolumn", "layout.toml, flow", 'Did you mean "max_column"'),
    layout_of("no unit of flow", 'unit = "mL/min"\n', "", "layout.toml", "Write it, e.g. unit"),
    layout_of("a unit of flow nobody knows", 'unit = "mL/min"', 'unit = "ML/min"', "layout.toml, flow.unit", "Write one of"),
    layout_of("a pressure unit for flow", 'unit = "mL/min"', 'unit = "kPa"', "layout.toml, flow.unit", "Write one of"),
    layout_of("no sign of suction", 'suction_is = "positive"\n', "", "layout.toml", "Write it, e.g. suction_is"),
    layout_of("a sign nobody knows", 'suction_is = "positive"', 'suction_is = "minus"', "layout.toml, pressure.suction_is", "Write one of"),
    layout_of("no zone", 'zone = "+00:00"\n', "", "layout.toml", "zone"),
    layout_of("a zone nobody knows", 'zone = "+00:00"', 'zone = "Atlantis/Sunk"', "layout.toml, time.zone", "Write"),
    layout_of("a stamp form nobody knows", "%d.%m.%Y %H:%M:%S", "%d.%m.%Q", "layout.toml, time.format", "Write"),
    layout_of("no end or start", 'marks = "end"\n', "", "layout.toml", "Write it, e.g. marks"),
    layout_of("a step of zero", 'step = "5 mL/min"', 'step = "0 mL/min"', "layout.toml, flow.step", "Write e.g."),
    layout_of("a step without unit", 'step = "5 mL/min"', 'step = "5"', "layout.toml, flow.step", "Write one, e.g."),
    layout_of("a step as a bare number", 'step = "5 mL/min"', "step = 5", "layout.toml, flow.step", "Write e.g."),
    layout_of("a rounding nobody knows", '"nearest"', '"up"', "layout.toml, flow.rounding", "Write one of"),
    layout_of("a separator nobody knows", 'separator = ";"', 'separator = "::"', "layout.toml, log.separator", "Write one of"),
    layout_of("decimal mark and separator alike", 'separator = ";"', 'separator = ","', "log.csv, line 3", "check log.separator"),
    layout_of("lines as text", "skip_lines = 2", 'skip_lines = "two"', "layout.toml, log.skip_lines", "Write e.g. 3"),
    layout_of("lines below zero", "skip_lines = 2", "skip_lines = -1", "layout.toml, log.skip_lines", "Write e.g. 3"),
    layout_of("one column for two things", 'column = "Line"', 'column = "Air"', "layout.toml", "Give each its own column"),
    layout_of("a state nobody knows", '"standby"', '"asleep"', "layout.toml, state.words", "Write one of"),
    layout_of("yes and no alike", 'no = ["0"]', 'no = ["1"]', "layout.toml, mains", "Keep it in one"),
    file_of("layout.toml", "a value where a table belongs", ward.LAYOUT.replace('[battery]\ncolumn = "Charge"\nunit = "%"\n', "").replace("[]", "[]\nbattery = 3", 1), "layout.toml", "Write [battery]"),
    layout_of("an encoding nobody knows", '"utf-8"', '"utf-7"', "layout.toml, log.encoding", "Write one of"),
    Broken("layout: is not there", "layout.toml", "Check the name", prepare=is_gone("layout.toml")),
    Broken("layout: is a folder", "layout.toml", "Check the name", prepare=is_a_folder("layout.toml")),
    option("a layout nobody ships", ("log.csv", "--layout", "plian"), "plian", "plain"),
    option("no layout, and the header says too little", ("log.csv",), "log.csv, line 3", "--layout"),
]  # fmt: skip

AT = "2041-05-06T09:50:00Z"
CHARTS = [
    file_of("chart.csv", "empty", "", "chart.csv", "The first line names the columns"),
    file_of("chart.csv", "no header", ward.CHART.partition("\n")[2], "chart.csv, line 1", "Write one of"),
    file_of("chart.csv", "a column is missing", ward.CHART.replace(",unit,", ",").replace(",,,1,,", ",,1,,"), "chart.csv, line 1", "Add it"),
    file_of("chart.csv", "a column nobody knows", ward.CHART.replace("item,", "itme,", 1), "chart.csv, line 1", "Write one of: time, item"),
    file_of("chart.csv", "a column twice", ward.CHART.replace("recorded,by", "by,by", 1), "chart.csv, line 1", "Keep one"),
    file_of("chart.csv", "semicolons", ward.CHART.replace(",", ";"), "chart.csv, line 1", "Save the chart with commas"),
    file_of("chart.csv", "UTF-16", ward.CHART.encode("utf-16"), "chart.csv", "Save it as UTF-8"),
    file_of("chart.csv", "not UTF-8", ward.CHART.encode() + b"\xff\xfe,\n", "chart.csv, line 8", "Save the file as UTF-8"),
    file_of("chart.csv", "a zip file", zipped(ward.CHART), "chart.csv: is compressed (zip", "Unpack it first, then give the file in it"),
    file_of("chart.csv", "packed by gzip", gzip.compress(ward.CHART.encode()), "chart.csv: is compressed (gzip)", "Unpack it first"),
    file_of("episode.toml", "packed by gzip", gzip.compress(ward.EPISODE.encode()), "episode.toml: is compressed (gzip)", "Unpack it first"),
    file_of("rule.toml", "packed by gzip", gzip.compress(ward.RULE.encode()), "rule.toml: is compressed (gzip)", "Unpack it first"),
    file_of("rule.toml", "a zip file", zipped(ward.RULE), "rule.toml: is compressed (zip", "Unpack it first"),
    file_of("layout.toml", "packed by gzip", gzip.compress(ward.LAYOUT.encode()), "layout.toml: is compressed (gzip)", "Unpack it first"),
    file_of("chart.csv", "NUL bytes", ward.CHART.replace("swing", "swi\x00ng"), "chart.csv, line 2", "Delete it"),
    file_of("chart.csv", "an escape sequence", ward.CHART.replace("nurse", "\x1b[31mnurse", 1), "chart.csv, line 2", "Delete it"),
    file_of("chart.csv", "a line break nobody sees", ward.CHART.replace("nurse", "nur\u2028se", 1), "chart.csv, line 2", "Delete it"),
    file_of("chart.csv", "a quote left open", ward.CHART + f'{AT},note,"open,,,1,,\n', "chart.csv, line 8", "Close the quote"),
    file_of("chart.csv", "over sixteen megabytes", ward.CHART + "\n" * (17 << 20), "chart.csv", "Give the file of one patient"),
    chart_row("a cell too many", f"{AT},swing,present,,,1,,nurse,more", "chart.csv, line 8", "Write one cell for each column"),
    chart_row("a cell too few", f"{AT},swing,present", "chart.csv, line 8", "Write one cell for each column"),
    chart_row("no item", f"{AT},,present,,,1,,nurse", "chart.csv, line 8, column item", "Write e.g."),
    chart_row("no time", ",swing,present,,,1,,nurse", "chart.csv, line 8, column time", "Write"),
    chart_row("a time without zone", "2041-05-06T09:50:00,swing,present,,,1,,nurse", "chart.csv, line 8, column time", "--zone"),
    chart_row("no such day", "2041-02-30T09:50:00Z,swing,present,,,1,,nurse", "chart.csv, line 8, column time", "."),
    chart_row("a time in words", "this morning,swing,present,,,1,,nurse", "chart.csv, line 8, column time", "Write"),
    chart_row("recorded in words", f"{AT},swing,present,,,1,later,nurse", "chart.csv, line 8, column recorded", "Write"),
    chart_row("a volume without unit", f"{AT},fluid_output,50,,,1,,nurse", "chart.csv, line 8, column unit", "Write its unit"),
    chart_row("a volume in pressure", f"{AT},fluid_output,50,kPa,,1,,nurse", "chart.csv, line 8, column unit", "Write one of"),
    chart_row("a volume below zero", f"{AT},fluid_output,-50,mL,,1,,nurse", "chart.csv, line 8, column value", "Write what was read"),
    chart_row("a volume with a decimal comma", f'{AT},fluid_output,"1,5",L,,1,,nurse', "chart.csv, line 8, column value", "decimal point"),
    chart_row("a volume of nan", f"{AT},fluid_output,nan,mL,,1,,nurse", "chart.csv, line 8, column value", "leave it empty"),
    chart_row("a formula as value", f"{AT},fluid_output,=1+1,mL,,1,,nurse", "chart.csv, line 8, column value", "leave it empty"),
    chart_row("about so much", f"{AT},fluid_output,~50,mL,,1,,nurse", "chart.csv, line 8, column value", "leave it empty"),
    chart_row("a word that swing has not", f"{AT},swing,{SECRET},,,1,,nurse", "chart.csv, line 8, column value", "Write one of"),
    chart_row("long words as a volume", f"{AT},fluid_output,{SECRET},mL,,1,,nurse", "chart.csv, line 8, column value", "Write digits"),
    chart_row("long words as a unit", f"{AT},fluid_output,50,{SECRET},,1,,nurse", "chart.csv, line 8, column unit", "Write one of"),
    chart_row("long words as a time", f"{SECRET},swing,present,,,1,,nurse", "chart.csv, line 8, column time", "Write"),
    chart_row("a unit on a word", f"{AT},swing,present,cm,,1,,nurse", "chart.csv, line 8, column unit", "Empty it"),
    chart_row("bubbling of size 9", f"{AT},bubbling,E9,,,1,,nurse", "chart.csv, line 8, column value", "from 1 to 7"),
    chart_row("emphysema of grade 6", f"{AT},surgical_emphysema,6,,,1,,nurse", "chart.csv, line 8, column value", "Write what was read"),
    chart_row("emphysema of grade 1.5", f"{AT},surgical_emphysema,1.5,,,1,,nurse", "chart.csv, line 8, column value", "Write the grade"),
    chart_row("saturation of 101 %", f"{AT},spo2,101,%,,1,,nurse", "chart.csv, line 8, column value", "Write what was read"),
    chart_row("pain of 11", f"{AT},pain_rest,11,,,1,,nurse", "chart.csv, line 8, column value", "Write what was read"),
    Broken("chart: is not there", "chart.csv", "Check the name", prepare=is_gone("chart.csv")),
    Broken("chart: is a folder", "chart.csv", "Check the name", prepare=is_a_folder("chart.csv")),
]  # fmt: skip

EPISODES = [
    file_of("episode.toml", "not TOML", "side = left\n", "episode.toml, line 1", "Write lines such as"),
    file_of("episode.toml", "nested deep", DEEP, "episode.toml", "Write lines such as"),
    file_of("episode.toml", "UTF-16", ward.EPISODE.encode("utf-16"), "episode.toml", "Save it as UTF-8"),
    file_of("episode.toml", "a picture", picture(), "episode.toml", "Save the file as UTF-8"),
    file_of("episode.toml", "NUL bytes", ward.EPISODE + "\x00", "episode.toml, line", "Delete it"),
    episode_of("a key nobody knows", "age_years", "age", "episode.toml, patient.age", "Write one of: id, age_years"),
    episode_of("a key in the wrong place", 'breathing = "own"', 'side = "left"', "episode.toml, side", "Write it under [drain]"),
    episode_of("a table nobody knows", "[operation]", "[surgery]", "episode.toml, surgery", "Write one of"),
    episode_of("a side nobody knows", '"left"', '"lefft"', "episode.toml, drain.side", "Did you mean 'left'"),
    episode_of("long words for a side", '"left"', f'"{SECRET}"', "episode.toml, drain.side", "Write one of"),
    episode_of("a space nobody knows", '"pleural"', '"plural"', "episode.toml, drain.space", "Did you mean 'pleural'"),
    episode_of("a slip in the operation", '"lobectomy"', '"lobectmy"', "episode.toml, operation.kind", "Did you mean 'lobectomy'"),
    episode_of("a removed lung by another name", '"lobectomy"', '"pneumonectomy left"', "episode.toml, operation.kind", "Did you mean 'pneumonectomy'"),
    episode_of("a slip in the indication", '"lung_resection"', '"lung_resecton"', "episode.toml, indication", "Did you mean 'lung_resection'"),
    episode_of("a sentence as indication", '"lung_resection"', '"air, and no idea why!"', "episode.toml, indication", "Write one of"),
    episode_of("an age in words", "age_years = 61", 'age_years = "old"', "episode.toml, patient.age_years", "Write digits"),
    episode_of("a birth year as age", "age_years = 61", "age_years = 1980", "episode.toml, patient.age_years", "Write it in years"),
    episode_of("a weight below zero", "weight_kg = 70", "weight_kg = -70", "episode.toml, patient.weight_kg", "Write it in kg"),
    episode_of("a weight in grams", "weight_kg = 70", "weight_kg = 70000", "episode.toml, patient.weight_kg", "Write it in kg"),
    episode_of("a weight of nan", "weight_kg = 70", "weight_kg = nan", "episode.toml, patient.weight_kg", "Write digits"),
    episode_of("connection without offset", '"2041-05-06T08:00:00Z"', '"2041-05-06T08:00:00"', "episode.toml, drain.connected_at", "Write it with its offset"),
    episode_of("connection as a day", '"2041-05-06T08:00:00Z"', "2041-05-06", "episode.toml, drain.connected_at", "Write it with its offset"),
    episode_of("a drain that shares with itself", "shares_space_with = []", 'shares_space_with = ["1"]', "episode.toml, drain.shares_space_with", "other drains"),
    episode_of("sharing as text", "shares_space_with = []", 'shares_space_with = "2"', "episode.toml, drain.shares_space_with", "in a list"),
    episode_of("an empty text", '"INV-1"', '""', "episode.toml, patient.id", "Leave the key out"),
    Broken("episode: is not there", "episode.toml", "Check the name", prepare=is_gone("episode.toml")),
    Broken("episode: is a folder", "episode.toml", "Check the name", prepare=is_a_folder("episode.toml")),
]  # fmt: skip

RULES = [
    file_of("rule.toml", "empty", "", "rule.toml", "Write"),
    file_of("rule.toml", "not TOML", "[[removal\n", "rule.toml", "Mend the line"),
    file_of("rule.toml", "nested deep", DEEP, "rule.toml", "."),
    file_of("rule.toml", "not UTF-8", b"name = \"\xff\"\n", "rule.toml", "Save the file as UTF-8"),
    rule_of("a key nobody knows", "lasting =", "lastin =", "rule.toml, removal air", "Did you mean 'lasting'"),
    rule_of("a limit without unit", '"50 mL/min"', '"50"', "rule.toml, removal air", "Write one, e.g."),
    rule_of("a limit in pressure", '"50 mL/min"', '"50 kPa"', "rule.toml, removal air", "Write one of"),
    rule_of("a limit as a bare number", '"50 mL/min"', "50", "rule.toml, removal air", "Write limit"),
    rule_of("a measure nobody knows", '"air_leak"', '"airleak"', "rule.toml, removal air", "Did you mean 'air_leak'"),
    rule_of("a comparison nobody knows", '"below"', '"under"', "rule.toml, removal air", "Write one of"),
    rule_of("no guards", "[guards]\ntube_open", "[guards]\n#", "rule.toml", "say guards = "),
    rule_of("a guard by a way nobody knows", '"charted"]', '"smell"]', "rule.toml", "Write any of"),
    rule_of("no age of data", 'data_age = "1 h"\n', "", "rule.toml", "Write data_age"),
    rule_of("no tolerance of gaps", 'gaps = "0 min"\n', "", "rule.toml", "Write gaps"),
    rule_of("gaps below zero", '"0 min"', '"-5 min"', "rule.toml", "Write e.g."),
    rule_of("approved by nobody", 'status = "example"', 'status = "approved"', "rule.toml", "Write the role and the date"),
    rule_of("a status nobody knows", 'status = "example"', 'status = "live"', "rule.toml", "Write one of"),
    rule_of("two clauses of one name", 'id = "fluid"', 'id = "air"', "rule.toml, removal", "Give each clause its own id"),
    rule_of("half a minute as a bin", '"10 min"', '"90 s"', "rule.toml, removal air", "Write e.g."),
    rule_of("no window", 'lasting = "1 h"\n', "", "rule.toml, removal air", "Write lasting"),
    rule_of("a restart nobody knows", '"suction_change"', '"full_moon"', "rule.toml", "Write any of"),
    rule_of("a name with capitals", 'id = "air"', 'id = "Air leak"', "rule.toml, removal", "Use small letters"),
    Broken("rule: is not there", "rule.toml", "Check the name", prepare=is_gone("rule.toml")),
    option("a rule nobody ships", ("log.csv", "--layout", "layout.toml", "--protocol", "air-50-9h"), "air-50-9h", "Did you mean 'air-50-8h'"),
]  # fmt: skip

LOG = ("log.csv", "--layout", "layout.toml")
OPTIONS = [
    option("nothing given", (), "neither a log nor a chart", "Write: slackwater assess"),
    option("an option nobody knows", (*LOG, "--protocoll", "air-50-8h"), "--protocoll", "--protocol"),
    option("a time in words", (*LOG, "--at", "yesterday"), "--at", "Write e.g."),
    option("a time without zone", (*LOG, "--at", "2041-05-06T09:00:00"), "--at", "--zone"),
    option("a time that happened twice", (*LOG, "--zone", "Europe/Vienna", "--at", "2041-10-27T02:30:00"), "--at", "Write its offset"),
    option("a time that never happened", (*LOG, "--zone", "Europe/Vienna", "--at", "2041-03-31T02:30:00"), "--at", "Write its offset"),
    option("a zone nobody knows", (*LOG, "--zone", "Atlantis/Sunk"), "--zone", "Write e.g. Europe/Vienna"),
    option("a zone by a path", (*LOG, "--zone", "../../etc/passwd"), "--zone", "Write e.g. Europe/Vienna"),
    option("an empty zone", (*LOG, "--zone", ""), "--zone", "Write e.g. Europe/Vienna"),
    option("a share above one", (*LOG, "--refuse-above", "5"), "--refuse-above", "0<=x<=1"),
    option("a share in words", (*LOG, "--refuse-above", "few"), "--refuse-above", "."),
    option("minutes of another ending", (*LOG, "--minutes", "out.xlsx"), "--minutes", "Give it one of these endings"),
    option("minutes into a folder that is not there", (*LOG, "--minutes", "no/such/out.csv"), "no/such/out.csv", "Check the folder"),
    option("minutes over the log itself", (*LOG, "--minutes", "log.csv"), "log.csv", "another"),
    option("standard input twice", ("-", "-", "--layout", "layout.toml"), "standard input", "Give '-' for one file only", ward.log().encode()),
    option("standard input empty", ("-", "--layout", "layout.toml"), "standard input", "Export the log again"),
    option("standard input is junk", ("-", "--layout", "layout.toml"), "standard input", "Set log.encoding", picture()),
    option("one log is there and one is not", ("log.csv", "log-2.csv", "--layout", "layout.toml"), "log-2.csv", "Check the name"),
    option("an option without its value", (*LOG, "--chart"), "--chart", "."),
]  # fmt: skip

OTHERS = [
    other("a command nobody knows", "assesss log.csv", "assesss", "assess"),
    other("no log to propose for", "layout propose gone.csv", "gone.csv", "Check the name"),
    other("an answer that is no answer", "layout propose log.csv --set pressure", "--set", "Write e.g."),
    other("an answer to no question", "layout propose log.csv --set pressure.colour=red", "pressure.colour", "Did you mean"),
    other("an answer of no unit", "layout propose log.csv --set flow.unit=furlong", "flow.unit", "Write one of"),
    other("a draft over the log itself", "layout propose log.csv --out log.csv", "log.csv", "another"),
    other("a draft from nothing", "layout propose - --out new.toml", "standard input", "Export the log again"),
    other("a draft from junk", "layout propose - --out new.toml", "standard input", "A log needs", picture()),
    other("a layout to check that is not there", "layout check gone.toml log.csv", "gone.toml", "Check the name"),
    other("no row to check", "layout check layout.toml log.csv --rows 0", "--rows", "1<=x<=1000"),
    other("a rule to show that is not there", "protocol show gone.toml", "gone.toml", "Check the name"),
    other("a rule to show that nobody ships", "protocol show air", "air", "Shipped:"),
    other("a log shown as a rule", "protocol check ./log.csv", "log.csv", "Mend the line"),
    other("cases that are not there", "protocol test rule.toml", "rule.cases.toml", "Check the name"),
    other("cases that are no cases", "protocol test rule.toml --cases layout.toml", "layout.toml", "."),
    other("a stay nobody knows", "simulate storm", "storm", "--list"),
    other("no stay named", "simulate", "simulate", "--list"),
    other("a seed below zero", "simulate none --seed -1", "--seed", "x>=0"),
]  # fmt: skip

BROKEN: tuple[Broken, ...] = (*LOGS, *LAYOUTS, *CHARTS, *EPISODES, *RULES, *OPTIONS, *OTHERS)
