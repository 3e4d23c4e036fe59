"""The cohort: past drains as a folder of Parquet, one part a drain. Schema: docs/cohort.md."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars

from slackwater.audit.case import Case
from slackwater.audit.tables import case_from, fluid_table, minutes_table, moments_table, sheet_of
from slackwater.errors import UsageError

SCHEMA = "slackwater-cohort-1"
SHEET, HEAD = "drain.json", "cohort.json"
PARTS = ("minutes", "moments", "fluid")


@dataclass(frozen=True)
class Cohort:
    """A folder with a part for each drain. `drains`: pseudonyms, by time of connection."""

    folder: Path
    head: dict[str, Any]
    drains: tuple[str, ...]

    @property
    def de_identified(self) -> bool:
        return bool(self.head["de_identified"])


def part_of(folder: Path, drain: str) -> Path:
    """Where a drain lies: partitioned by `drain`, as readers of partitioned Parquet know it."""
    return folder / f"drain={drain}"


def write_case(folder: Path, case: Case, by_ms: int = 0, more: dict[str, polars.DataFrame] | None = None) -> None:
    """A drain's part; it counts once its sheet is there, which is written last. `more`: further tables by name."""
    part = part_of(folder, case.about.drain)
    part.mkdir(parents=True, exist_ok=True)
    (part / SHEET).unlink(missing_ok=True)
    tables = {
        "minutes": minutes_table(case, by_ms), "moments": moments_table(case, by_ms),
        "fluid": fluid_table(case, by_ms), **(more or {}),
    }  # fmt: skip
    for name, table in tables.items():
        table.write_parquet(part / f"{name}.parquet", compression="zstd", statistics=False)
    _put(part / SHEET, json.dumps(sheet_of(case, by_ms), sort_keys=True).encode())


def read_case(folder: Path, drain: str) -> Case:
    """One drain of the cohort. Raises UsageError where its part cannot be read."""
    part = part_of(folder, drain)
    try:
        sheet = json.loads((part / SHEET).read_bytes())
        minutes, moments, fluid = (polars.read_parquet(part / f"{name}.parquet") for name in PARTS)
    except (OSError, ValueError, polars.exceptions.PolarsError) as error:
        what = f"cannot be read: {error}"
        raise UsageError(what, where=str(part), mend="Remove its folder and collect again.") from error
    return case_from(sheet, minutes, moments, fluid)


def is_whole(folder: Path, drain: str) -> bool:
    """Whether this drain was collected to its end."""
    return (part_of(folder, drain) / SHEET).is_file()


def close_cohort(folder: Path, head: dict[str, Any]) -> Cohort:
    """Write the list of drains and the head; parts that are not whole are left out, and counted."""
    sheets = [json.loads(path.read_bytes()) for path in sorted(folder.glob(f"drain=*/{SHEET}"))]
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
    _put(folder / "drains.parquet", out.getvalue())
    whole = {"schema": SCHEMA, **head, "drains": [one["about"]["drain"] for one in sheets]}
    _put(folder / HEAD, json.dumps(whole, indent=1).encode())
    return Cohort(folder, whole, tuple(whole["drains"]))


def open_cohort(place: str | Path) -> Cohort:
    """Raises UsageError where the folder is no cohort, or one that this program does not know."""
    folder = Path(place)
    try:
        head = json.loads((folder / HEAD).read_bytes())
    except (OSError, ValueError) as error:
        raise UsageError("is no cohort", where=str(place), mend="Make one: slackwater audit collect.") from error
    if not isinstance(head, dict) or head.get("schema") != SCHEMA:
        raise UsageError("is a cohort that this program does not know", where=str(place), mend="Collect it anew.")
    return Cohort(folder, head, tuple(head["drains"]))


def cases_of(cohort: Cohort) -> Iterator[Case]:
    """Every drain, in order."""
    for drain in cohort.drains:
        yield read_case(cohort.folder, drain)


def _put(path: Path, content: bytes) -> None:
    """All of it or nothing of it under this name."""
    part = path.with_suffix(path.suffix + ".part")
    part.write_bytes(content)
    part.replace(path)
