"""`slackwater learn`: relearn the filter's numbers from a folder of a unit's own past drains."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from slackwater.forecast.learn import Case
    from slackwater.leak.filter.model import FilterModel

FEWEST_STAYS = 20


@click.command("learn")
@click.argument("folder", metavar="FOLDER")
@click.option("--protocol", "rules", multiple=True, metavar="NAME|FILE", help="Whose air clause counts; may repeat.")
@click.option("--out", "out", metavar="FILE", default="parameters.toml", show_default=True, help="Written here.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Order in which numbers are tried.")
@click.option("--start", "start", metavar="FILE", help="Numbers to start from; default: those shipped.")
@click.option("--rounds", type=click.IntRange(1, 10), default=2, show_default=True, help="Rounds over all numbers.")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def command(
    folder: str, rules: tuple[str, ...], out: str, seed: int, start: str | None, rounds: int, as_json: bool
) -> None:
    """Learn the filter's numbers anew from past drains, and say on stays left out whether that helped.

    FOLDER holds a folder for each stay, as `slackwater simulate --cohort` writes them: log*.csv with layout.toml,
    and where there are some chart.csv and episode.toml. Every fourth stay is left out of the learning; half of those
    set the calibration, the others score. The file says where its numbers come from; nothing is used until you say so.

    \b
    Example:
      slackwater simulate --cohort 40 --seed 5 --out past
      slackwater learn past --out ours.toml
    """
    from slackwater.cli.files import write_whole
    from slackwater.errors import UsageError
    from slackwater.forecast.learn import learnt
    from slackwater.leak.filter.model import to_toml

    stays = _stays(folder, rules or ("air-20-8h",))
    if len(stays) < FEWEST_STAYS:
        raise UsageError(
            f"holds {len(stays)} stays that a forecast could have been made for", where=folder,
            mend=f"Give at least {FEWEST_STAYS} past drains.",
        )  # fmt: skip
    found = learnt(stays, _start(start), seed=seed, rounds=rounds, source=f"{len(stays)} stays, seed {seed}", say=_say)
    write_whole(out, to_toml(found.model, found.uncertainty).encode())
    figures = {"stays": len(stays), "crps_h_before": round(found.before_h, 3), "crps_h_after": round(found.after_h, 3)}
    if as_json:
        click.echo(json.dumps({**figures, "file": out}))
        return
    helped = found.after_h < found.before_h
    click.echo(f"{len(stays)} stays; on those left out CRPS was {found.before_h:.2f} h and is {found.after_h:.2f} h")
    click.echo(f"wrote {out}" + ("" if helped else "; it did NOT help there: keep the old numbers"))


def _say(text: str) -> None:
    if sys.stderr.isatty():
        click.echo(f"\r{text:<78.78}", nl=False, err=True)


def _start(path: str | None) -> FilterModel:
    from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes
    from slackwater.leak.filter.model import from_toml, shipped_model

    return shipped_model() if path is None else from_toml(read_bytes(path, LARGEST_TEXT).decode(), name_of(path))


def _stays(folder: str, rules: tuple[str, ...]) -> list[list[Case]]:
    from slackwater.cli.inputs import read_protocol
    from slackwater.errors import SlackwaterError, UsageError
    from slackwater.forecast.learn import cases

    root = Path(folder)
    bundles = sorted(path.parent for path in root.glob("*/layout.toml")) if root.is_dir() else []
    if not bundles:
        raise UsageError("holds no folder with a layout.toml", where=folder, mend="Give one folder for each stay.")
    protocols = [read_protocol(name) for name in rules]
    found: list[list[Case]] = []
    for number, bundle in enumerate(bundles, start=1):
        _say(f"reading {number} of {len(bundles)}")
        try:
            found += [given for past in _pasts(bundle, protocols) if (given := list(cases(past)))]
        except SlackwaterError as error:
            click.echo(f"{bundle.name}: left out: {error}", err=True)
    return found


def _pasts(bundle: Path, protocols: list) -> list:  # type: ignore[type-arg]
    from slackwater.assessment.assess import assess
    from slackwater.cli.inputs import read_chart_file, read_episode_file, read_logs
    from slackwater.forecast.past import past_of
    from slackwater.leak.filter.run import seen
    from slackwater.leak.words import NO_REASON

    chart, episode = bundle / "chart.csv", bundle / "episode.toml"
    logs = read_logs([str(path) for path in sorted(bundle.glob("log*.csv"))], str(bundle / "layout.toml"), 0.05)
    pasts = []
    for protocol in protocols:
        found = assess(
            logs, protocol=protocol,
            chart=read_chart_file(str(chart), "UTC") if chart.exists() else None,
            episode=read_episode_file(str(episode)) if episode.exists() else None,
        )  # fmt: skip
        leak, judged = found.leak_trace, found.evaluation
        if leak is None or judged is None:
            continue
        usable = leak.doubt.reason == NO_REASON
        step = max((log.flow_step_ul_per_min for log in logs), default=0) / 1000
        given = seen(leak.minutes, usable, step, bursts_visible=leak.found.visible)
        made = [past_of(one, found.facts, given) for one in judged.criteria]
        pasts += [past for past in made if past is not None]
    return pasts
