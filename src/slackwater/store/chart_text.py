"""The chart between its file and the record: every cell is kept as written; times become instants."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

from slackwater.assessment.document import stamp
from slackwater.episode.chart import read_chart
from slackwater.episode.instants import read_instant, read_zone
from slackwater.episode.plain_text import plain_text
from slackwater.episode.table import COLUMNS, rows_of
from slackwater.episode.types import Chart
from slackwater.errors import ChartError
from slackwater.store.acts import key_of
from slackwater.store.nouns import Value

_SAID = ("drain", "item", "value", "unit", "note", "time_ms", "written_ms", "written_by")


def entries_of(data: bytes, name: str, zone: str | None) -> tuple[Chart, list[dict[str, Value]]]:
    """The chart read, and its rows as fields of entries, without whose they are.

    A row that names no drain stays so: whose it is depends on the drains that are known when it is read. Raises
    ChartError as `read_chart` does: nothing of a chart with a fault is taken.
    """
    chart = read_chart(data, name, zone)
    in_zone = read_zone(zone) if zone is not None else None
    by_line = {entry.line: entry for entry in chart.entries + chart.repeats}
    found: list[dict[str, Value]] = []
    for line, cells in rows_of(plain_text(data, name, ChartError), name):
        entry = by_line[line]
        written = cells.get("recorded", "")
        found.append(
            {
                "drain": entry.drain,
                "item": entry.written or entry.item,
                "value": cells["value"] or None,
                "unit": cells["unit"] or None,
                "note": cells["note"] or None,
                "time_ms": entry.time,
                "written_ms": read_instant(written, in_zone) if written else None,
                "written_by": entry.by or None,
                "source": chart.sha256,
                "line": line,
            }
        )
    return chart, found


def entry_key(episode: str, fields: Mapping[str, Value]) -> str:
    """The same words about the same moment are the same entry, whichever file they come from."""
    return key_of("entry", episode, *(_plain(fields.get(name)) for name in _SAID))


def _plain(value: Value) -> str | None:
    return None if value is None else str(value)


def chart_csv(entries: Iterable[Mapping[str, Any]], orders: Iterable[Mapping[str, Any]] = ()) -> str:
    """Entries as a chart file, in an order that depends on what they say alone; times in UTC.

    Orders for suction come after them, so that an entry stands in the same line with and without them.
    """
    out = io.StringIO()
    plain, quoted = (csv.writer(out, lineterminator="\n", quoting=how) for how in (csv.QUOTE_MINIMAL, csv.QUOTE_ALL))
    plain.writerow(COLUMNS)
    for row in [*sorted(map(_cells, entries)), *sorted(map(_order_cells, orders))]:
        (quoted if any("\r" in cell for cell in row) else plain).writerow(row)  # a lone CR ends no row of ours
    return out.getvalue()


def _cells(entry: Mapping[str, Any]) -> tuple[str, ...]:
    words = [entry[name] or "" for name in ("item", "value", "unit", "note", "drain")]
    return (stamp(entry["time_ms"]) or "", *words, stamp(entry["written_ms"]) or "", entry["written_by"] or "")


def _order_cells(order: Mapping[str, Any]) -> tuple[str, ...]:
    level, unit = order["level"], order["unit"] or ""
    return (
        stamp(order["from_ms"]) or "",
        "suction_ordered",
        level,
        unit,
        order["reason"] or "",
        order["drain"],
        "",
        "",
    )
