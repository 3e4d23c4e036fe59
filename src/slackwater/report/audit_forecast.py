"""The audit page's part on the forecast: what was told against what came, as figures, a picture and its table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from slackwater.report import plots

Doc = Mapping[str, Any]
KEPT_BACK = "kept back"


def forecast_view(said: Doc) -> dict[str, Any]:
    """Of the document's `forecast`."""
    return {
        "why": said["why"], "groups": [_group(one) for one in said["groups"]],
        "withheld": [
            (why, KEPT_BACK if moments is None else moments, KEPT_BACK if drains is None else drains)
            for why, moments, drains in said["withheld"]
        ],
        "without": "" if not said["without"] or said["why"] else (
            f"Of {said['without']} drains there are none: collected without them, out before the first moment, or "
            "under no rule."
        ),
    }  # fmt: skip


def _group(one: Doc) -> dict[str, Any]:
    if one["drains"] is None:
        return {"title": one["title"], "why": "Too few drains: kept back.", "svg": "", "rows": (), "figures": ()}
    shown = [mark for mark in one["marks"] if mark["drains"] is not None and mark["came"]["value"] is not None]
    hidden = len(one["marks"]) - len(shown)
    told = (
        f"{one['forecasts']} forecasts of {one['drains']} drains; at {one['held']} more moments it held already. A "
        "mark above the line came more often than told, below it less often; upright lines are 95 % intervals."
    )
    told += f" {hidden} marks rest on too few drains and are not drawn." if hidden else ""
    marks = [
        {"hours": mark["hours"], "told": mark["told"], **{name: mark["came"][key] for name, key in ENDS.items()}}
        for mark in shown
    ]
    return {
        "title": one["title"], "why": "", "says": told, "figures": one["figures"],
        "svg": plots.told_and_came(marks, f"{one['title']}: {told}") if marks else "",
        "rows": [_row(mark) for mark in shown],
        "below": plots.below(
            plots.CHANCE, "came, %", shapes=[f"within {h} h" for h in dict.fromkeys(mark["hours"] for mark in shown)]
        ),
    }  # fmt: skip


ENDS = {"came": "value", "low": "low", "high": "high"}


def _row(mark: Doc) -> tuple[str, ...]:
    came = mark["came"]
    ends = "" if came["low"] is None or came["high"] is None else f" ({came['low']:.0f} to {came['high']:.0f})"
    return (
        f"{mark['hours']} h", f"{100 * mark['low']:.0f} to {100 * mark['high']:.0f} %", f"{mark['told']:.0f} %",
        f"{came['value']:.0f} %{ends}", str(mark["forecasts"]), str(mark["drains"]),
    )  # fmt: skip
