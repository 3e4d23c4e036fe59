"""From past drains to a cohort: each kept without what names a person.

De-identified by default: pseudonyms by a key that is kept apart, ages above 89 as 90, no free text, no serial
number, and each stay moved by whole minutes into one and the same week, in which weekday and time of day stand as
the ward's clock showed them at connection. Rare combinations can still be telling: docs/cohort.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import polars

from slackwater import __version__
from slackwater.assessment.assessment import Assessment
from slackwater.audit.case import About, Case, case_of
from slackwater.audit.cohort import Cohort, begin_cohort, close_cohort, collected, write_case
from slackwater.audit.engines import Failed, Over, each
from slackwater.audit.forecasts import forecasts_table
from slackwater.audit.rules import put_rule
from slackwater.audit.shelf import Shelf
from slackwater.audit.stays import Stay
from slackwater.episode.episode import INDICATIONS, OPERATIONS
from slackwater.episode.pseudonyms import FREE_TEXT, SHORTEST_KEY, pseudonym, shift_ms, told_age, told_word
from slackwater.episode.space import entries_for
from slackwater.errors import UsageError
from slackwater.store.derive import pyramid_frame


@dataclass(frozen=True)
class How:
    """Where the cohort lies and how much of a drain it keeps."""

    shelf: Shelf
    key: bytes
    zone: str
    keep_dates: bool = False
    forecasts: bool = True  # keep what was foretold at moments of the stay


@dataclass(frozen=True)
class Job:
    """One drain to be collected: its name in this house, its place in order, and how to read it (must pickle)."""

    drain: str
    order: int
    read: Callable[[str], Stay]


def collect(jobs: Sequence[Job], how: How, over: Over = map) -> Iterator[str | Failed | Cohort]:
    """Each drain's pseudonym as it is done, or why it could not be; last the cohort.

    A drain that is in the folder already is not worked on again, so what was stopped goes on where it was. The same
    key gives the same pseudonyms. Raises UsageError for a short one, for a folder of another kind or key, and for one
    that is being written already.

    Why a drain failed may quote its files, so it is said to who collects and kept only in a cohort with dates.
    """
    if len(how.key) < SHORTEST_KEY:
        raise UsageError("the key of the pseudonyms is too short", mend=f"Give {SHORTEST_KEY} bytes made at random.")
    with how.shelf.alone():
        yield from _collect(jobs, how, over)


def _collect(jobs: Sequence[Job], how: How, over: Over) -> Iterator[str | Failed | Cohort]:
    failed = []
    kind = {"de_identified": not how.keep_dates, "key": pseudonym(how.key, "key", "")}
    begin_cohort(how.shelf, kind)
    names = [pseudonym(how.key, "drain", job.drain) for job in jobs]
    there = collected(how.shelf)
    left = [job for job, name in zip(jobs, names, strict=True) if name not in there]
    yield from (name for name in names if name in there)
    for done in each(over, partial(collect_one, how), left):
        if isinstance(done, Failed):
            done = Failed(pseudonym(how.key, "drain", done.item), done.why)
            failed.append({"drain": done.item, "why": done.why if how.keep_dates else "could not be read"})
        yield done
    yield close_cohort(
        how.shelf,
        {
            "made_by": f"slackwater {__version__}", **kind,
            "zone": how.zone if how.keep_dates else "the ward's clock, as at connection", "failed": failed,
        },
    )  # fmt: skip


def collect_one(how: How, job: Job) -> str:
    """Read and judge one drain, and write its part; returns its pseudonym."""
    stay = job.read(how.zone)
    case = case_of(stay.found, _about(stay, how, job), stay.outcome)
    by_ms = 0 if how.keep_dates else shift_of(case, how.zone)
    more = {"chart": chart_table(stay.found, by_ms)}
    if how.forecasts and stay.found.overall is not None:
        more["forecasts"] = forecasts_table(stay.found, case.from_ms, case.until_ms, by_ms)
    if not how.keep_dates:
        case, more = without_numbers(
            case, more, lambda number: pseudonym(how.key, "number", f"{stay.patient}/{number}")
        )
    if stay.found.trace is not None and stay.found.leak_trace is not None:
        starts = polars.col("start").cast(polars.Int64) + by_ms
        more["pyramid"] = pyramid_frame(stay.found).with_columns(starts)
    if stay.rule is not None and stay.rule_text is not None:
        put_rule(how.shelf, stay.rule[1], stay.rule_text, names_stay=how.keep_dates)
    write_case(how.shelf, case if how.keep_dates else de_identified(case, how.key, _asked(stay.found)), by_ms, more)
    return case.about.drain


def _about(stay: Stay, how: How, job: Job) -> About:
    episode, key, ward = stay.found.episode, how.key, stay.ward
    return About(
        drain=pseudonym(key, "drain", job.drain), patient=pseudonym(key, "patient", stay.patient),
        ward=ward if how.keep_dates or ward is None else f"ward {pseudonym(key, 'ward', ward)[:4]}",
        indication=episode.indication, operation=episode.operation_kind, space=episode.space, side=episode.side,
        age_years=episode.age_years, order=job.order, protocol=None if stay.rule is None else stay.rule[0],
        protocol_sha256=None if stay.rule is None else stay.rule[1],
    )  # fmt: skip


def de_identified(case: Case, key: bytes, asked: Iterable[str] = ()) -> Case:
    """Without an age above 89, and without words that are on no list: each may be a name in the wrong place. What names
    a person by its place is not in a case at all. `asked`: words that the drain's rule asks for; they stay."""
    age = told_age(case.about.age_years)
    indication = told_word(key, case.about.indication, INDICATIONS, asked)
    operation = told_word(key, case.about.operation, OPERATIONS, asked)
    words = {"patient.age_years": age, "indication": indication, "operation.kind": operation}
    there: Mapping[str, Any] = {name: words.get(name, value) for name, value in case.facts.about.items()}
    about = replace(case.about, age_years=age, indication=indication, operation=operation)
    return replace(case, about=about, facts=replace(case.facts, about=there))


