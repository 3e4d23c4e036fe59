"""A layout: how one kind of log is to be read, declared once and picked by name."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from slackwater.errors import LayoutError
from slackwater.quantities import parse_quantity, parse_span, unit
from slackwater.reading.keys import TABLES, check_keys, check_open
from slackwater.reading.log import STATES
from slackwater.reading.stamps import NUMERIC_FORMATS, StampFormat, stamp_format
from slackwater.reading.toml_text import toml_text
from slackwater.reading.zones import Zone, zone

MICRO = 1000  # a flow is kept in thousandths of mL/min, a pressure in thousandths of cmH2O


@dataclass(frozen=True)
class FileShape:
    """[log]: how the bytes fall into lines and cells."""

    separator: str
    decimal: str
    encoding: str = "utf-8"
    skip_lines: int = 0
    units_line: bool = False
    quote: str = '"'
    missing: tuple[str, ...] = ("",)


@dataclass(frozen=True)
class TimeColumns:
    """[time]: which columns hold the stamp, how it is written, and what it marks."""

    columns: tuple[str, ...]
    format: str
    marks: str
    zone: str = ""  # empty where the stamps carry an offset
    start: str = ""  # for elapsed_s
    every: str = ""  # empty: the usual step is found and reported

    @property
    def every_ms(self) -> int | None:
        return round(parse_span(self.every) * 1000) if self.every else None


@dataclass(frozen=True)
class FlowColumns:
    """[flow]: the air flow, its unit, and what its display can tell apart."""

    column: str
    unit: str
    statistic: str
    step: str = ""
    rounding: str = "unknown"  # the widest cell
    max_column: str = ""
    ceiling: str = ""

    @property
    def step_ul_per_min(self) -> int | None:
        return _thousandths(self.step, "flow")

    @property
    def ceiling_ul_per_min(self) -> int | None:
        return _thousandths(self.ceiling, "flow")


@dataclass(frozen=True)
class PressureColumns:
    """[pressure]: the pressure in the system and the sign that suction has in this log."""

    column: str
    unit: str
    suction_is: str
    min_column: str = ""
    max_column: str = ""
    step: str = ""


@dataclass(frozen=True)
class SetSuctionColumn:
    """[set_suction]: the ordered suction. Unit and sign are [pressure]'s where not said."""

    column: str
    unit: str = ""
    suction_is: str = ""


@dataclass(frozen=True)
class PlainColumn:
    """[battery], [fluid], [serial]: a column and its unit (serial has none)."""

    column: str
    unit: str = ""


@dataclass(frozen=True)
class MainsColumn:
    """[mains]: the words that say 'on mains' and 'on battery'."""

    column: str
    yes: tuple[str, ...]
    no: tuple[str, ...]


