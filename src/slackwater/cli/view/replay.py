"""A replay as JSON and as lines for a person."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from slackwater import __version__

if TYPE_CHECKING:
    from slackwater.audit.cohort import Cohort
    from slackwater.audit.engines import Failed
    from slackwater.audit.replays import Row, Summed
    from slackwater.audit.rules import ByRule
    from slackwater.audit.statistics.estimate import Estimate
    from slackwater.audit.variants import Variant
    from slackwater.protocol.rule import Protocol

SUPPORT = "It supports decisions; clinicians and local policy decide. For no comparison of single patients."


def rule_dict(cohort: Cohort, by: ByRule, found: Sequence[Row | Failed]) -> dict[str, Any]:
    from slackwater.audit.replays import summed, told_apart

    rows, failed = told_apart(found)
    return {
        **_head(cohort, by.rules), "sum": _sum(summed(_named(by.rules), rows, len(failed))),
        "drains": [_row(row) for row in rows], **_tail(failed),
    }  # fmt: skip


def pair_dict(cohort: Cohort, by: ByRule, other: Protocol, found: Sequence[tuple[Row, Row] | Failed]) -> dict[str, Any]:
    from slackwater.audit.engines import Failed
    from slackwater.audit.replays import summed

    pairs = [one for one in found if not isinstance(one, Failed)]
    failed = [one for one in found if isinstance(one, Failed)]
    return {
        **_head(cohort, by.rules), "against": _rule((other,)),
        "sums": [
            _sum(summed(_named(one), [pair[place] for pair in pairs], len(failed)))
            for place, one in enumerate((by.rules, (other,)))
        ],
        "drains": [
            {
                "drain": a.drain, "first": _row(a), "second": _row(b),
                "second_later_h": _number(b.to_met_h - a.to_met_h), "part_h": part_h(a, b),
            }
            for a, b in pairs
        ],
        **_tail(failed),
    }  # fmt: skip


def grid_dict(
    cohort: Cohort, rule: Protocol, found: Sequence[tuple[Variant, Summed]], failed: Sequence[Failed]
) -> dict[str, Any]:
    return {
        **_head(cohort, (rule,)),
        "grid": [
            {
                "limit_ml_per_min": variant.limit_ml_per_min, "hours": variant.lasting_s / 3600,
                "mean_min": variant.bin_min, "fluid_ml": variant.fluid_ml,
                "gaps_min": None if variant.gaps_s is None else variant.gaps_s / 60,
                "published": _published(rule, variant), **_sum(one),
            }
            for variant, one in found
        ],
        **_tail(failed),
    }  # fmt: skip


def part_h(one: Row, other: Row) -> float | None:
    """Hours from connection to when the first of them held, if the other did not then; None: they do not part."""
    times = sorted(at for at in (one.to_met_h, other.to_met_h) if not math.isnan(at))
    if not times or (len(times) == 2 and times[0] == times[1]):
        return None
    return times[0]


def _published(rule: Protocol, variant: Variant) -> bool:
    """Below 50 mL/min for 8 h, means of 10 min: what a replay of 400 courses found best. Source: JTCVS Open 2024."""
    air = rule.air_clause
    mean = variant.bin_min if variant.bin_min is not None else None if air is None else air.bin_min
    return (variant.limit_ml_per_min, variant.lasting_s, mean) == (50.0, 8 * 3600.0, 10)


def text(said: Mapping[str, Any]) -> str:
    """What `--json` says, for a person."""
    rule = said["protocol"]
    lines = [f"{rule['name']} {rule['version']} over {said['cohort_drains']} past drains, looking back"]
    if "grid" in said:
        lines += ["In all but what is tried here, each is as this rule has it.", *_grid_lines(said["grid"])]
    elif "sums" in said:
        lines += [line for one in said["sums"] for line in _sum_lines(one)] + _pair_lines(said["drains"])
    else:
        lines += [*_sum_lines(said["sum"]), *_drain_lines(said["drains"])]
    lines += [f"left out: {one['drain']}: {one['why']}" for one in said["failed"]]
    return "\n".join([*lines, "", said["cannot_show"], SUPPORT])


def _sum_lines(one: Mapping[str, Any]) -> list[str]:
    return [
        "",
        f"{one['rule']}: held in {one['met']} of {one['drains']} drains; never in {one['never']}; cannot tell in "
        f"{one['cannot_tell']}; not for {one['outside']}" + (f"; left out {one['failed']}" if one["failed"] else ""),
        f"  from connection until met: median of all it is for (Kaplan-Meier) {_estimate(one['to_met_h'], ' h')}",
        f"  from it to the planned removal: median {_estimate(one['saved_h'], ' h')}, "
        f"{one['saved_total_h']:.0f} h in all; {one['out_before']} drains were out before it held",
        f"  air recorded again after it, while still in: {_share(one)}",
    ]


def _share(one: Mapping[str, Any]) -> str:
    share = one["came_back"]
    if share["value"] is None:
        return "no drain to tell"
    text = f"{share['value']:.0%} ({_ends(share, 100)} %)"
    if one["came_back_largest_ml_per_min"] is not None:
        text += f", largest {one['came_back_largest_ml_per_min']:.0f} mL/min"
        text += f", half of them within {one['came_back_after_h']:.1f} h"
    if one["watched"] is not None:
        text += f"; {one['watched']:.0%} of the time after it is recorded and free of doubt"
    return text


def _grid_lines(cells: Sequence[Mapping[str, Any]]) -> list[str]:
    lines: list[str] = []
    outer = list(dict.fromkeys((one["mean_min"], one["fluid_ml"], one["gaps_min"]) for one in cells))
    blocks: tuple[tuple[str, Callable[[Mapping[str, Any]], str]], ...] = (
        ("held in, of all drains", lambda one: f"{one['met']}"),
        ("hours from connection until met, median of all it is for", lambda one: _short(one["to_met_h"]["value"])),
        ("hours from it to the planned removal, median", lambda one: _short(one["saved_h"]["value"])),
        ("air again after it, of drains in which it held", lambda one: _percent(one["came_back"]["value"])),
        ("of the time after it, recorded and free of doubt", lambda one: _percent(one["watched"])),
        ("largest of that air, mL/min", lambda one: _short(one["came_back_largest_ml_per_min"], 0)),
    )
    for mean, fluid, gaps in outer:
        here = [one for one in cells if (one["mean_min"], one["fluid_ml"], one["gaps_min"]) == (mean, fluid, gaps)]
        told = [] if mean is None else [f"means of {mean} min" if mean else "every reading"]
        told += [] if fluid is None else [f"fluid {fluid:g} mL"]
        told += [] if gaps is None else [f"gaps to {gaps:g} min"]
        hours = list(dict.fromkeys(one["hours"] for one in here))
        limits = list(dict.fromkeys(one["limit_ml_per_min"] for one in here))
        for heading, cell in blocks:
            lines += ["", heading + (f" ({', '.join(told)})" if told else "")]
            lines.append("  below mL/min" + "".join(f"{hour:7g} h" for hour in hours))
            for limit in limits:
                row = {one["hours"]: cell(one) for one in here if one["limit_ml_per_min"] == limit}
                lines.append(f"  {limit:12g}" + "".join(f"{row[hour]:>9}" for hour in hours))
    return lines


def _pair_lines(drains: Sequence[Mapping[str, Any]]) -> list[str]:
    lines = ["", "drain              first rule          second rule         second later by"]
    for one in drains:
        later = one["second_later_h"]
        lines.append(
            f"{one['drain']}   {_when(one['first']):<19} {_when(one['second']):<19} "
            + ("-" if later is None else f"{later:.1f} h")
        )
    return lines


def _drain_lines(drains: Sequence[Mapping[str, Any]]) -> list[str]:
    lines = ["", "drain              held after          before removal  air again"]
    for one in drains:
        back = "-" if one["came_back_after_h"] is None else (
            f"after {one['came_back_after_h']:.1f} h, {one['came_back_largest_ml_per_min']:.0f} mL/min"
        )  # fmt: skip
        saved = "-" if one["saved_h"] is None else f"{one['saved_h']:.1f} h"
        lines.append(f"{one['drain']}   {_when(one):<19} {saved:<15} {back}")
    return lines


def _when(row: Mapping[str, Any]) -> str:
    return f"{row['to_met_h']:.1f} h" if row["to_met_h"] is not None else str(row["verdict"])


def _head(cohort: Cohort, rules: Sequence[Protocol]) -> dict[str, Any]:
    return {
        "schema": "slackwater-replay-1", "version": __version__, "cohort_drains": len(cohort.drains),
        "protocol": _rule(rules),
    }  # fmt: skip


def _rule(rules: Sequence[Protocol]) -> dict[str, Any]:
    """The rule; or, where each drain has its own, their names."""
    if len(rules) == 1:
        rule = rules[0]
        return {"name": rule.name, "version": rule.version, "status": rule.status, "sha256": rule.sha256}
    return {"name": _named(rules), "version": "", "status": "pinned", "sha256": None}


def _named(rules: Sequence[Protocol]) -> str:
    names = [f"{rule.name} {rule.version}".strip() for rule in rules]
    return names[0] if len(names) == 1 else f"each drain's own rule ({', '.join(names)})"


def _tail(failed: Sequence[Failed]) -> dict[str, Any]:
    from slackwater.audit.replays import WHAT_IT_CANNOT_SHOW

    return {
        "failed": [{"drain": one.item, "why": one.why.removeprefix(f"{one.item}: ")} for one in failed],
        "cannot_show": WHAT_IT_CANNOT_SHOW, "support": SUPPORT,
    }  # fmt: skip


def _row(row: Row) -> dict[str, Any]:
    return {
        "drain": row.drain, "verdict": row.verdict, "to_met_h": _number(row.to_met_h),
        "saved_h": _number(row.saved_h), "came_back_after_h": _number(row.back_h),
        "came_back_largest_ml_per_min": _number(row.largest), "out_before": row.out_before,
        "watched_h": round(row.watched_h, 3), "after_h": round(row.after_h, 3),
    }  # fmt: skip


def _sum(one: Summed) -> dict[str, Any]:
    return {
        "rule": one.told, "drains": one.drains, "met": one.met, "cannot_tell": one.cannot_tell, "never": one.never,
        "outside": one.outside, "failed": one.failed, "out_before": one.out_before,
        "to_met_h": _estimated(one.to_met_h), "saved_h": _estimated(one.saved_h), "saved_total_h": one.saved_total_h,
        "came_back": _estimated(one.came_back), "came_back_of_all": _estimated(one.came_back_of_all),
        "came_back_largest_ml_per_min": one.came_back_largest,
        "came_back_after_h": one.came_back_after_h, "watched": one.watched,
    }  # fmt: skip


def _estimated(one: Estimate) -> dict[str, Any]:
    return {"value": one.value, "low": one.low, "high": one.high, "level": one.level, "method": one.method}


def _estimate(one: Mapping[str, Any], unit: str) -> str:
    return "not known" if one["value"] is None else f"{one['value']:.1f}{unit} ({_ends(one)})"


def _ends(one: Mapping[str, Any], times: float = 1.0) -> str:
    if one["low"] is None or one["high"] is None:
        return "too few for an interval"
    return f"{one['level']:.0%}: {times * one['low']:.1f} to {times * one['high']:.1f}"


def _short(value: float | None, places: int = 1) -> str:
    return "-" if value is None else f"{value:.{places}f}"


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.0%}"


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value
