"""`slackwater demo`: an invented drain, assessed by the same command a ward would use; or a whole invented ward."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import click

SCENARIO = "demo"
RULE = "air-50-8h"


@click.command("demo")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Another seed, another stay.")
@click.option("--out", "out", metavar="FOLDER", help="Where the files go. Default: demo-out; the ward: a new folder.")
@click.option("--ward", is_flag=True, help="Serve the pages of a ward of twelve invented drains.")
@click.option("--port", type=click.IntRange(1, 65535), default=8410, show_default=True, help="Of the ward's pages.")
@click.pass_context
def command(ctx: click.Context, seed: int, out: str | None, ward: bool, port: int) -> None:
    """Simulate an invented drain, then assess it.

    Patient, unit and ward are invented. What is printed comes from the files written, by the command shown:
    change a row of the log, run it again, and the answer moves.

    \b
    Example:
      slackwater demo
      slackwater demo --ward
    """
    if ward:
        _serve(out, port)
        return
    out = out or "demo-out"
    from slackwater.simulate import scenario, simulate, write_bundle

    folder = Path(out)
    click.echo(f"Simulating an invented drain (scenario {SCENARIO}, seed {seed}) ...", err=True)
    write_bundle(simulate(scenario(SCENARIO), seed), folder)
    logs = sorted(path.name for path in folder.glob("log*.csv"))
    shown = ["slackwater", "assess", *logs, "--layout", "layout.toml", "--chart", "chart.csv",
             "--episode", "episode.toml", "--protocol", RULE, "--zone", "+01:00"]  # fmt: skip
    click.echo(f"cd {out} && {' '.join(shown)}\n")
    sys.stdout.flush()
    done = subprocess.run([sys.executable, "-m", *shown], cwd=folder, check=False)
    ctx.exit(done.returncode)


def _serve(out: str | None, port: int) -> None:
    """Make the ward's record, then serve it on this machine alone."""
    import tempfile
    from datetime import UTC, datetime

    from slackwater.cli.demo_ward import AHEAD_H, PASSWORD, fill, people
    from slackwater.cli.instants import ward_zone
    from slackwater.errors import MissingPart, UsageError

    try:
        import uvicorn

        from slackwater.web.app import create_app
    except ImportError:
        raise MissingPart(
            "the ward's pages need the extra 'ward'", mend="Install it: pip install 'slackwater[ward]'."
        ) from None
    from slackwater.store import open_record
    from slackwater.store.place import place_of
    from slackwater.web.settings import Settings

    place = place_of(out or tempfile.mkdtemp(prefix="slackwater-ward-"))
    if place.sqlite and place.folder.exists() and any(place.folder.iterdir()):
        raise UsageError("a demo's ward needs a folder of its own", where=place.says, mend="Name one that is empty.")
    offset = datetime.now(UTC).astimezone().strftime("%z")
    zone = f"{offset[:3]}:{offset[3:5]}"

    def tell(text: str) -> None:
        click.echo(text, err=True)

    tell(f"Simulating a ward: every patient, person and place is invented. Its record: {place.says}")
    with open_record(place, create=True) as record:
        if record.head() is not None:
            raise UsageError("a demo's ward needs a record of its own", where=place.says, mend="Name an empty one.")
        fill(record, datetime.now(UTC), zone, tell)
        logins = list(people(record))
    tell(
        f"The logs run {AHEAD_H:.0f} h ahead of now: rows come to light as their time comes, as from a unit that sends."
    )
    tell("For the demo alone, everybody has this password: " + PASSWORD)
    for login, name in logins:
        tell(f"  login {login:<17} {name}")
    tell(f"The ward's pages: http://127.0.0.1:{port}  (stop: Ctrl-C)")
    settings = Settings(place, ward_zone(zone), zone, secure=False, demo=True)
    uvicorn.run(create_app(settings), host="127.0.0.1", port=port, log_level="warning", server_header=False)
