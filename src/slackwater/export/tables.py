"""Minutes, chart, course and clauses as CSV or Parquet, with a sheet that says units, sources and cautions."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from slackwater import __version__
from slackwater.assessment.document import document, number, stamp
from slackwater.assessment.minute_table import minute_csv, minute_frame
from slackwater.episode.items import ITEMS
from slackwater.episode.values import UNIT_OF
from slackwater.export.bundle import sources
from slackwater.export.material import Material, Stretch
from slackwater.protocol.evaluation import Judged

if TYPE_CHECKING:
    import polars

ABOUT = "about.json"
FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet takes a text that begins so for a formula

UNITS: dict[str, dict[str, str]] = {
    "minutes": {
        "minute": "start of the minute, UTC", "flow_ml_per_min": "mL/min", "flow_max_ml_per_min": "mL/min",
        "pressure_cmh2o": "cm[H2O], suction negative", "swing_cmh2o": "cm[H2O]", "covered": "1, share of the minute",
        "state": "word", "reason": "word", "open_shown": "word", "p_leaking": "1, a chance",
        "leak_ml_per_min": "mL/min", "leak_low_ml_per_min": "mL/min", "leak_high_ml_per_min": "mL/min",
        "conductance_ml_per_min_per_cmh2o": "mL/min/cm[H2O]",
    },
    "chart": {
        "time": "UTC", "recorded": "UTC", "item": "word", "number": "by the column unit; suction negative",
        "unit": "text", "word": "word", "drain": "text", "conflict": "true or false", "as_written": "text",
        "note": "text", "by": "text", "line": "line of the chart file",
    },
    "course": {"what": "word", "kind": "text", "from": "UTC", "to": "UTC"},
    "clauses": {
        "block": "word", "id": "text", "status": "word", "low": "by the column unit", "high": "by the column unit",
        "unit": "text", "word": "word", "limit": "text, with its unit", "since": "UTC", "lasted_s": "s",
        "possibly_s": "s", "needed_s": "s", "needs": "text", "note": "text",
    },
}  # fmt: skip
"""The unit, or the kind, of every column."""


def files(of: Material, kind: str) -> dict[str, bytes]:
    """Each file by its name, which names nobody. kind: csv or parquet."""
    frames = {"chart": chart_frame(of), "clauses": clauses_frame(of)}
    if of.stretches is not None:
        frames["course"] = course_frame(of.stretches)
    if of.found.leak_trace is not None:
        frames = {"minutes": minute_frame(of.found), **frames}
    units = {name: {column: UNITS[name][column] for column in frame.columns} for name, frame in frames.items()}
    sheet = about(of, units)
    out: dict[str, bytes] = {}
    for name, frame in frames.items():
        if kind == "parquet":
            out[f"{name}.parquet"] = _parquet(frame, {**sheet, "units": {name: units[name]}})
        else:
            out[f"{name}.csv"] = (minute_csv(of.found) if name == "minutes" else _csv(frame)).encode()
    sheet["sha256"] = {name: hashlib.sha256(data).hexdigest() for name, data in out.items()}
    return {**out, ABOUT: (json.dumps(sheet, ensure_ascii=False, allow_nan=False, indent=2) + "\n").encode()}


def about(of: Material, units: dict[str, dict[str, str]]) -> dict[str, Any]:
    """What goes with the tables: moment, drain, rule, sources, units and every caution."""
    told = document(of.found)
    return {
        "made_by": f"slackwater {__version__}", "de_identified": of.de_identified,
        "shortened": of.shortened, "units": units,
        "missing": "an empty cell or a null was not recorded or cannot be told; it is never zero",
        **{key: told[key] for key in ("as_of", "data_until", "drain", "protocol", "overall", "warnings", "cautions")},
        "sources": [{"what": what, system: value} for what, system, value in sources(of)],
    }  # fmt: skip


def chart_frame(of: Material) -> polars.DataFrame:
    """What staff charted. A de-identified one has no free text."""
    import polars

    rows = [
        {
            "time": one.time, "recorded": one.recorded, "item": one.item,
            "number": one.value if isinstance(one.value, float) else None,
            "unit": UNIT_OF.get(ITEMS[one.item].dimension) if one.known and isinstance(one.value, float) else None,
            "word": one.value if isinstance(one.value, str) else None, "drain": one.drain, "conflict": one.conflict,
            "as_written": one.text or None, "note": one.note or None, "by": one.by or None, "line": one.line,
        }
        for one in of.found.chart.entries
    ]  # fmt: skip
    schema = {
        "time": polars.Int64, "recorded": polars.Int64, "item": polars.String, "number": polars.Float64,
        "unit": polars.String, "word": polars.String, "drain": polars.String, "conflict": polars.Boolean,
        "as_written": polars.String, "note": polars.String, "by": polars.String, "line": polars.Int64,
    }  # fmt: skip
    frame = polars.DataFrame(rows, schema=schema).with_columns(
        polars.col("time", "recorded").cast(polars.Datetime("ms", "UTC"))
    )
    return frame.drop("as_written", "note", "by", "line") if of.de_identified else frame


def course_frame(stretches: Sequence[Stretch]) -> polars.DataFrame:
    """Holds, trips, times at home, signals that staff entered, and canisters, as the record has them."""
    import polars

    rows = [{"what": one.what, "kind": one.kind, "from": one.from_ms, "to": one.to_ms} for one in stretches]
    schema = {"what": polars.String, "kind": polars.String, "from": polars.Int64, "to": polars.Int64}
    return polars.DataFrame(rows, schema=schema).with_columns(
        polars.col("from", "to").cast(polars.Datetime("ms", "UTC"))
    )


def clauses_frame(of: Material) -> polars.DataFrame:
    """Every clause and guard of the rule, with status, bounds and limit; no rows without a rule."""
    import polars

    judged = of.found.evaluation
    blocks = {} if judged is None else {
        "removal": judged.criteria, "guard": judged.guards, "step_down": judged.step_down,
        "escalation": judged.escalation,
    }  # fmt: skip
    rows = [_clause(block, part) for block, parts in blocks.items() for part in parts]
    schema = {
        name: polars.Float64 if name in ("low", "high") or name.endswith("_s")
        else polars.Int64 if name == "since" else polars.String
        for name in UNITS["clauses"]
    }  # fmt: skip
    return polars.DataFrame(rows, schema=schema).with_columns(polars.col("since").cast(polars.Datetime("ms", "UTC")))


def _clause(block: str, part: Judged) -> dict[str, Any]:
    value, run = part.value, part.run
    return {
        "block": block, "id": part.id, "status": part.status.word,
        "low": None if value is None else number(value.low), "high": None if value is None else number(value.high),
        "unit": None if value is None else value.unit or None, "word": None if value is None else value.word,
        "limit": None if part.clause is None else part.clause.limit_text or None, "since": part.since_ms,
        "lasted_s": None if run is None else number(run.seconds),
        "possibly_s": None if run is None else number(run.possible_seconds),
        "needed_s": None if run is None else number(run.needed_seconds),
        "needs": "; ".join(need.what for need in part.needs) or None, "note": part.note or None,
    }  # fmt: skip


def guarded(text: str) -> str:
    """A text that no spreadsheet runs: an apostrophe before what would begin a formula.

    >>> guarded("=1+1"), guarded("swing present")
    ("'=1+1", 'swing present')
    """
    return f"'{text}" if text.startswith(FORMULA) else text


def _csv(frame: polars.DataFrame) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(frame.columns)
    columns = [[_cell(value) for value in column] for column in _plain(frame)]
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def _plain(frame: polars.DataFrame) -> list[polars.Series]:
    """Columns with times as ISO 8601."""
    import polars

    return [
        polars.Series(column.name, [stamp(ms) for ms in column.dt.epoch("ms")], dtype=polars.Utf8)
        if isinstance(column.dtype, polars.Datetime)
        else column
        for column in frame.get_columns()
    ]


def _cell(value: str | float | int | bool | None) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return guarded(value)
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _parquet(frame: polars.DataFrame, sheet: dict[str, Any]) -> bytes:
    buffer = io.BytesIO()
    told = json.dumps(sheet, ensure_ascii=False, allow_nan=False)
    frame.write_parquet(buffer, compression="zstd", metadata={"slackwater": told})
    return buffer.getvalue()
