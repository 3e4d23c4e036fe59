"""The page of a replay: rules against each other, what the drains recorded after each, and what it cannot show.

It takes the document that `slackwater replay --json` prints.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from slackwater.report import plots
from slackwater.report.audit_page import number, rendered

Doc = Mapping[str, Any]
PUBLISHED = "the rule that a published replay of 400 courses found best (JTCVS Open 2024): below 50 mL/min for 8 h"
NO_WAY_BACK = (
    "The drains stand under pseudonyms. The way back to a drain's own page needs the record and the key of the "
    "pseudonyms: replay with --record and --key."
)

ELSE_AS = (
    "In all else each is as {rule} has it (averaging, gaps, guards, other clauses); another rule with the same limit "
    "may judge otherwise."
)


def replay_page(said: Doc) -> str:
    """The whole page as text."""
    rule = _named(said["protocol"])
    view: dict[str, Any] = {
        "title": f"{_rules(said)} over {said['cohort_drains']} past drains", "cannot": said["cannot_show"],
        "support": said["support"], "failed": said["failed"], "version": said["version"], "pictures": (), "sums": (),
        "drains": None, "back": "", "else_as": ELSE_AS.format(rule=rule),
    }  # fmt: skip
    if "grid" in said:
        view["pictures"] = [_picture(outer, said["grid"]) for outer in dict.fromkeys(map(_outer, said["grid"]))]
    else:
        view["sums"] = [_sum(one) for one in said.get("sums", [said.get("sum")])]
        view["drains"] = _pairs(said) if "sums" in said else _drains(said["drains"])
        if not any(one.get("open") for one in said["drains"]):
            view["back"] = NO_WAY_BACK
            view["drains"] = _narrower(view["drains"])
    return rendered("replay.html", p=view)


def _rules(said: Doc) -> str:
    names = [_named(said[one]) for one in ("protocol", "against") if one in said]
    return f"A grid made from {names[0]}" if "grid" in said else " and ".join(names)


# --- a grid ----------------------------------------------------------------------------------------


def _outer(cell: Doc) -> tuple[float | None, float | None, float | None]:
    return cell["mean_min"], cell["fluid_ml"], cell["gaps_min"]


def _picture(outer: tuple[float | None, float | None, float | None], grid: Sequence[Doc]) -> dict[str, Any]:
    cells = [cell for cell in grid if _outer(cell) == outer]
    mean, fluid, gaps = outer
    told = [] if mean is None else [f"means of {mean:g} min" if mean else "every reading"]
    told += [] if fluid is None else [f"fluid limit {fluid:g} mL"]
    told += [] if gaps is None else [f"gaps to {gaps:g} min"]
    marks = [
        {
            "hours": cell["to_met_h"]["value"], "limit": cell["limit_ml_per_min"], "length": cell["hours"],
            "share": (
                None if cell["came_back_of_all"]["value"] is None else 100 * cell["came_back_of_all"]["value"]
            ),
            "known": cell["published"],
        }
        for cell in cells
    ]  # fmt: skip
    lost = sum(mark["hours"] is None or mark["share"] is None for mark in marks)
    says = (
        f"{len(cells)} rules. To the right the rule held later; further up more of all drains leaked again after "
        "it, while still in. Each shape is a limit, named on the right; the figure at a mark is the length of the run."
    )
    if any(mark["known"] for mark in marks):
        says += f" Filled and ringed: {PUBLISHED}."
    if lost:
        says += f" {lost} are not drawn: no median, or no drain to tell."
    return {
        "title": "Waiting against air that came again" + (f" ({', '.join(told)})" if told else ""), "says": says,
        "svg": plots.trade_off(marks, says),
        "below": plots.below(
            plots.UNTIL_HELD, "% of all, with air again",
            shapes=[f"{limit:g} mL/min" for limit in dict.fromkeys(
                mark["limit"] for mark in marks if mark["hours"] is not None and mark["share"] is not None
            )],
        ),
        "rows": [_cell(cell) for cell in cells],
    }  # fmt: skip


def _cell(cell: Doc) -> tuple[str, ...]:
    mark = " (published)" if cell["published"] else ""
    back, largest = cell["came_back"], cell["came_back_largest_ml_per_min"]
    return (
        f"below {cell['limit_ml_per_min']:g} mL/min for {cell['hours']:g} h{mark}",
        f"{cell['met']} of {cell['drains']}", str(cell["cannot_tell"]),
        _range(cell["to_met_h"], 1.0, "h"), _range(cell["saved_h"], 1.0, "h"),
        _range(back, 100.0, "%"), "–" if cell["watched"] is None else f"{cell['watched']:.0%}",
        "–" if largest is None else f"{largest:.0f} mL/min",
    )  # fmt: skip


def _range(one: Doc, times: float, unit: str) -> str:
    if one["value"] is None:
        return "not known"
    text = f"{number(one['value'] * times, unit)} {unit}"
    if one["low"] is None or one["high"] is None:
        return f"{text} (no interval)"
    return f"{text} ({number(one['low'] * times, unit)} to {number(one['high'] * times, unit)})"


# --- one rule, or two ------------------------------------------------------------------------------


def _sum(one: Doc) -> dict[str, Any]:
    return {
        "rule": one["rule"],
        "rows": (
            ("held in", f"{one['met']} of {one['drains']} drains"), ("never held in", f"{one['never']}"),
            ("cannot tell in", f"{one['cannot_tell']}"), ("not for", f"{one['outside']}"),
            *([("left out", f"{one['failed']}")] if one["failed"] else []),
            ("from connection until met, median of all it is for (Kaplan-Meier)", _range(one["to_met_h"], 1.0, "h")),
            ("from it to the planned removal, median", _range(one["saved_h"], 1.0, "h")),
            ("air again after it, while still in", _range(one["came_back"], 100.0, "%")),
            ("of the time after it, recorded and free of doubt",
             "–" if one["watched"] is None else f"{one['watched']:.0%}"),
        ),
    }  # fmt: skip


def _drains(drains: Sequence[Doc]) -> dict[str, Any]:
    head = ("drain", "held after", "before the removal", "air again", "its page at that moment")
    return {
        "title": "Drain by drain",
        "head": head,
        "rows": [(*_row(one), one.get("open") or "") for one in drains],
        "plain": False,
    }


def _narrower(table: Doc) -> dict[str, Any]:
    """Without the column of commands, where there is none; the last is then no code."""
    return {**table, "head": table["head"][:-1], "rows": [row[:-1] for row in table["rows"]], "plain": True}


def _row(one: Doc) -> tuple[str, str, str, str]:
    back = one["came_back_after_h"]
    saved = one["saved_h"]
    return (
        one["drain"], _when(one), "–" if saved is None else f"{saved:.1f} h",
        "–" if back is None else f"after {back:.1f} h, {one['came_back_largest_ml_per_min']:.0f} mL/min",
    )  # fmt: skip


def _pairs(said: Doc) -> dict[str, Any]:
    head = ("drain", _named(said["protocol"]), _named(said["against"]), "they part", "its page at that moment")
    rows = []
    for one in said["drains"]:
        parts = one["part_h"]
        part = "they do not" if parts is None else f"{parts:.1f} h after connection"
        rows.append((one["drain"], _when(one["first"]), _when(one["second"]), part, one.get("open") or ""))
    return {"title": "Drain by drain", "head": head, "rows": rows, "plain": False}


def _when(one: Doc) -> str:
    return str(one["verdict"]) if one["to_met_h"] is None else f"held after {one['to_met_h']:.1f} h"


def _named(rule: Doc) -> str:
    return f"{rule['name']} {rule['version']}".strip()
