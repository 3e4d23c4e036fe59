"""`slackwater verify`: is the record what was recorded?"""

from __future__ import annotations

import json

import click

from slackwater.cli.options import at_record


@click.command("verify")
@at_record
@click.option("--backup", "folder", metavar="FOLDER", help="Check a backup instead, byte for byte.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(ctx: click.Context, place: str | None, folder: str | None, as_json: bool) -> None:
    """Check every act, row and file of the record, or every byte of a backup.

    Keep the head that it prints somewhere else: with it, no past act can be rewritten unseen. Exit: 0 all is
    as it was recorded, 1 something is not.

    \b
    Example:
      slackwater verify
    """
    from slackwater.cli.progress import Progress
    from slackwater.store import open_record
    from slackwater.store.backup import read_manifest
    from slackwater.store.verify import verify

    if folder is not None:
        made = read_manifest(folder)
        said = {"acts": made["acts"], "files": len(made["files"]), "head": made["head"], "faults": []}
    else:
        with open_record(place) as record, Progress("checking", 1, "acts and files") as progress:
            found = verify(record, progress.at)
        said = {
            "acts": found.acts, "rows": found.rows, "files": found.files, "head": found.head,
            "faults": list(found.faults),
        }  # fmt: skip
    faults = said["faults"]
    if as_json:
        click.echo(json.dumps(said, indent=2, ensure_ascii=False))
    else:
        counted = ", ".join(f"{said[name]} {name}" for name in ("acts", "rows", "files") if name in said)
        count = f"{len(faults)} fault{'s' if len(faults) > 1 else ''}" if faults else "all as recorded"
        click.echo(f"{counted}: {count}")
        for fault in faults[:50]:
            click.echo(f"  {fault}")
        click.echo(f"head {said['head']}")
    ctx.exit(1 if faults else 0)
