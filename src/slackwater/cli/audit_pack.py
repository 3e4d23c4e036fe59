"""From the options of `audit report` to what the core takes, and from the pack to its files."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars

from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes, write_whole
from slackwater.cli.inputs import read_protocol
from slackwater.cli.instants import ward_zone
from slackwater.errors import ProtocolError, UsageError

if TYPE_CHECKING:
    from slackwater.audit.change import Named
    from slackwater.audit.cohort import Cohort
    from slackwater.audit.engines import Failed
    from slackwater.audit.measures import Asked, Measured
    from slackwater.audit.pack import Pack
    from slackwater.audit.rules import ByRule

PINNED = "pinned"  # each drain by its own rule
HOLDS_ONE_DRAIN = (
    "drains.csv holds one row a drain: it is for the house that made it, to look into a figure, and is no part of what "
    "may be passed on."
)


def by_rule(cohort: Cohort, name: str | None) -> ByRule:
    """The rule given, or of each drain the one pinned to it, as the cohort keeps it. Raises where there is none."""
    from slackwater.audit.rules import ByRule, pinned

    if name is not None and name != PINNED:
        return ByRule(read_protocol(name))
    known = pinned(cohort.shelf, drains_frame(cohort)["protocol_sha256"].drop_nulls().to_list())
    if not known:
        what = "which rule is meant is not said: no rule was pinned to a drain of this cohort, or none is known here"
        raise UsageError(what, where=cohort.shelf.says, mend="Give --protocol our-rule.toml.")
    return ByRule(pinned=known)


def asked_of(cohort: Cohort, by: ByRule, limit: float | None, days: str, within: float | None) -> Asked:
    """Raises ProtocolError where no limit is given and the rule names none."""
    from slackwater.audit.lasting import LeakAsked
    from slackwater.audit.measures import Asked

    limits = [rule.air_clause.limit for rule in by.rules if rule.air_clause is not None]
    told = [one for one in limits if one is not None]
    if limit is None and len(set(told)) != 1:
        what = f"what counts as a leak is not said: the rules name {len(set(told))} limits"
        raise ProtocolError(what, where="audit report", mend="Give --leak-limit, mL/min.")
    try:
        asked = [int(one) for one in days.split(",")]
    except ValueError:
        asked = [0]
    if any(not 1 <= one <= 60 for one in asked):
        raise UsageError(f"{days!r} are no days", where="--leak-days", mend="Write whole days with commas: 5,7.")
    zone = ward_zone("UTC" if cohort.de_identified else str(cohort.head["zone"]))
    return Asked(zone, tuple(LeakAsked(limit if limit is not None else told[0], one) for one in asked), within)


def change_of(text: str | None, cohort: Cohort) -> Named | None:
    """'night round=31' or, where dates were kept, 'night round=2041-06-01'."""
    from slackwater.audit.change import Named

    if text is None:
        return None
    name, _, first = text.rpartition("=")
    table = drains_frame(cohort)
    last = int(table["order"].max() or 0)  # type: ignore[arg-type]
    if name and first.isascii() and first.isdecimal():
        return _between(Named(name, int(first[:9])), last)
    try:
        day = datetime.fromisoformat(first)
    except ValueError:
        day = None
    if not name or day is None or cohort.de_identified:
        mend = "Write NAME=NUMBER of the first drain after it" + (
            "." if cohort.de_identified else ", or NAME=2041-06-01."
        )
        raise UsageError(f"{text!r} names no change", where="--change", mend=mend)
    zone = ward_zone(str(cohort.head["zone"]))
    at = round(day.replace(tzinfo=day.tzinfo or zone).timestamp() * 1000)
    later = table.filter(polars.col("connected_ms") >= at)["order"]
    return _between(Named(name, int(later.min()) if len(later) else last + 1), last)  # type: ignore[arg-type]


def _between(change: Named, last: int) -> Named:
    if 1 < change.first <= last:
        return change
    raise UsageError(
        f"{change.name!r} has no drain before it or none after it", where="--change",
        mend=f"The drains are 1 to {last} in order of connection: name one of 2 to {last}, or its date.",
    )  # fmt: skip


def risks_of(path: str | None) -> dict[str, float] | None:
    if path is None:
        return None
    found = {}
    rows = csv.DictReader(io.StringIO(read_bytes(path, LARGEST_TEXT).decode("utf-8-sig", "replace")))
    for line, row in enumerate(rows, start=2):
        try:
            risk = float(row["risk"])
            drain = row["drain"]
        except (KeyError, TypeError, ValueError):
            risk, drain = math.nan, ""
        if not 0.0 <= risk <= 1.0 or not drain:
            what = f"line {line} is not a drain and a risk from 0 to 1"
            raise UsageError(what, where=name_of(path), mend="Columns: drain (as in the cohort), risk.")
        found[drain] = risk
    return found


def drains_frame(cohort: Cohort) -> polars.DataFrame:
    """One row a drain, as the cohort keeps it."""
    try:
        return polars.read_parquet(io.BytesIO(cohort.shelf.get("drains.parquet")))
    except (OSError, polars.exceptions.PolarsError) as error:
        raise UsageError(
            f"drains.parquet cannot be read: {error}", where=cohort.shelf.says, mend="Collect anew."
        ) from error


def write_pack(
    where: Path, said: Mapping[str, Any], told: Pack, found: Sequence[Measured | Failed], asked: Asked
) -> list[Path]:
    """page.html, definitions, figures.csv and drains.csv, each with a sidecar; all made before one is written."""
    from slackwater.audit.measures import Measured
    from slackwater.audit.pack_tables import COLUMNS, drains_table, figures_table, forecasts_table
    from slackwater.report.audit_page import audit_page, definitions_page

    drains = drains_table([one for one in found if isinstance(one, Measured)], asked)
    lines = [f"{one['name']}\n    {one['text']}\n" for one in said["definitions"]]
    files = {
        "page.html": audit_page(said), "definitions.html": definitions_page(said), "definitions.txt": "\n".join(lines),
        "figures.csv": _csv(figures_table(told)), "drains.csv": _csv(drains),
        "forecasts.csv": _csv(forecasts_table(told)), "forecasts.csv.json": _sidecar(said, COLUMNS["forecasts"], ""),
        "figures.csv.json": _sidecar(said, COLUMNS["figures"], ""),
        "drains.csv.json": _sidecar(said, COLUMNS["drains"], HOLDS_ONE_DRAIN),
    }  # fmt: skip
    try:
        where.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"cannot be made: {error.strerror}", where=str(where), mend="Name another folder.") from error
    for name, content in files.items():
        write_whole(str(where / name), content.encode())
    return [where / name for name in files]


def _csv(frame: polars.DataFrame) -> str:
    """No text of it runs as a formula: wards and operations are words that somebody typed."""
    from slackwater.export.tables import guarded

    return frame.with_columns(polars.col(polars.String).map_elements(guarded, polars.String)).write_csv()


def _sidecar(said: Mapping[str, Any], columns: Mapping[str, str], more: str) -> str:
    """Units and cautions of a table that itself has room for neither."""
    cautions = [one["text"] for one in said["cautions"]] + ([more] if more else [])
    whole = {
        "columns": dict(columns), "empty": "not known, cannot be told, or kept back; never zero", "cautions": cautions,
        "judged_by": said["judged_by"], "looking_back": said["looking_back"], "version": said["version"],
    }  # fmt: skip
    return json.dumps(whole, indent=2) + "\n"