def _asked(found: Assessment) -> tuple[str, ...]:
    """What the rule that judged the drain asks about a patient, in its own words."""
    if found.evaluation is None:
        return ()
    applies = found.evaluation.protocol.applies
    return (*applies.indication, *applies.excludes, *applies.needs)


def without_numbers(
    case: Case, tables: dict[str, polars.DataFrame], called: Callable[[str], str]
) -> tuple[Case, dict[str, polars.DataFrame]]:
    """Drains under other names in fluid and chart: a unit's own numbers may tell a patient."""

    def told(number: str | None) -> str | None:
        return None if number is None else called(number)

    records = {
        scope: tuple(replace(one, drain=told(one.drain)) for one in kept) for scope, kept in case.records.items()
    }
    chart = tables["chart"]
    numbers = polars.Series("drain", [told(one) for one in chart["drain"].to_list()], polars.String)
    return replace(case, records=records), {**tables, "chart": chart.with_columns(numbers)}


def shift_of(case: Case, zone: str) -> int:
    """By how many ms, a whole number of minutes, the stay is moved so that it begins in the one week."""
    return shift_ms(case.from_ms, zone)


def chart_table(found: Assessment, by_ms: int) -> polars.DataFrame:
    """What staff charted of this drain and its patient, of the items that are known, without free text and names."""
    rows = [
        {
            "time_ms": one.time + by_ms, "recorded_ms": one.recorded + by_ms, "item": one.item, "drain": one.drain,
            "number": one.value if isinstance(one.value, float) else None,
            "word": one.value if isinstance(one.value, str) else None, "conflict": one.conflict,
        }
        for one in entries_for(found.chart, "drain", found.episode).entries
        if one.known and one.item not in FREE_TEXT
    ]  # fmt: skip
    schema = {
        "time_ms": polars.Int64, "recorded_ms": polars.Int64, "item": polars.String, "drain": polars.String,
        "number": polars.Float64, "word": polars.String, "conflict": polars.Boolean,
    }  # fmt: skip
    return polars.DataFrame(rows, schema=schema)
