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
@click.option("--live", is_flag=True, help="Send it as its unit would, instead of writing it.")
@click.option("--serial", "serials", metavar="SERIAL", multiple=True,
              help="With --live: the unit's; several give several units, each of its own seed.")  # fmt: skip
@click.option("--http", metavar="URL", help="With --live: to `slackwater listen --http`, each unit with its --key.")
@click.option("--key", "keys", metavar="KEY", multiple=True, help="With --http: the units' keys, in their order.")
@click.option("--mqtt", metavar="URL", help="With --live: to a broker.")
@click.option("--mllp", metavar="HOST:PORT", help="With --live: as HL7 v2 to `slackwater listen --mllp`.")
@click.option("--speed", type=click.FloatRange(0, min_open=True), default=1.0, show_default=True,
              help="With --live: so many times as fast; the last reading is then stamped as it is sent.")  # fmt: skip
@click.option("--hours", type=click.FloatRange(0, 240, min_open=True), help="With --live: only so much of the stay.")
def command(
    name: str | None, seed: int, out: str, cohort: int | None, listing: bool, live: bool, serials: tuple[str, ...],
    http: str | None, keys: tuple[str, ...], mqtt: str | None, mllp: str | None, speed: float, hours: float | None,
) -> None:  # fmt: skip
    """Write an invented stay: log, layout, chart, episode and its truth. Or send it live, as its unit would.

    Nothing here is a real patient, and the curves are assumptions: no open recording of pleural air leak exists.

    \b
    Example:
      slackwater simulate healing --seed 7 --out healing-7
      slackwater simulate healing --live --serial SN-41 --http http://127.0.0.1:8420 --key KEY --speed 60
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
    if live:
        from slackwater.cli.simulate_live import send

        send(scenario(name), seed, serials, http=http, keys=keys, mqtt=mqtt, mllp=mllp, speed=speed, hours=hours)
        return
    write_bundle(simulate(scenario(name), seed), Path(out))
    click.echo(f"wrote {name} (seed {seed}) to {out}")
