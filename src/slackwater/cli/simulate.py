"""`slackwater simulate`: write invented stays whose truth is known."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from slackwater.errors import UsageError


@click.command("simulate")
@click.argument("name", metavar="SCENARIO", required=False)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed gives the same stay.")
@click.option("--out", "out", metavar="FOLDER", default="simulated", show_default=True, help="Where the files go.")
@click.option("--cohort", type=click.IntRange(1), metavar="N", help="N stays drawn at random, one folder each.")
@click.option("--list", "listing", is_flag=True, help="List the scenarios.")
def command(name: str | None, seed: int, out: str, cohort: int | None, listing: bool) -> None:
    """Write an invented stay: log, layout, chart, episode and its truth.

    Nothing here is a real patient, and the curves are assumptions: no open recording of pleural air leak exists.

    \b
    Example:
      slackwater simulate healing --seed 7 --out healing-7
    """
    from slackwater.simulate import cohort as draw_cohort
    from slackwater.simulate import scenario, scenario_names, simulate, write_bundle

    if listing:
        click.echo("\n".join(scenario_names()))
        return
    if cohort is not None:
        for number, (label, stay) in enumerate(draw_cohort(cohort, seed), start=1):
            write_bundle(stay, Path(out) / f"{number:04d}-{label}", removed=True)
            if sys.stderr.isatty():
                click.echo(f"\r{number} of {cohort}", nl=number == cohort, err=True)
        click.echo(f"wrote {cohort} stays to {out} (seed {seed})")
        return
    if name is None or name not in scenario_names():
        raise UsageError(
            "names no scenario" if name is None else f"no scenario is called {name[:40]!r}",
            where="simulate", mend="See: slackwater simulate --list.",
        )  # fmt: skip
    write_bundle(simulate(scenario(name), seed), Path(out))
    click.echo(f"wrote {name} (seed {seed}) to {out}")
