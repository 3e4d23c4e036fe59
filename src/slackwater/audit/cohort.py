"""The cohort: past drains as Parquet in a folder or a bucket, one part a drain. Schema: docs/cohort.md."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
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


def close_cohort(at: Shelf, head: dict[str, Any]) -> Cohort:
    """Write the list of drains and the head; parts that are not whole are left out."""
    sheets = [json.loads(at.get(f"{part_of(drain)}/{SHEET}")) for drain in sorted(collected(at))]
    sheets.sort(key=lambda one: (one["about"]["order"], one["about"]["drain"]))
    rows = [
        {
            **one["about"],
            **{name: value for name, value in one["outcome"].items() if name != "holds"},
            "connected_ms": one["facts"]["connected_ms"], "data_until_ms": one["facts"]["data_until_ms"],
            "minutes": one["facts"]["length"], "step_ml_per_min": one["step_ml_per_min"],
        }
        for one in sheets
    ]  # fmt: skip
    out = io.BytesIO()
    polars.DataFrame(rows, infer_schema_length=None).write_parquet(out)
    at.put("drains.parquet", out.getvalue())
    whole = {"schema": SCHEMA, **head, "drains": [one["about"]["drain"] for one in sheets]}
    at.put(HEAD, json.dumps(whole, indent=1).encode())
    return Cohort(at, whole, tuple(whole["drains"]))


def open_cohort(place: str | Path) -> Cohort:
    """Raises UsageError where there is no cohort, or one that this program does not know."""
    at = shelf(place)
    try:
        head = json.loads(at.get(HEAD))
    except (OSError, ValueError) as error:
        raise UsageError("is no cohort", where=str(place), mend="Make one: slackwater audit collect.") from error
    if not isinstance(head, dict) or head.get("schema") != SCHEMA:
        raise UsageError("is a cohort that this program does not know", where=str(place), mend="Collect it anew.")
    return Cohort(at, head, tuple(head["drains"]))


def cases_of(cohort: Cohort) -> Iterator[Case]:
    """Every drain, in order."""
    for drain in cohort.drains:
        yield read_case(cohort.shelf, drain)