@dataclass(frozen=True)
class StateColumn:
    """[state]: the unit's own words, and what each means (one of `STATES`)."""

    column: str
    words: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Layout:
    """How a log is to be read. Nothing in it is guessed: `unconfirmed` names what nobody has settled.

    An open key that has no value yet is empty text.
    """

    name: str
    log: FileShape
    time: TimeColumns
    flow: FlowColumns
    pressure: PressureColumns | None = None
    set_suction: SetSuctionColumn | None = None
    battery: PlainColumn | None = None
    mains: MainsColumn | None = None
    fluid: PlainColumn | None = None
    state: StateColumn | None = None
    serial: PlainColumn | None = None
    unconfirmed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # said with every log read by it; not part of the file

    @classmethod
    def from_toml(cls, text: str, name: str) -> Layout:
        """Read a layout file; `name` is said in every error.

        >>> Layout.from_toml('[flow]', "mine.toml")
        Traceback (most recent call last):
        ...
        slackwater.errors.LayoutError: mine.toml: the table [log] is missing. Write [log] with separator = ";", \
decimal = ".".
        """
        try:
            tables = tomllib.loads(text.removeprefix("\ufeff"))
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            raise LayoutError(
                f"not TOML: {error}", where=name, mend='Write key = "value" under [tables], each key once.'
            ) from None
        return cls.from_tables(tables, name)

    @classmethod
    def from_tables(cls, tables: Mapping[str, Any], name: str, notes: tuple[str, ...] = ()) -> Layout:
        """A layout from its tables as TOML gives them; the same checks as a file."""
        unconfirmed = check_open(tables.get("unconfirmed", []), name)
        check_keys(tables, name, unconfirmed)
        layout = _built(tables, name, unconfirmed, notes)
        _check_together(layout)
        return layout

    def as_tables(self) -> dict[str, Any]:
        """The layout as plain tables, in the order of the file; keys without a value are left out."""
        tables: dict[str, Any] = {"unconfirmed": list(self.unconfirmed)}
        for table, known in TABLES.items():
            part = getattr(self, table)
            if part is None:
                continue
            values = {key: _plain(getattr(part, key)) for key in known if hasattr(part, key)}
            tables[table] = {key: value for key, value in values.items() if _said(table, key, value)}
        return tables

    def to_toml(self) -> str:
        """The layout as a file that `from_toml` reads back as the same layout."""
        return toml_text(self.as_tables())

    @property
    def stamps(self) -> StampFormat | None:
        """How a stamp's text is read; None where time is a plain number."""
        return None if self.time.format in NUMERIC_FORMATS else stamp_format(self.time.format)

    @property
    def zone(self) -> Zone | None:
        """The zone of stamps without an offset; None if the layout names none."""
        return zone(self.time.zone) if self.time.zone else None

    def columns(self) -> dict[str, str]:
        """Each named column by its dotted key, e.g. {'flow.column': 'Flow'}; stamps first."""
        named = {f"time.columns {n + 1}": column for n, column in enumerate(self.time.columns)}
        for table in list(TABLES)[2:]:
            part = getattr(self, table)
            for key in ("column", "max_column", "min_column"):
                column: str = getattr(part, key, "")
                if column:
                    named[f"{table}.{key}"] = column
        return named


def _built(tables: Mapping[str, Any], name: str, unconfirmed: tuple[str, ...], notes: tuple[str, ...]) -> Layout:
    def part(table: str, **more: Any) -> dict[str, Any]:
        given = {key: _frozen(value, TABLES[table][key].kind) for key, value in tables.get(table, {}).items()}
        unset = {key: _unset(what.kind) for key, what in TABLES[table].items() if what.required}
        return {**unset, **given, **more}

    def maybe(table: str, kind: Any) -> Any:
        return kind(**part(table)) if table in tables else None

    return Layout(
        name=name,
        log=FileShape(**part("log")),
        time=TimeColumns(**part("time")),
        flow=FlowColumns(**part("flow")),
        pressure=maybe("pressure", PressureColumns),
        set_suction=maybe("set_suction", SetSuctionColumn),
        battery=maybe("battery", PlainColumn),
        mains=maybe("mains", MainsColumn),
        fluid=maybe("fluid", PlainColumn),
        state=maybe("state", StateColumn),
        serial=maybe("serial", PlainColumn),
        unconfirmed=unconfirmed,
        notes=notes,
    )


def _frozen(value: Any, kind: str) -> Any:
    if kind == "texts":
        return (value,) if isinstance(value, str) else tuple(value)
    if kind == "words":
        return tuple((str(word), meaning) for word, meaning in value.items())
    return value


def _unset(kind: str) -> Any:
    return () if kind in ("texts", "words") else ""


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return dict(value) if value and isinstance(value[0], tuple) else list(value)
    return value


def _said(table: str, key: str, value: Any) -> bool:
    if (table, key) in (("log", "quote"), ("log", "missing")):  # empty is an answer here
        return True
    return bool(value not in ("", []))


def _thousandths(amount: str, dimension: str) -> int | None:
    return round(parse_quantity(amount, dimension).value * MICRO) if amount else None


def thousandths_per(unit_name: str, dimension: str) -> Fraction:
    """How many stored integers one of this unit holds, exactly: 1 mL/min is 1000 µL/min."""
    return unit(unit_name, dimension).factor * MICRO


