"""A drain's files, from the record: what `slackwater record FOLDER` reads back to the same record."""

from __future__ import annotations

import json

from slackwater.assessment.document import stamp
from slackwater.store.course import Course
from slackwater.store.course_text import course_text
from slackwater.store.read_out import chart_bytes, episode_of
from slackwater.store.record import Record


def files_of(record: Record, course: Course) -> dict[str, bytes]:
    """File names and contents. Logs are the original bytes, each with its layout."""
    out = {"episode.toml": episode_text(course).encode()}
    if course.entries:
        out["chart.csv"] = chart_bytes(course, with_orders=False)
    for number, log in enumerate(course.logs, start=1):
        ending = ".txt" if log["name"].endswith(".txt") else ".csv"
        name = "log" if number == 1 else f"log-{number}"
        out[f"{name}{ending}"] = record.files.get(log["sha256"])
        out[f"{name}.layout.toml"] = record.files.get(log["layout"])
    serials = {unit.key: unit["serial"] for unit in record.things("unit")}
    course_file = course_text(course, serials)
    if course_file:
        out["course.toml"] = course_file.encode()
    if course.goal is not None and course.goal["protocol"] is not None:
        out["protocol.toml"] = record.files.get(course.goal["protocol"])
    for table in course.tables:
        out[f"{table['kind']}.parquet"] = record.files.get(table["sha256"])
    return out


def episode_text(course: Course) -> str:
    """The episode file: only what is known is written."""
    told = episode_of(course)
    tables: dict[str, dict[str, object]] = {
        "": {"indication": told.indication, "goal": told.goal, "breathing": told.breathing},
        "patient": {"id": told.patient_id, "age_years": told.age_years, "weight_kg": told.weight_kg},
        "drain": {
            "number": told.drain_number, "side": told.side, "space": told.space, "site": told.site,
            "size_fr": told.size_fr, "connected_at": stamp(told.connected_at),
            "shares_unit_with": list(told.shares_unit_with) or None,
            "shares_space_with": list(told.shares_space_with) if told.shares_space_told else None,
            "other_drains": list(told.other_drains) or None,
        },
        "operation": {"kind": told.operation_kind, "end": stamp(told.operation_end)},
    }  # fmt: skip
    parts = []
    for table, fields in tables.items():
        lines = [
            f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in fields.items() if value is not None
        ]
        if lines:
            parts.append("\n".join([*([f"[{table}]"] if table else []), *lines, ""]))
    return "\n".join(parts)
