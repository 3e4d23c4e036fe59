"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click


def at_record(command: Callable[..., Any]) -> Callable[..., Any]:
    """--record: where the record lies."""
    return click.option(
        "--record", "place", metavar="FOLDER|URL",
        help="Where the record lies: a folder, or postgresql://... Default: $SLACKWATER_RECORD, else this user's.",
    )(command)  # fmt: skip
