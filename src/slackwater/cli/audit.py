"""`slackwater audit`: from past drains to a cohort, and from the cohort to the audit pack."""

from __future__ import annotations

import json
import math
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slackwater.cli.options import at_record, jobs_option
from slackwater.errors import SlackwaterError, UsageError

if TYPE_CHECKING:
    from slackwater.audit.stays import Stay

PRIVACY = (
    "Contains health data, de-identified or not. Keep the key apart from the cohort; who may have the cohort is for "
    "your data protection to say."
)


@click.group("audit")
def command() -> None:
    """Learn from past drains. `collect` makes a cohort of them; see also: slackwater replay.

    \b
    Example:
      slackwater audit collect last-year --zone Europe/Vienna
      slackwater audit report last-year --protocol our-rule.toml

    It supports decisions; it does not decide. Clinicians and local policy decide.
    """


@command.command("collect")
@click.argument("out", metavar="COHORT")
@at_record
@click.option("--from", "source", metavar="FOLDER", help="Folders of drains (as `record` takes them), not the record.")
@click.option("--key", "key_path", metavar="FILE", help="The key of the pseudonyms. Default: COHORT.key, made if new.")
@click.option("--keep-dates", is_flag=True, help="Keep dates and ward names: not de-identified, for this house alone.")
@click.option("--zone", metavar="ZONE", default="UTC", show_default=True, help="The ward's time zone.")
@click.option("--protocol", metavar="NAME|FILE", help="With --from: the rule of drains whose folder holds none.")
@click.option("--no-forecasts", is_flag=True, help="Leave out what was foretold during each stay: about half the time.")
@jobs_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def collect_command(
    out: str, place: str | None, source: str | None, key_path: str | None, keep_dates: bool, zone: str,
    protocol: str | None, no_forecasts: bool, jobs: str, as_json: bool,
) -> None:  # fmt: skip
    """Write every drain of the record to the folder COHORT; one that is there already is left as it is.

    Without --keep-dates it is de-identified: pseudonyms by a key that is kept beside the folder and must not go with
    it, no names, serial numbers or free text, ages above 89 as 90, every stay moved into one week. It can still be
    sensitive: whom you may give it to is for your data protection to say.

    \b
    Example:
      slackwater audit collect last-year --zone Europe/Vienna
      slackwater replay last-year --protocol air-50-8h
    """
    from slackwater.audit.cohort import Cohort
    from slackwater.audit.collect import How, Job, collect
    from slackwater.audit.engines import Failed, engine
    from slackwater.audit.shelf import shelf
    from slackwater.cli.instants import ward_zone
    from slackwater.cli.key_file import key_of
    from slackwater.cli.progress import Progress

    ward_zone(zone)
    if source is not None and place is not None:
        raise UsageError("--from and --record are two sources", mend="Give one of them.")
    if Path(out).exists() and not Path(out).is_dir():
        raise UsageError("is no folder", where=out, mend="Name a folder for the cohort.")
    if "://" in out and key_path is None:
        raise UsageError("where the key is to lie is not said", where="--key", mend="Name a file of this machine.")
    key_file = Path(key_path or f"{out.rstrip(os.sep)}.key")
    if "://" not in out and key_file.resolve().is_relative_to(Path(out).resolve()):
        raise UsageError("the key must not go where the cohort goes", where="--key", mend="Name a file outside it.")
    stays = _recorded(place) if source is None else in_folders(source, protocol, zone)
    jobs_left = [Job(drain, order, read) for order, (drain, read) in enumerate(stays, start=1)]
    how = How(shelf(out), key_of(key_file), zone, keep_dates, not no_forecasts)
    failed: list[Failed] = []
    cohort: Cohort | None = None
    with engine(jobs) as over, Progress("collecting", len(jobs_left), "drains") as progress:
        for done, one in enumerate(collect(jobs_left, how, over), start=1):
            if isinstance(one, Cohort):
                cohort = one
                continue
            progress.at(min(done, len(jobs_left)))
            if isinstance(one, Failed):
                failed.append(one)
    assert cohort is not None
    said = {"cohort": out, "drains": len(cohort.drains), "de_identified": cohort.de_identified,
            "failed": [{"drain": one.item, "why": one.why} for one in failed]}  # fmt: skip
    if as_json:
        click.echo(json.dumps(said, indent=2))
    else:
        click.echo(f"{len(cohort.drains)} drains in {out}" + ("" if keep_dates else ", de-identified"))
        for one in failed:
            click.echo(f"  left out: {one.item}: {one.why}")
        click.echo(PRIVACY)
    if failed and not cohort.drains:
        sys.exit(2)


def _recorded(place: str | None) -> list[tuple[str, Callable[[str], Stay]]]:
    from slackwater.audit.stays import of_record
    from slackwater.store.place import place_of

    found = of_record(place_of(place), round(time.time() * 1000))
    return [(one.drain, one) for one in found]


