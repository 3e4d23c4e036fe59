"""The audit's page: one file that needs no network and no script; what is missing stands first.

It takes the document that `slackwater audit report --json` prints, so that page and document say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from slackwater.errors import MissingPart
from slackwater.report import plots
from slackwater.report.audit_forecast import ENDS, KEPT_BACK, forecast_view
from slackwater.report.page import TURNING, asset, environment

Doc = Mapping[str, Any]
SHARES = ("%",)
NUMBER_KEPT_BACK = "The number of drains is kept back"
LONG_ENOUGH = 8  # points: with fewer a run of seven has no room to begin. Ours
UNTOLD = "cannot be told"


def audit_page(said: Doc) -> str:
    """The whole page as text."""
    return rendered("audit.html", p=_view(said))


def definitions_page(said: Doc) -> str:
    """What each figure is, alone."""
    return rendered("definitions.html", p={"definitions": said["definitions"], "version": said["version"]})


def rendered(name: str, **words: Any) -> str:
    """A page over many drains, by its template."""
    try:
        import jinja2  # noqa: F401
    except ImportError as error:
        raise MissingPart("the page needs jinja2", mend="Install it: pip install 'slackwater[page]'.") from error
    css = "\n".join(asset("assets", one) for one in ("page.css", "audit.css"))
    return environment().get_template(name).render(css=css, **words).translate(TURNING)


def _view(said: Doc) -> dict[str, Any]:
    return {
        "head": _head(said), "cautions": said["cautions"], "looking_back": said["looking_back"],
        "missing": [_missing(one) for one in said["missing"]], "first": first_words(said),
        "failed": said["failed"], "headings": [_heading(part) for part in said["figures"]],
        "hours": [_hours(table) for table in said["hours"]], "counts": [_counts(table) for table in said["counts"]],
        "splits": [_split(one) for one in said["splits"]], "curves": [_curves(one) for one in said["curves"]],
        "charts": [_chart(one) for one in said["charts"]], "funnels": [_funnel(one) for one in said["funnels"]],
        "differ": [_differ(one) for one in said["differ"]],
        "change": None if said["change"] is None else _change(said["change"]),
        "against": None if said["against"] is None else _against(said["against"]),
        "forecast": _forecast(said["forecast"]), "definitions": said["definitions"], "version": said["version"],
    }  # fmt: skip


def _head(said: Doc) -> dict[str, str]:
    kind = "de-identified" if said["cohort"]["de_identified"] else "with dates and ward names: for this house alone"
    return {"drains": str(said["drains"]), "kind": kind, "rules": "; ".join(one[0] for one in said["judged_by"])}


# --- words -----------------------------------------------------------------------------------------


def number(value: float, unit: str) -> str:
    """As many digits as the reader can use."""
    places = 2 if not unit else 0 if unit == "drains" or abs(value) >= 100 else 1
    text = f"{value:,.{places}f}"
    return text.replace(",", " ")


def hours_words(hours: float) -> str:
    return f"{number(hours, 'h')} h"


def estimate_words(one: Doc) -> str:
    """'30.8 h (24.9 to 40.6)', or why there is none."""
    told, unit = one["estimate"], one["unit"]
    if told["value"] is None:
        why = one["note"].removesuffix("kept back").removesuffix(": ").replace(": kept back;", ";")
        return f"{KEPT_BACK}: {why}".removesuffix(": ") if one["kept_back"] else one["note"] or UNTOLD
    mark = f" {unit}" if unit else ""
    text = f"{number(told['value'], unit)}{mark}"
    if told["low"] is not None and told["high"] is not None:
        text += f" ({number(told['low'], unit)} to {number(told['high'], unit)})"
    return text


def first_words(said: Doc) -> list[str]:
    """The first lines a governance meeting reads, each from the tables below."""
    figures = {one["key"]: one for part in said["figures"] for one in part["figures"]}
    by_day = figures["avoidable_day_total"]
    lines = [
        f"Avoidable drain hours: {estimate_words(figures['avoidable_total'])} surely, "
        f"{estimate_words(figures['avoidable_at_most_total'])} at most; "
        f"of the sure ones by day: {estimate_words(by_day)}."
    ]  # fmt: skip
    waited = next(table for table in said["hours"] if table["key"] == "waited")
    if waited["rows"]:
        name, hours, n = waited["rows"][0]
        where = "" if n is None else f" in {n} drains"
        lines.append(f"With the air clause met, most was waited for '{name}': {hours_words(hours)}{where}.")
    back = figures["unplanned"]
    lines.append(f"{back['title']}: {estimate_words(back)}.")
    gaps = [one for one in said["missing"] if one["missing"] >= 0.5 * one["of"] > 0]
    if gaps:
        lines.append("Mostly not recorded: " + ", ".join(one["what"] for one in gaps) + ". See the table above.")
    return lines


# --- tables ----------------------------------------------------------------------------------------


def _missing(one: Doc) -> dict[str, str]:
    return {
        "what": one["what"], "missing": f"{one['missing'] or 'none':} of {one['of']:g} {one['unit']}",
        "share": _percent(one["missing"], one["of"]), "rests": one["rests"], "gap": "gap" if one["missing"] else "",
    }  # fmt: skip


def _heading(part: Doc) -> dict[str, Any]:
    return {"name": part["heading"], "rows": [_figure(one) for one in part["figures"]]}


def _forecast(said: Doc) -> dict[str, Any]:
    view = forecast_view(said)
    groups = [{**one, "figures": [_figure(figure) for figure in one["figures"]]} for one in view["groups"]]
    return {**view, "groups": groups}


def _figure(one: Doc) -> dict[str, str]:
    told = one["estimate"]
    note = "" if one["kept_back"] or told["value"] is None else one["note"]
    return {
        "title": one["title"], "value": estimate_words(one), "note": note, "method": told["method"],
        "n": KEPT_BACK if one["n"] is None else f"{one['n']} {one['of']}",
        "untold": f"{one['untold']} not known" if one["untold"] else "",
    }  # fmt: skip


def _hours(table: Doc) -> dict[str, Any]:
    most = max((row[1] for row in table["rows"]), default=0.0) or 1.0
    rows = [
        {"name": name, "hours": hours_words(hours), "drains": KEPT_BACK if n is None else n,
         "share": _percent(hours, table["total"]), "bar": f"{100 * hours / most:.1f}"}
        for name, hours, n in table["rows"]
    ]  # fmt: skip
    nothing = "Too few drains: kept back." if table["total"] is None else "None recorded."
    return {
        "title": table["title"], "rows": rows, "nothing": nothing,
        "total": "" if table["total"] is None else hours_words(table["total"]),
    }  # fmt: skip


def _percent(part: float, whole: float | None) -> str:
    return f"{part / whole:.0%}" if whole else "–"


def _counts(table: Doc) -> dict[str, Any]:
    rows = [{"name": name, "n": KEPT_BACK if n is None else n} for name, n in table["rows"]]
    total = KEPT_BACK if table["total"] is None else table["total"]
    return {"title": table["title"], "rows": rows, "total": total, "untold": table["untold"]}


def _split(one: Doc) -> dict[str, Any]:
    def row(row: Doc) -> dict[str, Any]:
        return {
            "name": row["name"], "planned": KEPT_BACK if row["planned"] is None else row["planned"],
            "hours": KEPT_BACK if row["hours"] is None else hours_words(row["hours"]),
            "mean": KEPT_BACK if row["mean"] is None else estimate_words(row["mean"]),
        }  # fmt: skip

    return {"title": one["title"], "rows": [row(each) for each in one["rows"]]}


# --- pictures --------------------------------------------------------------------------------------


def _chart(one: Doc) -> dict[str, Any]:
    chart, unit = one["chart"], one["unit"]
    if chart is None:
        return {"title": one["title"], "why": one["why"], "svg": ""}
    times = 100.0 if unit == "%" else 1.0
    marks = [_mark(mark, one["labels"]) for mark in chart["marks"]]
    says = f"{chart['kind']} chart, {one['point']}. " + (
        f"Marked: {'; '.join(marks)}." if marks else _unmarked(len(one["labels"]))
    )
    rows = [
        {"label": label, "value": _cell(value, times, unit), "centre": _cell(centre, times, unit),
         "limits": f"{_cell(low, times, unit)} to {_cell(high, times, unit)}"}
        for label, value, centre, low, high in zip(
            one["labels"], chart["values"], chart["centre"], chart["low"], chart["high"], strict=True
        )
    ]  # fmt: skip
    return {
        "title": one["title"], "unit": unit, "says": says, "rows": rows, "why": "",
        "rules": f"Rule set: {chart['rules']['name']}. A point outside the limits is marked too.",
        "svg": plots.process_chart(chart, f"{one['title']}: {says}", unit, times),
        "below": plots.below(plots.POINTS, unit),
    }  # fmt: skip


def _unmarked(points: int) -> str:
    """No mark among few points is no sign that the process was steady."""
    if points < LONG_ENOUGH:
        return f"Nothing is marked; {points} points are too few to show a run, so that says little."
    return "Nothing is marked: no more than chance is seen."


def _mark(mark: Doc, labels: Sequence[str]) -> str:
    first, last = mark["first"] + 1, mark["last"] + 1
    where = f"point {first}" if first == last else f"points {first} to {last}"
    return f"{where}, {mark['rule']} ({labels[mark['first']]})"


def _cell(value: float | None, times: float, unit: str) -> str:
    return "–" if value is None else number(value * times, unit)


def _curves(one: Doc) -> dict[str, Any]:
    if not one["lines"]:
        return {
            "title": one["title"],
            "why": "Too few drains: kept back, or none to tell it from.",
            "svg": "",
            "rows": (),
        }
    median = one["median"]
    says = (
        (NUMBER_KEPT_BACK if one["n"] is None else f"{one['n']} drains")
        + (f", {one['untold']} more not known" if one["untold"] else "")
        + "."
    )
    if median is not None:
        told = {"estimate": median, "unit": "h", "kept_back": False, "note": "not reached"}
        says += f" Half were out by {estimate_words(told)} after it."
    if one["mean"] is not None:
        told = {"estimate": one["mean"], "unit": "h", "kept_back": False, "note": UNTOLD}
        says += f" On average they stayed {estimate_words(told)} ({one['mean']['method']})."
    every = max(1, len(one["lines"][0]["at"]) // 12)
    rows = [
        {"at": f"{at:g}", "cells": [_span(line, k) for line in one["lines"]]}
        for k, at in enumerate(one["lines"][0]["at"])
        if k % every == 0
    ]
    return {
        "title": one["title"], "says": says, "note": one["note"], "names": [line["name"] for line in one["lines"]],
        "unit": one["unit"], "rows": rows, "why": "",
        "svg": plots.curves(one["lines"], f"{one['title']}: {says}", one["unit"]),
        "below": plots.below(one["unit"], "%", [line["name"] for line in one["lines"]]),
    }  # fmt: skip


def _span(line: Doc, k: int) -> str:
    value, low, high = line["value"][k], line["low"][k], line["high"][k]
    if value is None:
        return "–"
    return f"{value:.0f} %" + ("" if low is None or high is None else f" ({low:.0f} to {high:.0f})")


def _funnel(one: Doc) -> dict[str, Any]:
    found = one["funnel"]
    if found is None:
        return {"title": one["title"], "why": one["why"], "svg": "", "rows": ()}
    times = 100.0 if one["unit"] == "%" else 1.0

    def by(values: Sequence[float | None]) -> list[float | None]:
        return [None if value is None else value * times for value in values]

    bands = [[by(found["low"][k]), by(found["high"][k])] for k in range(len(found["levels"]))]
    values = by(found["values"])
    outside = [name for k, name in enumerate(one["wards"]) if _beyond(values[k], bands[-1], k)]
    says = found["told"] + (
        f" Outside the wide limits: {', '.join(outside)}." if outside else " None lies outside the wide limits."
    )
    says += f" {one['left_out']} wards are too small to be shown." if one["left_out"] else ""
    under, wide = ("drains", 1.0) if one["unit"] == "%" else ("drain-days", 100.0)
    rows = [
        {"ward": ward, "size": number(size * wide, "h"), "value": _cell(value, 1.0, one["unit"]),
         "limits": f"{_cell(bands[-1][0][k], 1.0, one['unit'])} to {_cell(bands[-1][1][k], 1.0, one['unit'])}"}
        for k, (ward, size, value) in enumerate(zip(one["wards"], one["sizes"], values, strict=True))
    ]  # fmt: skip
    return {
        "title": one["title"], "why": "", "says": says, "rows": rows, "unit": one["unit"], "under": under,
        "svg": plots.funnel(
            list(zip(one["wards"], [size * wide for size in one["sizes"]], values, strict=True)),
            [size * wide for size in one["lines_at"]], [by(line) for line in one["lines"]], found["target"] * times,
            f"{one['title']}: {says}", plots.Words(one["unit"], under),
        ),
        "below": plots.below(under, one["unit"]),
    }  # fmt: skip


def _beyond(value: float | None, band: Sequence[Sequence[float | None]], k: int) -> bool:
    low, high = band[0][k], band[1][k]
    return value is not None and ((low is not None and value < low) or (high is not None and value > high))


def _differ(one: Doc) -> tuple[str, str, str, str]:
    groups = f"{one['groups']} compared" + (f", {one['left_out']} too small" if one["left_out"] else "")
    if one["why"]:
        return one["title"], groups, f"not compared: {one['why']}", ""
    return one["title"], groups, chance_words(one["met_to_removed"]), chance_words(one["out_by_day"])


def chance_words(chance: float | None) -> str:
    """As many digits as such a chance is worth."""
    if chance is None:
        return UNTOLD
    return "less than 0.001" if chance < 0.001 else f"{chance:.3f}" if chance < 0.1 else f"{chance:.2f}"


def _change(one: Doc) -> dict[str, Any]:
    rows = [
        {"title": a["title"], "before": estimate_words(a), "after": estimate_words(b)}
        for a, b in zip(one["before"], one["after"], strict=True)
    ]
    return {**one, "rows": rows}


def _against(one: Doc) -> dict[str, Any]:
    if one["excess"] is None:
        return {"why": one["why"], "rows": ()}
    rows = []
    for chart, limit in one["charts"]:
        beyond = "crossed" if chart["crossed"] is not None else "did not cross"
        rows.append(
            f"{chart['odds_ratio']:g} times the odds: {beyond} its limit of {limit['limit']:.1f}, which chance alone "
            f"crosses once in {limit['run_length']:.0f} patients of this mix."
        )
    path, error = one["excess"]["path"][-1], one["excess"]["error"][-1]
    rows.append(f"Observed less expected: {path:+.1f} prolonged leaks, standard error by chance {error:.1f}.")
    mean = f"mean {100 * one['mean_risk']:.0f} %"
    told = f"{one['n']} drains with an outcome and a risk ({mean}); {one['left_out']} left out."
    return {"why": "", "rows": rows, "told": told, **_scores(one["scores"])}


def _scores(one: Doc) -> dict[str, Any]:
    """Risks told against what came."""
    marks = [
        {"hours": 0, "told": 100 * bin_["told"], **{key: _times(bin_["came"][name]) for key, name in ENDS.items()}}
        for bin_ in one["bins"]
    ]
    says = "A mark above the line had it more often than told; upright lines are exact 95 % intervals."
    says += f" {one['left_out']} marks are too small to be shown." if one["left_out"] else ""
    rows = [
        (f"{100 * bin_['low']:.0f} to {100 * bin_['high']:.0f} %", f"{mark['told']:.0f} %",
         f"{mark['came']:.0f} % ({mark['low']:.0f} to {mark['high']:.0f})", str(bin_["n"]))
        for bin_, mark in zip(one["bins"], marks, strict=True)
    ]  # fmt: skip
    return {
        "figures": [_figure(each) for each in one["figures"]], "says": says, "marks": rows,
        "svg": plots.told_and_came(marks, f"Risks told against what came. {says}", named=False) if marks else "",
        "below": plots.below(plots.CHANCE, "came, %"),
    }  # fmt: skip


def _times(value: float | None) -> float | None:
    return None if value is None else 100.0 * value
