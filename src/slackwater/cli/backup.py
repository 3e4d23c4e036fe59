"""`slackwater backup`: the record as of its last act, in a folder of its own."""

from __future__ import annotations

import json

import click

from slackwater.cli.options import at_record


@click.command("backup")
@click.argument("folder", metavar="FOLDER")
@at_record
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(folder: str, place: str | None, as_json: bool) -> None:
    """Copy the record to a new FOLDER, while it is used, and read the copy back.

    It holds health data: keep it where only those may read it who may read the record. A backup counts once
    it was restored: slackwater restore FOLDER --to ELSEWHERE.

    \b
    Example:
      slackwater backup /mnt/backups/2041-03-07
    """
    from slackwater.cli.progress import Progress
    from slackwater.store import open_record
    from slackwater.store.backup import backup

    with open_record(place) as record, Progress("backing up", 1, "acts and files") as progress:
        made = backup(record, folder, progress.at)
    said = {"folder": folder, "acts": made["acts"], "files": len(made["files"]), "head": made["head"]}
    if as_json:
        click.echo(json.dumps(said, indent=2))
    else:
        click.echo(f"backed up {made['acts']} acts and {len(made['files'])} files to {folder}, and read them back")
        click.echo(f"head {made['head']}")
