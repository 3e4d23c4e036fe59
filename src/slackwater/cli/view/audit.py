"""The audit pack as JSON, and as lines for a person. The page shows this very document."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from slackwater.audit.cohort import Cohort
    from slackwater.audit.measures import Asked
    from slackwater.audit.pack import Pack

SCHEMA = "slackwater-audit-1"


def pack_dict(told: Pack, cohort: Cohort, asked: Asked) -> dict[str, Any]:
    """Everything the page shows. null: cannot be told, or kept back (`kept_back` and `note` say which)."""
    from slackwater.audit.pack import LOOKING_BACK

    said: dict[str, Any] = {
        "schema": SCHEMA,
        "cohort": {
            "drains": len(cohort.drains), "de_identified": cohort.de_identified, "zone": cohort.head.get("zone", ""),
            "made_by": cohort.head.get("made_by", ""),
        },
        "looking_back": LOOKING_BACK, "cautions": cautions(told, cohort),
        "asked": {
            "leaks": [{"limit_ml_per_min": one.limit_ml_per_min, "days": one.days, "least_min": one.least_min}
                      for one in asked.leaks],
            "suction_within_cmh2o": asked.suction_within_cmh2o, "day": list(asked.day),
        },
    }  # fmt: skip
    said |= {one.name: plain(getattr(told, one.name)) for one in fields(told)}
    said["figures"] = [{"heading": heading, "figures": rows} for heading, rows in said["figures"]]
    return said


def cautions(told: Pack, cohort: Cohort) -> list[dict[str, str]]:
    """Those of a report on a cohort: C1, C3, C5, C6, C15, small numbers, and whom it is not for."""
    from slackwater.assessment.cautions import ABSENCE, SUPPORT_ONLY
    from slackwater.audit.pack import NOT_FOR

    by = "; ".join(f"{name} ({sha256[:12]}), status {status}" for name, status, sha256, _ in told.judged_by)
    small = next(one.text for one in told.definitions if one.key == "small")
    found = (
        (SUPPORT_ONLY.id, SUPPORT_ONLY.text), (ABSENCE.id, ABSENCE.text),
        ("cau-C5", f"Of {told.drains} past drains as collected by {cohort.head.get('made_by', 'slackwater')}. What was "
                   "recorded or corrected later is not in it."),
        ("cau-C6", f"Judged by {by or 'no rule'}. The numbers are the rule's; none comes from this program."),
        ("cau-C15", "Tested with simulated and published data; no clinical benefit is claimed."),
        ("cau-small", small), ("cau-individuals", NOT_FOR),
    )  # fmt: skip
    return [{"id": id_, "text": text} for id_, text in found]


def plain(value: Any) -> Any:
    """Values as JSON has them: NaN and infinity as null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple) or hasattr(value, "tolist"):
        whole = value.tolist() if hasattr(value, "tolist") else value
        return plain(whole) if not isinstance(whole, list | tuple) else [plain(one) for one in whole]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def text(said: Mapping[str, Any]) -> str:
    """The figures as lines; the page holds the rest."""
    from slackwater.report.audit_page import estimate_words, hours_words

    lines = [f"{said['drains']} past drains, looking back; " + ", ".join(one[0] for one in said["judged_by"])]
    gaps = [one for one in said["missing"] if one["missing"]]
    lines += ["", "missing:"] + [f"  {one['what']}: {one['missing']:g} of {one['of']:g} {one['unit']}" for one in gaps]
    for part in said["figures"]:
        lines += ["", part["heading"]]
        lines += [f"  {one['title']}: {estimate_words(one)}" for one in part["figures"]]
    for group in said["forecast"]["groups"]:
        told = "kept back" if group["drains"] is None else f"{group['forecasts']} forecasts of {group['drains']} drains"
        lines += ["", f"The forecast, told against came: {group['title'].lower()} ({told})"]
        lines += [f"  {one['title']}: {estimate_words(one)}" for one in group["figures"]]
    for table in said["hours"]:
        if table["rows"]:
            lines += ["", table["title"]] + [
                f"  {name}: {hours_words(hours)}, {'number of' if n is None else n} drains"
                + (" kept back" if n is None else "")
                for name, hours, n in table["rows"]
            ]
    lines += _tables(said["counts"])
    if said["change"] is not None:
        change = said["change"]
        lines += ["", change["name"], f"  {change['verdict']}", f"  {change['steady']}", f"  {change['cannot_say']}"]
    lines += [f"left out: {one['item']}: {one['why']}" for one in said["failed"]]
    return "\n".join([*lines, "", *(one["text"] for one in said["cautions"])])


def _tables(tables: Sequence[Mapping[str, Any]]) -> list[str]:
    lines: list[str] = []
    for table in tables:
        lines += ["", table["title"]] + [f"  {name}: {'kept back' if n is None else n}" for name, n in table["rows"]]
        lines += [f"  not recorded, or cannot be told: {table['untold']}"] if table["untold"] else []
    return lines