def _check_together(layout: Layout) -> None:
    """What no single key can show: settings that contradict one another."""
    name, shape = layout.name, layout.log
    if shape.quote and shape.quote in (shape.separator, shape.decimal):
        raise LayoutError("log.quote is also the separator or decimal mark", where=name, mend="Write quote = '\"'.")
    if len(layout.time.columns) > 4 or ("time.columns" not in layout.unconfirmed and not layout.time.columns):
        raise LayoutError(
            "names no stamp column, or over four", where=f"{name}, time.columns", mend='Write e.g. ["time"].'
        )
    for key, column in layout.columns().items():
        if not column.strip() or column != column.strip():
            raise LayoutError(
                f"the column name {column!r} is empty or has spaces at its ends",
                where=f"{name}, {key}",
                mend="Write the header's name without them.",
            )
    _check_columns_differ(layout)
    _check_time(layout)
    if layout.set_suction is not None:
        for key in ("unit", "suction_is"):
            open_ = f"set_suction.{key}" in layout.unconfirmed
            if not getattr(layout.set_suction, key) and layout.pressure is None and not open_:
                raise LayoutError(
                    f"set_suction.{key} is missing; it has no default where there is no [pressure]",
                    where=name,
                    mend=f"Write it, e.g. {key} = {TABLES['set_suction'][key].example}.",
                )
    _check_words(layout)


def _check_columns_differ(layout: Layout) -> None:
    seen: dict[str, str] = {}
    for key, column in layout.columns().items():
        if column in seen:
            raise LayoutError(
                f"{seen[column].split()[0]} and {key.split()[0]} both name the column {column!r}",
                where=layout.name,
                mend="Give each its own column.",
            )
        seen[column] = key


def _check_time(layout: Layout) -> None:
    name, time = layout.name, layout.time
    if not time.format:
        return  # open; check_keys saw to it that it is listed
    if time.zone:
        zone(time.zone, where=f"{name}, time.zone")
    if time.format in NUMERIC_FORMATS:
        if len(time.columns) > 1:
            raise LayoutError(
                f"{time.format} is one number, but time.columns names {len(time.columns)}",
                where=f"{name}, time.columns",
                mend="Name the one column that holds it.",
            )
        if time.format != "elapsed_s":
            return
        if not time.start and "time.start" not in layout.unconfirmed:
            raise LayoutError(
                "time.start is missing, and elapsed_s counts from it",
                where=name,
                mend='Write e.g. start = "2033-09-13T15:19:00".',
            )
        if time.start:
            start_ms(layout)
        return
    form = stamp_format(time.format, where=f"{name}, time.format")
    if not form.may_carry_offset and not time.zone and "time.zone" not in layout.unconfirmed:
        raise LayoutError(
            "time.zone is missing, and these stamps carry no offset",
            where=name,
            mend='Write e.g. zone = "Europe/Vienna", "UTC" or "+02:00".',
        )


def start_ms(layout: Layout) -> int:
    """The instant from which elapsed seconds count, UTC ms."""
    where = f"{layout.name}, time.start"
    stamp = stamp_format("iso").read(layout.time.start)
    if isinstance(stamp, str):
        raise LayoutError(stamp, where=where, mend='Write e.g. "2033-09-13T15:19:00".')
    if stamp.utc:
        return stamp.ms
    if not layout.time.zone:
        if "time.zone" in layout.unconfirmed:
            return stamp.ms
        raise LayoutError(
            "time.zone is missing, and time.start carries no offset",
            where=layout.name,
            mend='Write e.g. zone = "Europe/Vienna", or give start an offset.',
        )
    return zone(layout.time.zone).instant(stamp.ms, where)


def _check_words(layout: Layout) -> None:
    if layout.state is not None:
        for word, meaning in layout.state.words:
            if meaning not in STATES:
                raise LayoutError(
                    f"{word!r} is said to mean {meaning[:20]!r}, which is no state",
                    where=f"{layout.name}, state.words",
                    mend=f"Write one of: {', '.join(STATES)}.",
                )
    if layout.mains is not None:
        both = set(layout.mains.yes) & set(layout.mains.no)
        if both:
            raise LayoutError(
                f"{sorted(both)[0]!r} is both yes and no", where=f"{layout.name}, mains", mend="Keep it in one of them."
            )
