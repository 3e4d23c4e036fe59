"""The pack's figures, by heading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from slackwater.audit.figures import (
    Counts,
    Figure,
    Rules,
    gives_away,
    kept_from_sight,
    mean_of,
    median_of,
    rate_of,
    share_of,
    total_of,
    without_n,
)
from slackwater.audit.lasting import CANNOT_TELL, CENSORED, NO, YES
from slackwater.audit.measures import RETURN_DAYS, Asked, Measured, blocked_in, days_in


def figures_of(
    drains: Sequence[Measured], asked: Asked, rules: Rules, ended: Counts, leaks: Sequence[Counts]
) -> tuple[tuple[str, tuple[Figure, ...]], ...]:
    planned = [one for one in drains if one.planned]
    shown = ended.shown("planned")
    whose = [one.about.patient for one in planned]
    hours = [one.avoidable for one in planned]
    in_days = [one for one in drains if one.removed]
    met = [one for one in drains if one.first_met_h is not None and one.removed]
    begin, end = asked.day

    def told(name: str) -> list[float | None]:
        return [None if one is None else float(getattr(one, name)) for one in hours]

    of, clock = "planned removals", f"{begin:02d}:00-{end:02d}:00"
    ways = (("", "surely_h", "surely"), ("_at_most", "at_most_h", "at most"), ("_day", "by_day_h", clock))
    totals = [
        total_of(f"avoidable{way}_total", f"Avoidable hours, {words}, in all", "h", told(name), of, rules)
        for way, name, words in ways
    ]
    means = [
        mean_of(f"avoidable{way}_mean", f"Avoidable hours, {words}, mean", "h", told(name), whose, of, rules)
        for way, name, words in ways
    ]
    medians = [
        median_of(f"avoidable{way}_median", f"Avoidable hours, {words}, median", "h", told(name), whose, of, rules)
        for way, name, words in ways
    ]
    ever = [one for one in drains if one.first_met_h is not None]
    first_met = median_of(
        "first_met", "Of drains that ever met it: from connection to first met, median", "h",
        [one.first_met_h for one in ever], [one.about.patient for one in ever], "drains", rules,
    )  # fmt: skip
    false_start = share_of(  # a share tells of how many it is one, to who tries them
        "false_start", "Met, and not up to the removal", sum(one.met_to_end_h != one.first_met_h for one in met),
        len(met), "drains that are out and met the rule", rules,
    )  # fmt: skip
    few = gives_away(len(ever), len(drains), rules)
    never = "" if few else f"in {len(drains) - len(ever)} more it never held, or not for certain"
    return (
        ("Time in", (
            total_of("drain_days", "Drain-days", "d", [one.drain_days for one in drains], "drains", rules),
            median_of("tube_days", "Tube days, median", "d", [one.tube_days for one in in_days],
                      [one.about.patient for one in in_days], "drains that are out", rules),
        )),
        ("Avoidable hours", tuple(without_n(one, shown) for one in (*totals, *means, *medians))),
        ("When the rule held", (
            without_n(replace(first_met, note=first_met.note or (never if len(ever) < len(drains) else "")), not few),
            kept_from_sight(false_start) if gives_away(len(met), len(drains), rules) else false_start,
        )),
        ("After the removal, and before it", (
            *(_share_back(drains, days, rules) for days in RETURN_DAYS),
            *_per_days(drains, rules, ended),
            *(_prolonged(drains, asked, place, rules, leaks[place]) for place in range(len(asked.leaks))),
        )),
        ("Suction and charting", (*_suction(drains, asked, rules), *_charting(drains, rules))),
    )  # fmt: skip


def _share_back(drains: Sequence[Measured], days: int, rules: Rules) -> Figure:
    """Of whom it is not asked (death, transfer, exchange) stands with what is not known: their number is small."""
    out = [one for one in drains if one.removed]
    known = [one.back.get(days) for one in out if one.back.get(days) is not None]
    return share_of(f"back_{days}d", f"Another drain within {days} d", sum(bool(one) for one in known), len(known),
                    "removals", rules, len(out) - len(known))  # fmt: skip


def _per_days(drains: Sequence[Measured], rules: Rules, ended: Counts) -> tuple[Figure, ...]:
    out = [one for one in drains if one.drain_days is not None and one.removal is not None]
    logged = [one for one in out if one.blocked is not None]
    unplanned = rate_of(
        "unplanned", "Unplanned removals", sum(one.removal == "unplanned" for one in out), days_in(out),
        "drains that are out", rules, len(out), len(drains) - len(out),
    )  # fmt: skip
    return (
        unplanned if unplanned.kept_back or not ended.hides("unplanned") else kept_from_sight(unplanned),
        rate_of("blocked", "Blocked stretches", blocked_in(logged),
                days_in(logged), "drains that are out, with a log", rules, len(logged),
                len(drains) - len(logged)),
    )  # fmt: skip


def _prolonged(drains: Sequence[Measured], asked: Asked, place: int, rules: Rules, counts: Counts) -> Figure:
    days = asked.leaks[place].days
    outcomes = [one.leaks[place].outcome for one in drains]
    yes, no = outcomes.count(YES), outcomes.count(NO)
    told = share_of(f"prolonged_leak_{days}d", f"Leak beyond {days} d, of yes and no", yes, yes + no, "drains", rules,
                    outcomes.count(CANNOT_TELL), elsewhere=True)  # fmt: skip
    return kept_from_sight(told) if any(map(counts.hides, (YES, NO, CENSORED))) else told


def _suction(drains: Sequence[Measured], asked: Asked, rules: Rules) -> tuple[Figure, ...]:
    if asked.suction_within_cmh2o is None:
        return ()
    told = [one for one in drains if one.suction is not None]
    shares = [_percent(one.suction.within, one.suction.within + one.suction.outside) for one in told if one.suction]
    untold = sum(one.suction.untold for one in told if one.suction)
    title = f"Minutes within {asked.suction_within_cmh2o:g} cmH2O of the order, median of drains"
    found = median_of("suction", title, "%", shares, [one.about.patient for one in told], "drains with an order", rules)
    return (replace(found, note=found.note or f"{untold / 60:.0f} ordered hours cannot be told"),)


def _charting(drains: Sequence[Measured], rules: Rules) -> tuple[Figure, ...]:
    charts = [(one.chart, one.about.patient) for one in drains if one.chart is not None and one.chart.entries]
    kept = [kept for chart, _ in charts for kept in chart.kept.values()]
    due, on_time = sum(one.due for one in kept), sum(one.on_time for one in kept)
    with_schedule = sum(bool(chart.kept) for chart, _ in charts)
    whose = [patient for _, patient in charts]
    figures = []
    if due:
        late, missed = sum(one.late for one in kept), sum(one.missed for one in kept)
        note = f"of {due} occasions: {late} late, {missed} not charted"
        whole = total_of("charted", "Charted on time, of all occasions", "%", [0.0] * with_schedule, "drains", rules)
        told = replace(whole.estimate, value=_percent(on_time, due), method="share of occasions")
        figures.append(whole if whole.kept_back else replace(whole, estimate=told, note=note))
    at_once, later = (sum(getattr(chart, name) for chart, _ in charts) for name in ("at_once", "written_later"))
    lateness = median_of("written", "Written later by, median", "min", [chart.late_min for chart, _ in charts], whose,
                         "drains", rules)  # fmt: skip
    note = f"{later} entries; {at_once} more were written at once, or when is not told"
    figures.append(replace(lateness, note=lateness.note or note))
    figures.append(
        median_of("silence", "Longest time without an entry, median", "h", [chart.silence_h for chart, _ in charts],
                  whose, "drains", rules)
    )  # fmt: skip
    return tuple(figures)


def _percent(top: float, bottom: float) -> float | None:
    return 100.0 * top / bottom if bottom else None
