"""`slackwater restore`: a backup, replayed into an empty place and verified."""

from __future__ import annotations

import json

import click


@click.command("restore")
@click.argument("folder", metavar="FOLDER")
@click.option(
    "--to", "place", metavar="FOLDER|URL", required=True, help="An empty place: a folder, or postgresql://..."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(folder: str, place: str, as_json: bool) -> None:
    """Bring a backup back, whole or not at all; never over a record.

    A backup of SQLite may be restored to PostgreSQL, and the other way round.

    \b
    Example:
      slackwater restore /mnt/backups/2041-03-07 --to /srv/slackwater
    """
    from slackwater.cli.progress import Progress
    from slackwater.store.backup import restore

    with Progress("restoring", 1, "acts and files") as progress:
        found = restore(folder, place, progress.at)
    if as_json:
        said = {"acts": found.acts, "rows": found.rows, "files": found.files, "head": found.head}
        click.echo(json.dumps(said, indent=2))
    else:
        click.echo(f"restored and verified: {found.acts} acts, {found.rows} rows, {found.files} files")
        click.echo(f"head {found.head}")
