"""The JSON Schema of the assessment document, as it ships beside this file."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any


def schema() -> dict[str, Any]:
    """The schema (JSON Schema 2020-12) that every `document` satisfies; a fresh object each time.

    >>> schema()["properties"]["schema"]["const"]
    'slackwater-assessment-1'
    """
    found: dict[str, Any] = json.loads((files("slackwater.assessment") / "assessment.schema.json").read_text("utf-8"))
    return found
