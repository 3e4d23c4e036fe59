"""A small invented stay as values: twelve hours of minutes, its chart and episode, and how it is written down.

The laws bend one of these and look at what the answer does. Flow moves by a step or two about its
level, as flow does; a level that never varied would be a stuck sensor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

import numpy as np
from hypothesis import strategies as st

import slackwater
from slackwater.assessment.assessment import Assessment

START = datetime(2041, 5, 6, 6, 0, tzinfo=UTC)
MINUTES = 720

RULE = b"""
name = "small-50"
version = "1"
status = "example"
source = "invented for the laws"
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
lasting = "3 h"
[[removal]]
id = "fluid"
measure = "fluid_output"
is = "at_most"
limit = "200 mL"
within = "6 h"
data_age = "4 h"
[[removal]]
id = "colour"
measure = "fluid_appearance"
is = "none_of"
limit = ["bloody", "chylous"]
within = "6 h"
[[escalation]]
id = "much"
measure = "fluid_output"
is = "at_least"
limit = "150 mL"
within = "2 h"
say = "INVENTED WORDS"
[[escalation]]
id = "clamped"
measure = "clamped_for"
is = "at_least"
limit = "1 h"
say = "INVENTED WORDS"
"""
PROTOCOL = slackwater.load_protocol(RULE, "small-50.toml")


@dataclass(frozen=True)
class Reading:
    """One minute's row: mean flow, and the mean, lowest and highest pressure in tenths of cmH2O; None: a blank cell."""

    minute: int  # the one it closes, from 1
    flow: int | None
    pressure: int | None
    low: int | None
    high: int | None


@dataclass(frozen=True)
class Said:
    """One row of the chart; `late`: minutes from the event to its being written down."""

    minute: int
    item: str
    value: str
    unit: str = ""
    note: str = ""
    late: int = 0
    by: str = "nurse"


@dataclass(frozen=True)
class Way:
    """How a stay is written down: units, zone, order, names."""

    flow_unit: str = "mL/min"
    pressure_unit: str = "cmH2O"
    flow_per: Fraction = Fraction(1)  # in one mL/min
    pressure_per: Fraction = Fraction(1)  # in one cmH2O
    sign: int = 1
    offset_min: int = 0
    columns: tuple[str, ...] = ("time", "flow", "p", "p_low", "p_high")
    start: datetime = START


PLAIN = Way()


@dataclass(frozen=True, repr=False)
class Stay:
    readings: tuple[Reading, ...]
    said: tuple[Said, ...]
    patient: str = "INV-1"
    site: str = "fifth space"
    made_of: str = ""  # how it was drawn, for whoever reads a failing example

    def __repr__(self) -> str:
        return f"Stay({self.made_of or len(self.readings)}, {self.said})"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))

    def without(self, minutes: Iterable[int]) -> Stay:
        """Those minutes blank: the row stands, its cells are empty."""
        gone = set(minutes)
        return replace(
            self,
            readings=tuple(Reading(r.minute, None, None, None, None) if r.minute in gone else r for r in self.readings),
        )


def layout_toml(way: Way = PLAIN) -> str:
    step = _decimal(5 * way.flow_per)
    return (
        '[log]\nseparator = ","\ndecimal = "."\n'
        '[time]\ncolumns = ["time"]\nformat = "iso"\nmarks = "end"\nevery = "1 min"\n'
        f'[flow]\ncolumn = "flow"\nunit = "{way.flow_unit}"\nstep = "{step} {way.flow_unit}"\n'
        'rounding = "nearest"\nstatistic = "mean"\n'
        f'[pressure]\ncolumn = "p"\nmin_column = "{"p_low" if way.sign > 0 else "p_high"}"\n'
        f'max_column = "{"p_high" if way.sign > 0 else "p_low"}"\nunit = "{way.pressure_unit}"\n'
        f'suction_is = "{"negative" if way.sign > 0 else "positive"}"\n'
    )


def _decimal(value: Fraction, places: int = 12) -> str:
    sign = "-" if value < 0 else ""
    whole, rest = divmod(round(abs(value) * 10**places), 10**places)
    return f"{sign}{whole}.{rest:0{places}d}".rstrip("0").rstrip(".")


