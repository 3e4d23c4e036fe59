"""`slackwater replay`: when a rule, another one, or a grid of rules would have held in past drains."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.files import read_bytes, write_whole
from slackwater.cli.options import jobs_option
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from slackwater.audit.rules import ByRule
    from slackwater.audit.variants import Grid
    from slackwater.protocol.rule import Protocol

MOST_RULES = 1000  # more would take minutes, and nobody reads them; the best of so many is best by chance. Ours


@click.command("replay")
@click.argument("cohort_name", metavar="COHORT")
@click.option("--protocol", "rule_name", metavar="NAME|FILE|pinned", help="The rule to try. Default: of each "
              "drain the one pinned to it.")  # fmt: skip
@click.option("--against", "other_name", metavar="NAME|FILE", help="Another rule: both, drain by drain.")
@click.option("--limits", metavar="ML_PER_MIN,...", help="Air limits to try in its place, mL/min: 10,20,50.")
@click.option("--hours", metavar="H,...", help="Lengths of the run to try: 4,6,8.")
@click.option("--fluids", metavar="ML,...", help="Fluid limits to try, mL.")
@click.option("--means", metavar="MIN,...", help="Averaging to try, minutes; 0 for every reading.")
@click.option("--gaps", metavar="MIN,...", help="Tolerated gaps to try, minutes.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the intervals' draws.")
@jobs_option
@click.option("--page", "page_path", metavar="FILE", help="Write the page (.html): the trade-off, or drain by drain.")
@click.option("--record", "place", metavar="FOLDER|URL", help="With --page: where the drains' own pages come from.")
@click.option(
    "--key", "key_path", metavar="FILE", help="With --record: the key of the pseudonyms. Default: COHORT.key."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(
    cohort_name: str, rule_name: str | None, other_name: str | None, limits: str | None, hours: str | None,
    fluids: str | None, means: str | None, gaps: str | None, seed: int, jobs: str, page_path: str | None,
    place: str | None, key_path: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Try rules on the drains of COHORT (see: slackwater audit collect), looking back.

    For each drain: when the rule first held, how long before the removal that was, and whether air was recorded
    again while the drain was still in. A replay cannot show what an earlier removal would have done.

    \b
    Example:
      slackwater replay last-year --protocol air-50-8h
      slackwater replay last-year --protocol air-50-8h --against air-20-8h
      slackwater replay last-year --protocol air-50-8h --limits 10,20,30,50,100 --hours 4,6,8,12 --page rules.html
    """
    from slackwater.audit.cohort import open_cohort
    from slackwater.audit.engines import Failed, engine
    from slackwater.audit.replays import compared, replay_grid, replay_rule, summed_grid
    from slackwater.audit.variants import varied
    from slackwater.cli.audit_pack import by_rule
    from slackwater.cli.inputs import read_protocol
    from slackwater.cli.progress import Progress
    from slackwater.cli.view.replay import grid_dict, pair_dict, rule_dict, text

    if page_path is not None and not page_path.endswith((".html", ".htm")):
        raise UsageError(f"--page: {page_path!r} does not end in .html", mend="Name it so that a browser opens it.")
    cohort = open_cohort(cohort_name)
    by = by_rule(cohort, rule_name)
    back = None if place is None else way_back(place, key_path or f"{cohort_name.rstrip('/')}.key")
    other = None if other_name is None else read_protocol(other_name)
    grid = _grid(limits, hours, fluids, means, gaps)
    for one in grid.variants() if grid is not None else ():
        varied(alone(by), one)  # what no rule can be is refused before the work, not drain by drain
    if grid is not None and other is not None:
        raise UsageError("a grid and another rule at once", mend="Leave --against out, or the numbers to try.")
    with engine(jobs) as over, Progress("replaying", len(cohort.drains), "drains") as progress:
        if grid is not None:
            found = list(progress.over(replay_grid(cohort, alone(by), grid, over)))
            failed = [one for one in found if isinstance(one, Failed)]
            said = grid_dict(cohort, alone(by), summed_grid(grid, found, seed), failed)
        elif other is None:
            said = rule_dict(cohort, by, list(progress.over(replay_rule(cohort, by, over))))
        else:
            said = pair_dict(cohort, by, other, list(progress.over(compared(cohort, by, other, over))))
    if back is not None:
        said = with_commands(said, back)
    if page_path is not None:
        from slackwater.report.replay_page import replay_page

        write_whole(page_path, replay_page(said).encode())
    click.echo(json.dumps(said, indent=2) if as_json else text(said))