def in_folders(source: str, protocol: str | None, zone: str) -> list[tuple[str, Callable[[str], Stay]]]:
    from slackwater.cli.bundles import folders_of

    folders = sorted(folders_of([source]), key=_connected)
    return [(str(one), partial(_folder, one, protocol, zone)) for one in folders]


def _connected(folder: Path) -> float:
    """By when a drain's place in order is told: folders' names may be patients' names. Last, where it is not known."""
    from slackwater.cli.bundles import EPISODE
    from slackwater.cli.inputs import read_episode_file

    try:
        at = read_episode_file(str(folder / EPISODE)).connected_at
    except SlackwaterError:  # reported when the drain is read
        at = None
    return math.inf if at is None else at


def _folder(folder: Path, protocol: str | None, ward_zone: str, zone: str) -> Stay:
    from slackwater.audit.stays import of_bundle
    from slackwater.cli.bundles import bundles_of

    return of_bundle(bundles_of(folder, protocol, ward_zone, 0.05), zone)


@command.command("report")
@click.argument("cohort_name", metavar="COHORT")
@click.option("--protocol", "rule_name", metavar="NAME|FILE|pinned", help="Judge all by this rule. Default: "
              "each by the one pinned to it.")  # fmt: skip
@click.option("--out", metavar="FOLDER", help="Where the pack goes. Default: COHORT-report.")
@click.option("--fewest", type=click.IntRange(0), default=5, show_default=True, help="Smallest number that is shown.")
@click.option("--leak-limit", metavar="ML_PER_MIN", type=click.FloatRange(0, min_open=True), help="What counts as a "
              "leak that lasts, mL/min. Default: the rule's own limit.")  # fmt: skip
@click.option("--leak-days", default="5,7", show_default=True, help="Days after the operation that make it prolonged.")
@click.option("--suction-within", metavar="CMH2O", type=click.FloatRange(0, min_open=True), help="Tolerance around the "
              "ordered suction. Without it suction is not asked about.")  # fmt: skip
@click.option("--change", metavar="NAME=FIRST", help="Before and after a change: its first drain's number in order, or "
              "its date where dates were kept.")  # fmt: skip
@click.option(
    "--risks", metavar="FILE.csv", help="Each drain's risk of a prolonged leak: columns drain, risk (0 to 1)."
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the intervals' draws.")
@jobs_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object; write nothing unless --out is given.")
def report_command(
    cohort_name: str, rule_name: str | None, out: str | None, fewest: int, leak_limit: float | None, leak_days: str,
    suction_within: float | None, change: str | None, risks: str | None, seed: int, jobs: str, as_json: bool,
) -> None:  # fmt: skip
    """Write the audit pack of COHORT: page, definitions and tables, what is missing first, small numbers kept back.

    Avoidable hours by what was waited for, prolonged leaks, reinsertions, unplanned removals, suction and charting,
    charts over time with named rules. It looks back; it compares nobody, and decides nothing.

    \b
    Example, two commands from a folder of logs to the pack:
      slackwater audit collect last-year --from past-drains --protocol our-rule.toml
      slackwater audit report last-year --suction-within 2
    """
    from slackwater.audit.cohort import open_cohort
    from slackwater.audit.engines import engine
    from slackwater.audit.figures import Rules
    from slackwater.audit.measures import Measured
    from slackwater.audit.measuring import forecasts_kept, measure
    from slackwater.audit.pack import pack
    from slackwater.cli.audit_pack import asked_of, by_rule, change_of, risks_of, write_pack
    from slackwater.cli.progress import Progress
    from slackwater.cli.view.audit import pack_dict, text

    cohort = open_cohort(cohort_name)
    by = by_rule(cohort, rule_name)
    asked = asked_of(cohort, by, leak_limit, leak_days, suction_within)
    with engine(jobs) as over, Progress("measuring", len(cohort.drains), "drains") as progress:
        found = list(progress.over(measure(cohort, by, asked, over)))
    told = pack(
        found, asked, by, Rules(fewest, seed), dated=not cohort.de_identified, change=change_of(change, cohort),
        risks=risks_of(risks),
        forecasts=forecasts_kept(cohort, (one for one in found if isinstance(one, Measured))),
    )  # fmt: skip
    said = pack_dict(told, cohort, asked)
    if as_json:
        click.echo(json.dumps(said, indent=2))
    else:
        click.echo(text(said))
    if out is not None or not as_json:
        where = Path(out) if out is not None else Path(f"{cohort_name.rstrip('/')}-report")
        written = write_pack(where, said, told, found, asked)
        click.echo("\n" + "\n".join(f"wrote {one}" for one in written), err=as_json)
