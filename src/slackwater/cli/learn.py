"""`slackwater learn`: relearn the filter's numbers from a folder of a unit's own past drains."""

from __future__ import annotations

import json
import os
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from slackwater.forecast.learn import Case, Learnt, Over
    from slackwater.protocol.rule import Protocol

FEWEST_STAYS = 20


@click.command("learn")
@click.argument("folder", metavar="FOLDER")
@click.option("--protocol", "rules", multiple=True, metavar="NAME|FILE", help="Whose air clause counts; may repeat.")
@click.option("--zone", metavar="ZONE", help="The ward's time zone, where the logs do not say it.")
@click.option("--out", "out", metavar="FILE", default="parameters.toml", show_default=True, help="Written here.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Which stays are left out together.")
@click.option("--start", "start", metavar="FILE", help="Numbers to start from; default: those shipped.")
@click.option("--jobs", type=click.IntRange(1), help="Processes; default: one for each core.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def command(
    folder: str, rules: tuple[str, ...], zone: str | None, out: str, seed: int, start: str | None, jobs: int | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Learn the filter's numbers anew from past drains, and say on stays left out whether that helped.

    FOLDER holds a folder for each stay, as `slackwater simulate --cohort` writes them: log*.csv with layout.toml,
    and where there are some chart.csv and episode.toml. The file says where its numbers come from and how sure each
    is; nothing is used until you give it to `slackwater assess --numbers`.

    \b
    Example:
      slackwater simulate --cohort 60 --seed 5 --out past
      slackwater learn past --out ours.toml
    """
    from slackwater.audit.workers import workers
    from slackwater.cli.files import refuse_overwriting, write_whole
    from slackwater.cli.inputs import read_numbers, read_protocol
    from slackwater.cli.instants import ward_zone
    from slackwater.errors import UsageError
    from slackwater.forecast.learn import learnt
    from slackwater.leak.filter.model import shipped_model, to_toml

    if out != "-" and not (Path(out).parent.is_dir() and not Path(out).is_dir()):
        raise UsageError("cannot be written there", where=out, mend="Name a file in a folder that is there.")
    refuse_overwriting(out, (start, *rules))
    ward_zone(zone)  # a wrong one is refused before the work
    bundles, protocols = _bundles(folder), [read_protocol(name) for name in rules or ("air-20-8h",)]
    model = shipped_model() if start is None else read_numbers(start)
    with workers(jobs or os.cpu_count() or 1) as over:
        stays = _stays(bundles, protocols, zone or "UTC", over)
        if len(stays) < FEWEST_STAYS:
            raise UsageError(
                f"holds {len(bundles)} stays, of which a forecast could have been made for {len(stays)}", where=folder,
                mend=f"Give past drains until it is {FEWEST_STAYS}.",
            )  # fmt: skip
        began = "those that come with the program" if start is None else "other numbers"
        source = f"{len(stays)} past stays of the unit's own (seed {seed}), from {began}"
        found = learnt(stays, model, seed=seed, source=source, over=over, say=_say)
    _say("")
    write_whole(out, to_toml(found.model, found.uncertainty).encode())
    if as_json:
        figures = {"cases": found.cases, "crps_h_before": found.before_h, "crps_h_after": found.after_h}
        click.echo(json.dumps({"stays": len(stays), **figures, "gain_error_h": found.gain_error_h, "file": out}))
    else:
        click.echo(_says(found, len(stays), len(bundles), out))


def _says(found: Learnt, stays: int, of: int, out: str) -> str:
    """What was found, and whether to use it."""
    gain = found.before_h - found.after_h
    if gain <= 0:
        verdict = "They did NOT help there: keep the old numbers."
    elif gain < 2 * found.gain_error_h:
        verdict = "That may be chance: keep the old numbers, or give more stays."
    else:
        verdict = "They helped there."
    return (
        f"{stays} stays of {of} gave {found.cases} forecasts, each by numbers learnt without its stay.\n"
        f"CRPS was {found.before_h:.2f} h and is {found.after_h:.2f} h ({'rose' if gain < 0 else 'fell'} by "
        f"{abs(gain):.2f}, standard error {found.gain_error_h:.2f}). {verdict}\nwrote {out}"
    )


def _say(text: str) -> None:
    if sys.stderr.isatty():
        click.echo(f"\r{text:<78.78}" if text else f"\r{'':<78}\r", nl=False, err=True)


def _bundles(folder: str) -> list[Path]:
    from slackwater.errors import UsageError

    root = Path(folder)
    bundles = sorted(path.parent for path in root.glob("*/layout.toml")) if root.is_dir() else []
    if not bundles:
        raise UsageError("holds no folder with a layout.toml", where=folder, mend="Give one folder for each stay.")
    return bundles


def _stays(bundles: list[Path], protocols: list[Protocol], zone: str, over: Over) -> list[list[Case]]:
    """The stays that a forecast could have been made for; what cannot be read is named and left out."""
    found: list[list[Case]] = []
    for number, (bundle, read) in enumerate(
        zip(bundles, over(partial(_cases, protocols, zone), bundles), strict=True), 1
    ):
        _say(f"reading {number} of {len(bundles)}")
        if isinstance(read, str):
            click.echo(f"{bundle.name}: left out: {read}", err=True)
        elif read:
            found.append(read)
    return found


def _cases(protocols: list[Protocol], zone: str, bundle: Path) -> list[Case] | str:
    """The cases of one stay, those of a clause together; or why it cannot be read."""
    from slackwater.assessment.assess import assess
    from slackwater.cli.inputs import read_chart_file, read_episode_file, read_logs
    from slackwater.errors import SlackwaterError
    from slackwater.forecast.learn import cases
    from slackwater.forecast.past import past_of

    chart, episode = bundle / "chart.csv", bundle / "episode.toml"
    found: list[Case] = []
    try:
        logs = read_logs([str(path) for path in sorted(bundle.glob("log*.csv"))], str(bundle / "layout.toml"), 0.05)
        charted = read_chart_file(str(chart), zone) if chart.exists() else None
        about = read_episode_file(str(episode)) if episode.exists() else None
        for protocol in protocols:
            judged = assess(logs, protocol=protocol, chart=charted, episode=about, zone=zone)
            leak, evaluation = judged.leak_trace, judged.evaluation
            if leak is None or evaluation is None:
                continue
            for one in evaluation.criteria:
                past = past_of(one, judged.facts, leak.given, judged.first_hour)
                found += [] if past is None else cases(past)
    except SlackwaterError as error:
        return str(error)
    return found