def alone(by: ByRule) -> Protocol:
    """The one rule that a grid is made from. Raises UsageError where several are pinned."""
    if len(by.rules) != 1:
        names = ", ".join(f"{rule.name} {rule.version}".strip() for rule in by.rules)
        raise UsageError(f"several rules are pinned ({names}), and a grid is made from one", mend="Give --protocol.")
    return by.rules[0]


def way_back(place: str, key_path: str) -> Mapping[str, tuple[str, int]]:
    """Of each pseudonym whose drain is in the record: its name there, and when it was connected (UTC ms)."""
    from slackwater.episode.pseudonyms import pseudonym
    from slackwater.store import open_record
    from slackwater.store.listing import listed
    from slackwater.store.place import place_of

    key = read_bytes(key_path)
    with open_record(place_of(place)) as record:
        found = listed(record, everything=True)
    return {
        pseudonym(key, "drain", one.key): (one.name, one.connected_ms) for one in found if one.connected_ms is not None
    }


def with_commands(said: dict[str, Any], back: Mapping[str, tuple[str, int]]) -> dict[str, Any]:
    """Each drain with the command that opens its page at the moment in question, where the record holds it."""
    drains = []
    for one in said.get("drains", ()):
        hours = one["part_h"] if "part_h" in one else one["to_met_h"]
        opened = None
        if hours is not None and one["drain"] in back:
            name, connected_ms = back[one["drain"]]
            at = datetime.fromtimestamp(connected_ms / 1000 + hours * 3600, UTC).isoformat(timespec="seconds")
            opened = f"slackwater assess --drain {name} --at {at} --page {name.replace('/', '-')}.html"
        drains.append({**one, "open": opened})
    return {**said, "drains": drains} if drains else said


def _grid(
    limits: str | None, hours: str | None, fluids: str | None, means: str | None, gaps: str | None
) -> Grid | None:
    from slackwater.audit.variants import Grid

    if not any((limits, hours, fluids, means, gaps)):
        return None
    if limits is None or hours is None:
        raise UsageError("the grid has no limit or no length", mend="Give both, e.g. --limits 20,50 --hours 6,8.")
    if not all((*_numbers(limits, "--limits"), *_numbers(hours, "--hours"))):
        raise UsageError("a limit or a length of 0 is no rule", where="--limits, --hours", mend="Leave 0 out.")
    minutes = _numbers(means, "--means")
    if any(one % 1 for one in minutes):
        raise UsageError(f"{means!r} are no whole minutes", where="--means", mend="Write 10, or 0 for every reading.")
    grid = Grid(
        _numbers(limits, "--limits"), tuple(3600 * one for one in _numbers(hours, "--hours")),
        tuple(round(one) for one in minutes), _numbers(fluids, "--fluids"),
        tuple(60 * one for one in _numbers(gaps, "--gaps")),
    )  # fmt: skip
    if len(grid) > MOST_RULES:
        what = f"{len(grid)} rules are more than the {MOST_RULES} that are tried at once"
        raise UsageError(what, mend="Give fewer numbers.")
    return grid


def _numbers(text: str | None, option: str) -> tuple[float, ...]:
    try:
        found = tuple(sorted(float(part) for part in text.split(","))) if text else ()
    except ValueError:
        found = (-1.0,)
    if any(not 0 <= one < 1e6 for one in found):
        raise UsageError(f"{text!r} are no numbers", where=option, mend="Write them with commas between: 10,20,50.")
    return found
