"""One invented drain on an invented ward, as small files: three hours of minutes, a chart, an episode file.

Nothing here is a real person, place or unit. Moments are told in minutes after 06:00 of a day in 2041.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.document import document
from slackwater.episode.episode import read_episode
from slackwater.episode.types import Episode
from slackwater.reading.layout import Layout
from slackwater.store import Record, rows
from slackwater.store.course import Course, course_of
from slackwater.store.course_text import read_course
from slackwater.store.nouns import NOUNS
from slackwater.store.take_in import Bundle, GivenLog, Taken, take_in

START = datetime(2041, 5, 6, 6, 0, tzinfo=UTC)
START_MS = int(START.timestamp()) * 1000
MINUTE_MS = 60_000
LAST = 180  # minutes

LAYOUT_TEXT = """
[log]
separator = ","
decimal = "."
[time]
columns = ["time"]
format = "iso"
marks = "end"
every = "1 min"
[flow]
column = "flow"
unit = "mL/min"
step = "5 mL/min"
rounding = "nearest"
statistic = "mean"
[pressure]
column = "p"
min_column = "p_low"
max_column = "p_high"
unit = "cmH2O"
suction_is = "negative"
[serial]
column = "unit"
"""
LAYOUT = Layout.from_toml(LAYOUT_TEXT, "layout.toml")
OTHER_LAYOUT = Layout.from_toml(LAYOUT_TEXT.replace('step = "5 mL/min"', 'step = "10 mL/min"'), "other.toml")

RULE = b"""
name = "small-50"
version = "1"
status = "example"
source = "invented for the tests"
[applies]
[evidence]
data_age = "1 h"
gaps = "0 min"
restart_on = ["suction_change", "clamp_trial", "reconnection"]
[guards]
tube_open = { within = "2 h", also_at = ["start"], by = ["swing", "air", "charted"] }
effort_seen = { within = "4 h" }
[[removal]]
id = "air"
measure = "air_leak"
bin = "10 min"
is = "below"
limit = "50 mL/min"
lasting = "1 h"
[[removal]]
id = "fluid"
measure = "fluid_output"
is = "at_most"
limit = "200 mL"
within = "2 h"
data_age = "4 h"
"""


def ms(minute: float) -> int:
    return START_MS + round(minute * MINUTE_MS)


def stamp(minute: float) -> str:
    return (START + timedelta(minutes=minute)).isoformat().replace("+00:00", "Z")


def log_rows(first: int = 0, last: int = LAST, serial: str = "U-1", leak: int = 0) -> list[str]:
    """A row for each minute that ends after `first`, until `last`; the flow is about `leak`, the pressure breathes."""
    made = []
    for at in range(first + 1, last + 1):
        flow = leak + 5 * (at % 3) if leak else 0
        middle = -100 + at % 5
        made.append(f"{stamp(at)},{flow},{middle / 10},{(middle - 30) / 10},{(middle + 30) / 10},{serial}")
    return made


def log_text(log_rows: Sequence[str]) -> bytes:
    return "\n".join(["time,flow,p,p_low,p_high,unit", *log_rows, ""]).encode()


def log(first: int = 0, last: int = LAST, serial: str = "U-1", leak: int = 0, name: str = "log.csv") -> GivenLog:
    return GivenLog(name, log_text(log_rows(first, last, serial, leak)), LAYOUT)


def row(
    minute: float, item: str, value: str, unit: str = "", note: str = "", drain: str = "1", late: float | None = None,
    by: str = "nurse",
) -> str:  # fmt: skip
    """One line of a chart; `late`: minutes from the event to its being written down."""
    recorded = "" if late is None else stamp(minute + late)
    return ",".join((stamp(minute), item, value, unit, note, drain, recorded, by))


ROWS = (
    row(30, "fluid_output", "20", "mL"),
    row(60, "swing", "present"),
    row(90, "fluid_output", "30", "mL", late=10),
    row(120, "tube_open", "yes"),
    row(170, "fluid_output", "15", "mL"),
)


def chart_text(rows: Sequence[str]) -> bytes:
    return "\n".join(["time,item,value,unit,note,drain,recorded,by", *rows, ""]).encode()


def episode(patient: str = "INV-1", number: str = "1", *, connected: float | None = 0, **told: Any) -> Episode:
    """An episode file, read. `told`: further keys of [drain], those of [patient], and those at its top."""
    top = {"indication": "lung_resection", "breathing": "own"}
    of_patient = {"age_years": 60, "weight_kg": 70}
    tube: dict[str, Any] = {"side": "left", "space": "pleural", "site": "fifth space", "shares_space_with": []}
    for key, value in told.items():
        (top if key in ("goal", *top) else of_patient if key in of_patient else tube)[key] = value
    lines = [f"{key} = {_toml(value)}" for key, value in top.items() if value is not None]
    lines += ["[patient]", f"id = {_toml(patient)}"]
    lines += [f"{key} = {_toml(value)}" for key, value in of_patient.items() if value is not None]
    lines += ["[drain]", f"number = {_toml(number)}"]
    lines += [f"{key} = {_toml(value)}" for key, value in tube.items() if value is not None]
    lines += [] if connected is None else [f'connected_at = "{stamp(connected)}"']
    return read_episode("\n".join(lines).encode(), "episode.toml")


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def bundle(
    of: Episode | None = None, *, logs: Sequence[GivenLog] | None = None, rows: Sequence[str] | None = ROWS,
    course: str = "", rule: bytes | None = None,
) -> Bundle:  # fmt: skip
    """The files of one drain. Without `logs` it has one; rows None: no chart."""
    return Bundle(
        "episode.toml",
        episode() if of is None else of,
        (log(),) if logs is None else tuple(logs),
        () if rows is None else (("chart.csv", chart_text(rows)),),
        protocol=None if rule is None else ("small-50.toml", rule),
        course=read_course(course.encode(), "course.toml"),
    )


def taken(record: Record, given: Bundle | None = None, *, by: str = "nurse", correct: str = "") -> Taken:
    return take_in(record, bundle() if given is None else given, by=by, correct=correct)


def removal(minute: float, kind: str = "planned") -> str:
    return f'[removal]\nkind = "{kind}"\ntime = "{stamp(minute)}"\n'


def course_held(record: Record, drain: str, known_ms: int | None = None) -> Course:
    with record.reading() as connection:
        return course_of(connection, drain, known_ms)


def dump(record: Record) -> dict[str, list[dict[str, Any]]]:
    """Every row of every noun, in order."""
    with record.reading() as connection:
        return {
            noun: [{**vars(one), "fields": dict(one.fields)} for one in rows.versions(connection, noun)]
            for noun in NOUNS
        }


def said(found: Assessment) -> dict[str, Any]:
    """The document without what names or counts files, and without the lines that evidence stands on."""
    told = document(found)
    for key in ("ledger", "history", "notes"):
        told.pop(key)
    return _without_lines(told)  # type: ignore[no-any-return]


def _without_lines(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_lines(inner) for key, inner in value.items() if key not in ("rows", "sha256")}
    return [_without_lines(inner) for inner in value] if isinstance(value, list) else value