def stamp(minute: int, way: Way = PLAIN) -> str:
    zone = timedelta(minutes=way.offset_min)
    moment = way.start + timedelta(minutes=minute)
    sign = "+" if way.offset_min >= 0 else "-"
    hours, minutes = divmod(abs(way.offset_min), 60)
    mark = f"{sign}{hours:02d}:{minutes:02d}" if way.offset_min else "Z"
    return (moment + zone).replace(tzinfo=None).isoformat() + mark


def log_rows(stay: Stay, way: Way = PLAIN) -> list[str]:
    rows = []
    for r in stay.readings:
        cells = {"time": stamp(r.minute, way), "flow": "" if r.flow is None else _decimal(r.flow * way.flow_per)}
        for name, tenths in (("p", r.pressure), ("p_low", r.low), ("p_high", r.high)):
            cells[name] = "" if tenths is None else _decimal(Fraction(tenths * way.sign, 10) * way.pressure_per)
        rows.append(",".join(cells[column] for column in way.columns))
    return rows


def log_text(rows: Sequence[str], way: Way = PLAIN) -> bytes:
    return "\n".join([",".join(way.columns), *rows, ""]).encode()


def chart_text(said: Sequence[Said], way: Way = PLAIN) -> bytes:
    lines = ["time,item,value,unit,note,drain,recorded,by"]
    for s in said:
        recorded = stamp(s.minute + s.late, way) if s.late else ""
        lines.append(f"{stamp(s.minute, way)},{s.item},{s.value},{s.unit},{s.note},1,{recorded},{s.by}")
    return "\n".join([*lines, ""]).encode()


def episode_text(stay: Stay, way: Way = PLAIN) -> bytes:
    return (
        'indication = "lung_resection"\nbreathing = "own"\n'
        f'[patient]\nid = "{stay.patient}"\nage_years = 60\nweight_kg = 70\n'
        f'[drain]\nnumber = "1"\nside = "left"\nspace = "pleural"\nsite = "{stay.site}"\n'
        f'connected_at = "{stamp(0, way)}"\nshares_space_with = []\nshares_unit_with = []\n'
        f'[operation]\nkind = "lobectomy"\nend = "{stamp(-30, way)}"\n'
    ).encode()


def ms(minute: float, way: Way = PLAIN) -> int:
    return round((way.start + timedelta(minutes=minute)).timestamp() * 1000)


def judged(
    stay: Stay, way: Way = PLAIN, *, logs: Sequence[bytes] | None = None, chart: bytes | None = None,
    at: float | None = None, protocol: slackwater.Protocol | None = PROTOCOL,
) -> Assessment:  # fmt: skip
    """The assessment of the stay, written down in that way and read again."""
    layout = slackwater.Layout.from_toml(layout_toml(way), "layout.toml")
    given = [log_text(log_rows(stay, way), way)] if logs is None else logs
    return slackwater.assess(
        [slackwater.read_log(data, layout, f"log-{n}.csv") for n, data in enumerate(given, start=1)],
        chart=slackwater.read_chart(chart_text(stay.said, way) if chart is None else chart, "chart.csv"),
        episode=slackwater.read_episode(episode_text(stay, way), "episode.toml"),
        protocol=protocol,
        now_ms=None if at is None else ms(at, way),
    )


def statuses(found: Assessment) -> dict[str, str]:
    """Every status by its name."""
    document = slackwater.document(found)
    parts = [*document["criteria"], *document["guards"], *document["escalation"]]
    return {"overall": str(document["overall"]), **{part["id"]: part["status"] for part in parts}}


def conclusions(found: Assessment, *, lines: bool = True) -> dict[str, Any]:
    """The document without what names or counts the files; `lines`: keep the lines that evidence stands on."""
    document = slackwater.document(found)
    for key in ("ledger", "history", "notes", "drain"):
        document.pop(key)
    return document if lines else _without_rows(document)


