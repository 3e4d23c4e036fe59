"""The audit pack: a cohort's figures, what is missing first, each defined, small numbers kept back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars

from slackwater import __version__
from slackwater.audit.borne_out import BorneOut, borne_out
from slackwater.audit.change import BeforeAfter, Named, before_after
from slackwater.audit.definitions import NO_RISKS, Definition, definitions
from slackwater.audit.differ import Differ, differ
from slackwater.audit.ends_of_drains import Curves, met_to_removed, out_by_day
from slackwater.audit.engines import Failed
from slackwater.audit.figures import Counts, Figure, Hours, Rules, counts_of, hours_of
from slackwater.audit.lasting import CANNOT_TELL, CENSORED, NO, YES
from slackwater.audit.measures import RETURN_DAYS, Asked, Measured
from slackwater.audit.over_time import Drawn, SideBySide, charts_of, funnels_of
from slackwater.audit.risk_of_leak import Against, against_risk
from slackwater.audit.rules import ByRule
from slackwater.audit.splits import Split, splits_of
from slackwater.audit.standing import AIR_UNTOLD, VETO
from slackwater.audit.summary import figures_of
from slackwater.protocol.status import HOLDS, Status

RISKS_GIVEN = "The risks were given with --risks; they are only as good as the model they come from."
KINDS = {
    "planned": "planned", "unplanned": "unplanned", "in_theatre": "in theatre", "exchanged": "exchanged",
    "patient_died": "died with the drain", "transferred": "transferred",
}  # fmt: skip
GUARDS = {  # a guard that was waited for, in words: as the record says so, and where it is silent
    ("tube_open", "not met"): "the tube was not shown open",
    ("tube_open", "cannot tell"): "whether the tube was open cannot be told",
    ("effort_seen", "not met"): "air had come with a cough or effort, and no later try was free of it",
    ("effort_seen", "cannot tell"): "whether air still comes with a cough: no try of it is charted",
    (VETO, "cannot tell"): "something in the record stands against removal: see the patient",
}  # fmt: skip
NOT_FOR = "Not for comparing individuals: neither patients nor staff."
LOOKING_BACK = (
    "Looking back: every figure is worked out of what is recorded now, with chart rows at their own time. What stood "
    "on the screen at the time may have said less."
)


@dataclass(frozen=True)
class Missing:
    """One thing that is not in the record: of how many drains (or hours), and what rests on it."""

    what: str
    missing: float
    of: float
    unit: str
    rests: str


@dataclass(frozen=True)
class Pack:
    """What a report shows, in its order."""

    rules: Rules
    judged_by: tuple[tuple[str, str, str, int | None], ...]  # rule, status, hash, drains
    drains: int
    failed: tuple[Failed, ...]
    missing: tuple[Missing, ...]
    figures: tuple[tuple[str, tuple[Figure, ...]], ...]  # by heading
    counts: tuple[Counts, ...]
    hours: tuple[Hours, ...]
    splits: tuple[Split, ...]
    curves: tuple[Curves, ...]
    charts: tuple[Drawn, ...]
    funnels: tuple[SideBySide, ...]
    differ: tuple[Differ, ...]
    change: BeforeAfter | None
    against: Against | None
    forecast: BorneOut
    definitions: tuple[Definition, ...]
    version: str = __version__


def pack(
    found: Sequence[Measured | Failed], asked: Asked, by: ByRule, rules: Rules, *, dated: bool = False,
    change: Named | None = None, risks: Mapping[str, float] | None = None, forecasts: polars.DataFrame | None = None,
) -> Pack:  # fmt: skip
    """All figures. `dated`: the cohort kept its dates. `risks`: of a prolonged leak, by drain, 0 to 1. `forecasts`:
    as `forecasts_kept` gives them."""
    drains = sorted((one for one in found if isinstance(one, Measured)), key=_place)
    failed = tuple(one for one in found if isinstance(one, Failed))
    ended, stood, leaks = _ended(drains, rules), _at_removal(drains, rules), _leaks(drains, asked, rules)
    inside = [one for one in drains if one.at_removal is not None or not one.removed]
    return Pack(
        rules, _judged_by(drains, by, rules), len(drains), failed, _missing(drains),
        figures_of(drains, asked, rules, ended, leaks), (ended, stood, *leaks),
        _hours(drains, rules), splits_of(drains, asked.zone, rules, n_shown=ended.shown("planned")),
        (met_to_removed(inside, rules), out_by_day(drains, rules, ended)),
        charts_of(drains, rules, asked.zone, dated, None if change is None else change.first,
                  (ended, stood)),
        funnels_of(drains, rules, (ended, *leaks)), differ(inside, rules, change),
        None if change is None else before_after(drains, change, rules),
        against_risk(drains, risks, rules) if risks else None, borne_out(forecasts, len(drains), rules),
        definitions(asked, rules, RISKS_GIVEN if risks else NO_RISKS),
    )  # fmt: skip


def _place(one: Measured) -> tuple[int, str]:
    return one.about.order, one.about.drain


def _hours(drains: Sequence[Measured], rules: Rules) -> tuple[Hours, ...]:
    waited = [
        {GUARDS.get((name, word), f"{name}: {word}".replace("_", " ")): h for (name, word), h in one.waited_h.items()}
        for one in drains
    ]
    holds = [one.avoidable.held_h for one in drains if one.planned and one.avoidable is not None]
    held = [{reason.replace("_", " "): h for reason, h in one.items()} for one in holds]
    off = [{word: minutes / 60 for word, minutes in one.off_min.items()} for one in drains]
    return (
        hours_of("stood", "How the hours stood to the rule", [one.stood_h for one in drains], rules),
        hours_of("waited", "Air clause met, one thing waited for", waited, rules),
        hours_of("held", "Kept under a coded hold, while the rule was met", held, rules),
        hours_of("off_suction", "Off suction while it was ordered", off, rules),
    )


# --- what is missing -------------------------------------------------------------------------------


def _missing(drains: Sequence[Measured]) -> tuple[Missing, ...]:
    n = len(drains)
    hours = sum(one.in_h for one in drains)
    untold = sum(one.stood_h.get(AIR_UNTOLD, 0.0) for one in drains)
    silent = hours - sum(one.logged_h for one in drains)
    known = [one for one in drains if one.removed]

    def of(what: str, flags: Sequence[bool], rests: str, asked: int = n) -> Missing:
        return Missing(what, sum(flags), asked, "drains", rests)

    return (
        of("connection", [one.connected_ms is None for one in drains], "drain-days, out by day"),
        of("a removal (still in, or not written down)", [not one.removed for one in drains], "avoidable hours"),
        of("how it ended", [one.removal is None for one in known], "what counts as planned", len(known)),
        of("a log", [one.blocked is None for one in drains], "everything about air"),
        Missing("hours without any reading", round(silent, 1), round(hours, 1), "hours", "everything about air"),
        Missing("hours in which the air clause cannot be told", round(untold, 1), round(hours, 1), "hours",
                "when the rule held"),
        of("whether the leak lasted", [bool(one.leaks) and one.leaks[0].outcome == CANNOT_TELL for one in drains],
           "prolonged leak"),
        of("a chart", [one.chart is None or not one.chart.entries for one in drains], "charted on time"),
        of("the ward", [one.about.ward is None for one in drains], "by ward, wards side by side"),
        of("the indication", [one.about.indication is None for one in drains], "by indication"),
        *(
            of(f"what came in the {days} d after the removal", [one.back.get(days) is None for one in known],
               "reinsertion; after death, transfer or exchange it is not asked", len(known))
            for days in RETURN_DAYS
        ),
        of("a rule pinned to the drain", [one.pinned is None for one in drains], "the rule in force at the time"),
        of("the same rule: another was pinned", [one.pinned is False for one in drains], "whether it was followed"),
    )  # fmt: skip


# --- counts ----------------------------------------------------------------------------------------


def _judged_by(drains: Sequence[Measured], by: ByRule, rules: Rules) -> tuple[tuple[str, str, str, int | None], ...]:
    names = {f"{rule.name} {rule.version}".strip(): rule for rule in by.rules}
    counted = {name: sum(one.rule == name for one in drains) for name in names}
    counted = {name: n for name, n in counted.items() if n}
    shown = dict(counts_of("rules", "", counted, 0, rules).rows)
    return tuple((name, names[name].status, names[name].sha256, shown[name]) for name in counted)


def _ended(drains: Sequence[Measured], rules: Rules) -> Counts:
    counted = {word: sum(one.removal == kind for one in drains) for kind, word in KINDS.items()}
    untold = sum(one.removal is None for one in drains)
    return counts_of("ended", "How drains ended", counted, untold, rules, apart=KINDS["planned"])


def _at_removal(drains: Sequence[Measured], rules: Rules) -> Counts:
    removed = [one for one in drains if one.planned]
    told = [one for one in removed if one.at_removal is not None and one.at_removal is not Status.NOT_APPLICABLE]

    def count(open_: tuple[Status, ...], reason: bool) -> int:
        return sum(one.at_removal in open_ and one.reason_given is reason for one in told)

    counted = {
        "met": sum(one.at_removal in HOLDS for one in told),
        "not met, reason given": count((Status.NOT_MET,), True),
        "not met, no reason": count((Status.NOT_MET,), False),
        "cannot tell, reason given": count((Status.CANNOT_TELL,), True),
        "cannot tell, no reason": count((Status.CANNOT_TELL,), False),
    }
    title = "The rule at the planned removal"
    return counts_of("at_removal", title, counted, len(removed) - len(told), rules, apart="met")


def _leaks(drains: Sequence[Measured], asked: Asked, rules: Rules) -> tuple[Counts, ...]:
    tables = []
    for place, one in enumerate(asked.leaks):
        outcomes = [drain.leaks[place].outcome for drain in drains]
        counted = {word: outcomes.count(word) for word in (YES, NO, CENSORED)}
        title = f"Leak beyond {one.days} d"
        tables.append(counts_of(f"prolonged_leak_{one.days}d", title, counted, outcomes.count(CANNOT_TELL), rules))
    return tuple(tables)
