"""What one export is made of: the assessment, and what only the record knows of the drain."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from slackwater.assessment.assessment import Assessment

if TYPE_CHECKING:
    from slackwater.store.course import Course


@dataclass(frozen=True)
class Removal:
    """How and when the drain came out (UTC ms). kind: as in the record."""

    kind: str
    time_ms: int
    by: str | None = None


@dataclass(frozen=True)
class Stretch:
    """A time of the drain that is neither in a log nor in a chart; UTC ms, to None: its end is not known.

    what: hold, trip, home, signal or canister. kind: why it was kept, where to, which signal, which lot.
    """

    what: str
    kind: str | None
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True, eq=False)
class Material:
    """One drain, ready to be told. `patient` and `drain` are what it is known by: names, or pseudonyms."""

    found: Assessment
    patient: str | None
    drain: str
    removal: Removal | None = None
    order_ends: Mapping[int, int] = field(default_factory=dict)  # when an order of suction began -> until when, UTC ms
    stretches: tuple[Stretch, ...] | None = None  # in order of time; None: no record was asked
    de_identified: bool = False
    shortened: bool = False  # of a long stay only its beginning is told


def of_files(found: Assessment) -> Material:
    """A drain whose files were given. Without an episode nobody says whose it is: its files' hashes stand for it."""
    episode = found.episode
    hashes = [log.sha256 for log in (found.trace.logs if found.trace is not None else ())]
    name = episode.patient_id or " ".join(sorted((*hashes, found.chart.sha256)))
    return Material(found, episode.patient_id, f"{name}/{episode.drain_number or ''}")


def of_record(found: Assessment, course: Course) -> Material:
    """A drain of the record, known by the record's keys; what came after a moment that was asked about is left out."""
    gone = course.removal
    removal = None
    if gone is not None and (found.as_of_last_reading or gone["time_ms"] <= found.as_of_ms):
        removal = Removal(gone["kind"], gone["time_ms"], gone["removed_by"])
    ends = {
        order["from_ms"]: order["until_ms"]
        for order in course.orders
        if order["kind"] == "suction" and order["until_ms"] is not None
    }
    return Material(found, course.patient.key, course.drain.key, removal, ends, _stretches(found, course))


def _stretches(found: Assessment, course: Course) -> tuple[Stretch, ...]:
    told = [
        *(Stretch("hold", one["reason"], one["from_ms"], one["to_ms"]) for one in course.holds),
        *(Stretch("trip", one["destination"], one["from_ms"], one["back_ms"]) for one in course.trips),
        *(Stretch("home", None, one["from_ms"], one["to_ms"]) for one in course.homes),
        *(Stretch("signal", one["kind"], one["from_ms"], one["until_ms"]) for one in course.calls),
        *(Stretch("canister", one["lot"], one["from_ms"], None) for one in course.canisters),
    ]
    told.sort(key=lambda one: (one.from_ms, one.what, one.kind or ""))
    return tuple(told) if found.as_of_last_reading else stood(told, found.as_of_ms)


def stood(stretches: Iterable[Stretch], at_ms: int) -> tuple[Stretch, ...]:
    """As they stood then: without what began later, and without ends that had not come."""
    return tuple(
        replace(one, to_ms=None if one.to_ms is not None and one.to_ms > at_ms else one.to_ms)
        for one in stretches
        if one.from_ms <= at_ms
    )