def _without_rows(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_rows(inner) for key, inner in value.items() if key != "rows"}
    return [_without_rows(inner) for inner in value] if isinstance(value, list) else value


# --- drawing one ----------------------------------------------------------------------------------

LEVELS = (0, 0, 0, 5, 20, 40, 45, 50, 55, 120, 400)
CHARTED: tuple[Callable[[int], Said], ...] = (
    lambda t: Said(t, "swing", "present"),
    lambda t: Said(t, "tube_open", "yes"),
    lambda t: Said(t, "fluid_output", str(10 + t % 90), "mL"),
    lambda t: Said(t, "fluid_output", "0", "mL"),
    lambda t: Said(t, "fluid_output", "40", "mL", late=25),
    lambda t: Said(t, "fluid_output", "", "mL"),
    lambda t: Said(t, "fluid_appearance", "serous"),
    lambda t: Said(t, "fluid_appearance", "bloody"),
    lambda t: Said(t, "cough", "no_leak"),
    lambda t: Said(t, "cough", "leak"),
    lambda t: Said(t, "suction_ordered", "-10", "cmH2O"),
    lambda t: Said(t, "suction_ordered", "-20", "cmH2O"),
    lambda t: Said(t, "tubing", "kinked"),
    lambda t: Said(t, "tubing", "checked"),
    lambda t: Said(t, "surgical_emphysema", str(t % 3)),
    lambda t: Said(t, "chest_xray", "expanded"),
)


@st.composite
def stays(draw: st.DrawFn, *, charted: Sequence[Callable[[int], Said]] = CHARTED, most_said: int = 8) -> Stay:
    """Levels of flow held for a while each, with or without a swing, some blank, some not there at all."""
    seed = draw(st.integers(0, 2**16))
    noise = np.random.default_rng(seed)
    made = [f"seed {seed}"]
    readings: list[Reading] = []
    minute = 1
    while minute <= MINUTES:
        length = draw(st.sampled_from((20, 60, 200, 400)))
        level = draw(st.sampled_from(LEVELS))
        swing = draw(st.sampled_from((0, 30, 60, 60)))
        kind = draw(st.sampled_from(("rows", "rows", "rows", "rows", "rows", "blank", "gap")))
        made.append(f"{minute}+{length}: {level}, swing {swing}, {kind}")
        for at in range(minute, min(minute + length, MINUTES + 1)):
            if kind == "gap":
                continue
            if kind == "blank":
                readings.append(Reading(at, None, None, None, None))
                continue
            flow = max(0, level + 5 * int(noise.integers(-1, 2))) if level else 0
            middle = -100 + int(noise.integers(-5, 6))
            readings.append(Reading(at, flow, middle, middle - swing // 2, middle + swing - swing // 2))
        minute += length
    if len(readings) < 2:
        readings = [Reading(at, 0, -100, -130, -70) for at in (1, MINUTES)]
    minutes = draw(st.lists(st.integers(1, MINUTES - 1), max_size=most_said, unique=True))
    said = [draw(st.sampled_from(charted))(at) for at in sorted(minutes)]
    return Stay(tuple(readings), tuple(said), made_of="; ".join(made))


def healed(*, swing: int = 60, said: tuple[Said, ...] = ()) -> Stay:
    """Five hours of a leak of 120, an hour in which it fades, then none; breathing is seen, unless `swing` is 0."""
    noise = np.random.default_rng(3)
    readings = []
    for at in range(1, MINUTES + 1):
        middle = -100 + int(noise.integers(-5, 6))
        level = 120 if at <= 300 else 5 * round(max(0, 360 - at) * 120 / 60 / 5)  # a leak that stops at once is doubted
        flow = level + 5 * int(noise.integers(-1, 2)) if level > 10 else level
        readings.append(Reading(at, flow, middle, middle - swing // 2, middle + swing - swing // 2))
    amounts = ((200, "60"), (400, "40"), (650, "30"))
    usual = (*(Said(at, "fluid_output", value, "mL") for at, value in amounts), Said(640, "fluid_appearance", "serous"))
    return Stay(tuple(readings), tuple(sorted((*usual, *said), key=lambda s: s.minute)))
