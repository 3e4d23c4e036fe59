"""`slackwater demo`: simulate an invented drain and assess it with the same command a ward would use."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import click

SCENARIO = "demo"
RULE = "air-50-8h"


@click.command("demo")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Another seed, another stay.")
@click.option("--out", "out", metavar="FOLDER", default="demo-out", show_default=True, help="Where the files go.")
@click.pass_context
def command(ctx: click.Context, seed: int, out: str) -> None:
    """Simulate an invented drain, then assess it.

    Patient, unit and ward are invented. What is printed comes from the files written, by the command shown:
    change a row of the log, run it again, and the answer moves.

    \b
    Example:
      slackwater demo
    """
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
