"""`slackwater equipment suction`: suction as ordered, set and delivered over one drain's stay."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.judged import Given, judge, judging
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from slackwater.assessment.assessment import Assessment
    from slackwater.assessment.suction import Fidelity


@click.command("suction", short_help="How well ordered suction was kept, and when it was off.")
@judging
@click.option(
    "--within", metavar="PRESSURE", help="So far from the order still counts as kept. Default: as the rule says."
)
@click.option("--may-be-off", metavar="SPAN", help='How long the order lets it be off, e.g. "15 min"; for log files.')
@click.option(
    "--shifts", metavar="TIMES", default="", help='When shifts begin, e.g. "07:00 15:00 23:00". Default: days.'
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context, /, within: str | None, may_be_off: str | None, shifts: str, as_json: bool, **inputs: Any
) -> None:  # fmt: skip
    """How well ordered suction was kept over the stay, shift by shift, and every stretch off it with what explains it.

    Looking back; no verdict rests on it. How near is near enough is the unit's own choice: it has no default.

    \b
    Example:
      slackwater equipment suction log.csv --layout our-unit.toml --chart chart.csv --within "2 cmH2O"
      slackwater equipment suction --drain SIM-0001/1 --within "0.2 kPa"

    Exit: 0 every minute can be told; 3 some cannot; 2 input refused.
    """
    from slackwater.assessment.suction import Allowed, fidelity
    from slackwater.report.suction import MODEL, starts_of, suction_told

    answer = judge(Given(**inputs), "equipment suction")
    starts = starts_of(shifts)
    orders = [one for one in answer.course.orders if one["kind"] == "suction"] if answer.course is not None else []
    allowed = [Allowed(one["from_ms"], one["may_be_off_min"]) for one in orders]
    if may_be_off is not None:
        allowed = [Allowed(0, _minutes(may_be_off))]
    until_ms = None if answer.course is None else answer.course.removed_ms
    found = fidelity(answer.found, _near(within, answer.found), until_ms=until_ms, allowed=allowed)
    if found is None:
        raise UsageError("no log is given: what was delivered is not known", mend="Give the unit's log.")
    told = suction_told(found, answer.ward, starts)
    if as_json:
        click.echo(json.dumps(_document(found, told.summary), ensure_ascii=False, allow_nan=False, indent=2))
    else:
        lines = [told.summary, told.set_against, "", f"Within {told.within}, by {'shift' if starts else 'day'}:"]
        lines += [f"  {row.name}: {row.share}; off {row.off} min, cannot tell {row.untold} min" for row in told.rows]
        lines += ["", "Apart from the order:"] if told.stretches else []
        for row in told.stretches:
            may = f"; {row.may}" if row.may else ""
            lines.append(f"  {row.number}. {row.what}, {row.when}, {row.minutes} min ({row.level}{may}): {row.why}")
        click.echo("\n".join([*lines, "", MODEL, "It supports decisions; clinicians and local policy decide."]))
    share = found.share
    ctx.exit(3 if share.untold or share.clamped or not share.ordered else 0)


def _near(within: str | None, found: Assessment) -> float:
    """cmH2O; the option, else the rule's own."""
    from slackwater.quantities.units import parse_quantity

    if within is not None:
        near = abs(float(parse_quantity(within, "pressure").value))
        if not 0 < near < 100:
            raise UsageError(f"--within {within!r} is no distance", mend="Write e.g. --within '2 cmH2O'.")
        return near
    rule = None if found.evaluation is None else found.evaluation.protocol.suction
    if rule is None or rule.kept_within is None:
        raise UsageError(
            "how far from the order still counts as kept is not said",
            mend="Give --within '2 cmH2O', or a rule whose [suction] says kept_within. There is no default.",
        )
    return float(rule.kept_within.value)


def _minutes(text: str) -> int:
    from slackwater.quantities.spans import parse_span

    return int(parse_span(text) // 60)


def _document(found: Fidelity, summary: str) -> dict[str, Any]:
    share = found.share
    return {
        "summary": summary, "within_cmh2o": found.within_cmh2o,
        "minutes": {**asdict(share), "told": share.told, "ordered": share.ordered}, "share": share.share,
        "stretches": [{**asdict(one), "over_min": one.over_min} for one in found.stretches],
        "set_known_min": found.set_known, "set_apart": [asdict(one) for one in found.set_apart],
    }  # fmt: skip
