"""Commands about the record as the tests call them: what they print, held against the published schema."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema

from end_to_end import a_ward_folder as ward
from end_to_end.the_command import Ran, called

KINDS = ("record", "list", "show", "export", "backup", "restore", "verify")


def ok(*words: str, folder: Path) -> Ran:
    """A call that ran."""
    ran = called(*words, folder=folder)
    assert ran.code in (0, 3), ran.err
    assert ran.err == ""
    return ran


def told(*words: str, folder: Path) -> dict[str, Any]:
    """What a call prints with --json, held against the published schema of its command."""
    found: dict[str, Any] = json.loads(ok(*words, "--json", folder=folder).out)
    kind = next((word for word in words if word in KINDS and word != "record"), "record")
    jsonschema.validate(found, {**record_schema(), "$ref": f"#/$defs/{kind}"}, format_checker=None)
    return found


def record_schema() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((files("slackwater.cli.view") / "record.schema.json").read_text("utf-8"))
    return found


def drain_folder(to: Path, patient: str = "INV-1", course: str = "") -> Path:
    """The small invented drain as a folder that can be recorded."""
    folder = ward.write(to, episode_toml=ward.EPISODE.replace("INV-1", patient).encode())
    for kept in ("rule.toml", "protocol.toml"):
        (folder / kept).unlink(missing_ok=True)
    (folder / "protocol.toml").write_text(ward.RULE)
    if course:
        (folder / "course.toml").write_text(course)
    return folder
