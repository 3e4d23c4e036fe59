"""Small logs and layouts for tests, typed as a unit's export would be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from slackwater.reading.layout import Layout
from slackwater.reading.log import NONE, Ints, Log
from slackwater.reading.read import read_log

HEADER = "time,Flow,Vac"
T = "2033-09-13T15:{:02d}:{:02d}Z"
PLAIN: dict[str, dict[str, Any]] = {
    "log": {"separator": ",", "decimal": "."},
    "time": {"columns": ["time"], "format": "iso", "marks": "end"},
    "flow": {"column": "Flow", "unit": "mL/min", "statistic": "mean"},
    "pressure": {"column": "Vac", "unit": "cmH2O", "suction_is": "negative"},
}
GONE = object()  # as a value: the key is left out


def layout(changes: Mapping[str, Any] | None = None, **tables: dict[str, Any] | None) -> Layout:
    """The plain layout with dotted `changes` ("flow.unit": "L/min") and whole `tables` (None: left out)."""
    built: dict[str, Any] = {table: dict(keys) for table, keys in PLAIN.items()}
    for table, keys in tables.items():
        if keys is None:
            built.pop(table, None)
        else:
            built[table] = keys
    for dotted, value in (changes or {}).items():
        table, _, key = dotted.partition(".")
        if value is GONE:
            built[table].pop(key, None)
        else:
            built.setdefault(table, {})[key] = value
    return Layout.from_tables(built, "unit.toml")


def rows(*cells: str, header: str = HEADER) -> str:
    """A log of one row a second from 15:19:00 UTC; each of `cells` is what follows the stamp."""
    return header + "\n" + "".join(T.format(19 + n // 60, n % 60) + "," + cell + "\n" for n, cell in enumerate(cells))


def read(text: str | bytes, how: Layout | None = None, refuse_above: float = 0.05) -> Log:
    data = text.encode() if isinstance(text, str) else text
    return read_log(data, how or layout(), "log.csv", refuse_above)


def shown(channel: Ints | None) -> list[float | None]:
    """A channel in its printed unit: thousandths undone, None where there is no value."""
    assert channel is not None
    return [None if value == NONE else value / 1000 for value in channel.tolist()]


def whole(channel: Ints | None) -> list[int | None]:
    assert channel is not None
    return [None if value == NONE else value for value in channel.tolist()]
