"""Options that several commands share."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from typing import Any

import click

from slackwater.errors import UsageError


def at_record(command: Callable[..., Any]) -> Callable[..., Any]:
    """--record: where the record lies."""
    return click.option(
        "--record", "place", metavar="FOLDER|URL",
        help="Where the record lies: a folder, or postgresql://... Default: $SLACKWATER_RECORD, else this user's.",
    )(command)  # fmt: skip


def jobs_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """--jobs: where work on many drains is done."""
    return click.option(
        "--jobs", metavar="N|ADDRESS", default="1", show_default=True,
        help="Processes, or the address of a Dask scheduler (tcp://host:8786; needs the extra 'cluster').",
    )(command)  # fmt: skip


def logged_in() -> str:
    """Who is at this machine."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user without a name, as services and containers may have
        raise UsageError("who records it cannot be told", mend="Say it: --by WHO.") from None
