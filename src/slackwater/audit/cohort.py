"""The cohort: past drains as Parquet in a folder or a bucket, one part a drain. Schema: docs/cohort.md."""

from __future__ import annotations

import io
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars

from slackwater.audit.case import Case
from slackwater.audit.shelf import Shelf, shelf
from slackwater.audit.tables import case_from, fluid_table, minutes_table, moments_table, sheet_of
from slackwater.errors import UsageError

SCHEMA = "slackwater-cohort-1"
SHEET, HEAD = "drain.json", "cohort.json"
PARTS = ("minutes", "moments", "fluid")
NAME = re.compile("[0-9A-Za-z_-]{1,64}")  # a name from elsewhere must not lead out of the cohort


@dataclass(frozen=True)
class Cohort:
    """A part for each drain. `drains`: pseudonyms, by time of connection."""

    shelf: Shelf
    head: dict[str, Any]
    drains: tuple[str, ...]

    @property
    def de_identified(self) -> bool:
        return bool(self.head["de_identified"])


def part_of(drain: str) -> str:
    """Where a drain lies: partitioned by `drain`, as readers of partitioned Parquet know it."""
    return f"drain={drain}"


def write_case(at: Shelf, case: Case, by_ms: int = 0, more: dict[str, polars.DataFrame] | None = None) -> None:
    """A drain's part; it counts once its sheet is there, which is written last. `more`: further tables by name."""
    part = part_of(case.about.drain)
    at.remove(f"{part}/{SHEET}")
    tables = {
        "minutes": minutes_table(case, by_ms), "moments": moments_table(case, by_ms),
        "fluid": fluid_table(case, by_ms), **(more or {}),
    }  # fmt: skip
    for name, table in tables.items():
        out = io.BytesIO()
        table.write_parquet(out, compression="zstd", statistics=False)
        at.put(f"{part}/{name}.parquet", out.getvalue())
    at.put(f"{part}/{SHEET}", json.dumps(sheet_of(case, by_ms), sort_keys=True).encode())


def read_case(at: Shelf, drain: str) -> Case:
    """One drain of the cohort. Raises UsageError where its part cannot be read."""
    part = part_of(drain)
    try:
        sheet = json.loads(at.get(f"{part}/{SHEET}"))
        minutes, moments, fluid = (polars.read_parquet(io.BytesIO(at.get(f"{part}/{name}.parquet"))) for name in PARTS)
    except (OSError, ValueError, polars.exceptions.PolarsError) as error:
        what = f"cannot be read: {error}"
        raise UsageError(what, where=f"{at.says}/{part}", mend="Remove it and collect again.") from error
    return case_from(sheet, minutes, moments, fluid)


def collected(at: Shelf) -> frozenset[str]:
    """Drains that were collected to their end."""
    head, tail = part_of(""), f"/{SHEET}"
    whole = [name for name in at.names() if name.startswith(head) and name.endswith(tail)]
    return frozenset(name.removeprefix(head).removesuffix(tail) for name in whole)


def begin_cohort(at: Shelf, kind: dict[str, Any]) -> None:
    """Say of what kind it will be before the first drain. `kind`: whether it is de-identified, and what tells its key.

    Raises UsageError for a cohort of another kind: its drains are left as they are, so dates would stay in what calls
    itself de-identified, and with another key every drain would stand twice.
    """
    try:
        head = _head_of(at)
    except OSError:
        if collected(at):
            what = "holds drains and does not say of what kind they are"
            raise UsageError(what, where=at.says, mend="Name a new folder.") from None
        at.put(HEAD, json.dumps({"schema": SCHEMA, **kind, "unfinished": True, "drains": []}, indent=1).encode())
        return
    if head["de_identified"] != kind["de_identified"]:
        there = "is de-identified" if head["de_identified"] else "keeps its dates and ward names"
        raise UsageError(f"{there}: it cannot be both", where=at.says, mend="Name a new folder.")
    if head.get("key", kind["key"]) != kind["key"]:
        what = "was made with another key: each drain would stand in it twice"
        raise UsageError(what, where=at.says, mend="Give that key (--key), or name a new folder.")


def close_cohort(at: Shelf, head: dict[str, Any]) -> Cohort:
    """Write the list of drains and the head; parts that are not whole are left out."""
    rows = [_row_of(at, drain) for drain in sorted(collected(at))]
    rows.sort(key=lambda one: (one["order"], one["drain"]))
    out = io.BytesIO()
    polars.DataFrame(rows, infer_schema_length=None).write_parquet(out)
    at.put("drains.parquet", out.getvalue())
    whole = {"schema": SCHEMA, **head, "drains": [one["drain"] for one in rows]}
    at.put(HEAD, json.dumps(whole, indent=1).encode())
    return Cohort(at, whole, tuple(whole["drains"]))


def _row_of(at: Shelf, drain: str) -> dict[str, Any]:
    """A drain's row in drains.parquet, of its sheet."""
    part = part_of(drain)
    try:
        one = json.loads(at.get(f"{part}/{SHEET}"))
        return {
            **one["about"], "drain": drain, "order": int(one["about"]["order"]),
            **{name: value for name, value in one["outcome"].items() if name != "holds"},
            "connected_ms": one["facts"]["connected_ms"], "data_until_ms": one["facts"]["data_until_ms"],
            "minutes": one["facts"]["length"], "step_ml_per_min": one["step_ml_per_min"],
        }  # fmt: skip
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        what = f"cannot be read: {type(error).__name__}"
        raise UsageError(what, where=f"{at.says}/{part}", mend="Remove it and collect again.") from error


def open_cohort(place: str | Path) -> Cohort:
    """Raises UsageError where there is no cohort, or one that this program does not know."""
    at = shelf(place)
    try:
        head = _head_of(at)
    except OSError as error:
        raise UsageError("is no cohort", where=str(place), mend="Make one: slackwater audit collect.") from error
    if head.get("unfinished"):
        raise UsageError("was not collected to its end", where=str(place), mend="Collect again: it goes on.")
    return Cohort(at, head, tuple(head["drains"]))


def _head_of(at: Shelf) -> dict[str, Any]:
    """Raises OSError where there is none, UsageError for one that this program does not know."""
    try:
        head = json.loads(at.get(HEAD))
    except ValueError as error:
        raise UsageError("is no cohort", where=at.says, mend="Make one: slackwater audit collect.") from error
    known = isinstance(head, dict) and head.get("schema") == SCHEMA and isinstance(head.get("de_identified"), bool)
    drains = head.get("drains") if known else None
    if not isinstance(drains, list) or not all(isinstance(x, str) and NAME.fullmatch(x) for x in drains):
        raise UsageError("is a cohort that this program does not know", where=at.says, mend="Collect it anew.")
    return dict(head)
