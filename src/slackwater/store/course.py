"""Everything the record holds of one drain, as known at a moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from sqlalchemy import Connection

from slackwater.errors import RecordError
from slackwater.store.live import Live, live_of
from slackwater.store.nouns import Value
from slackwater.store.rows import Thing, things


@dataclass(frozen=True)
class Course:
    """One drain from connection to removal and after. Each tuple is in order of time, then of key."""

    patient: Thing
    episode: Thing
    space: Thing
    drain: Thing
    other_drains: tuple[Thing, ...]  # of the same episode
    sides: Mapping[str, tuple[str | None, str | None]]  # kind and side of the episode's spaces, by their keys
    goal: Thing | None
    pairings: tuple[Thing, ...]  # of every drain of the episode
    orders: tuple[Thing, ...]
    entries: tuple[Thing, ...]  # of the episode: the patient's, this drain's and the others'
    logs: tuple[Thing, ...]
    tables: tuple[Thing, ...]
    holds: tuple[Thing, ...]
    tasks: tuple[Thing, ...]
    removal: Thing | None
    checks: tuple[Thing, ...]
    other_removals: tuple[Thing, ...]
    canisters: tuple[Thing, ...] = ()
    trips: tuple[Thing, ...] = ()
    homes: tuple[Thing, ...] = ()  # times at home with the drain in
    calls: tuple[Thing, ...] = ()  # signals of units that staff entered
    live: tuple[Live, ...] = ()  # what its units sent by themselves

    @property
    def name(self) -> str:
        """Patient and number, as people say it."""
        return f"{self.patient['label']}/{self.drain['number']}"

    @property
    def state(self) -> str:
        """Changes whenever anything of the course does."""
        parts = [self.patient, self.episode, self.space, self.drain, *self.other_drains, *self.pairings, *self.orders,
                 *self.entries, *self.logs, *self.holds, *self.tasks, *self.checks, *self.other_removals,
                 *self.canisters, *self.trips, *self.homes, *self.calls]  # fmt: skip
        parts += [one for one in (self.goal, self.removal) if one is not None]
        return "; ".join([f"{max(one.seq for one in parts)}-{len(parts)}", *(one.state for one in self.live)])

    @property
    def logged(self) -> bool:
        """Whether there is anything of a unit: a log, or readings that it sent."""
        return bool(self.logs or self.live)

    @property
    def last_ms(self) -> int | None:
        """The last stamp of its logs and of what was sent. [UTC ms]"""
        return max((*(log["last_ms"] for log in self.logs), *(one.last_ms for one in self.live)), default=None)

    @property
    def removed_ms(self) -> int | None:
        return None if self.removal is None else int(self.removal["time_ms"])


def course_of(connection: Connection, drain: str, known_ms: int | None = None) -> Course:
    """The course of the drain with this key. RecordError where it is not (yet) known."""

    def of(noun: str, mapping: Mapping[str, Value]) -> tuple[Thing, ...]:
        found = things(connection, noun, mapping, known_ms=known_ms)
        return tuple(sorted(found, key=lambda thing: (_when(thing), thing.key)))

    def one(noun: str, key: str) -> Thing:
        found = things(connection, noun, known_ms=known_ms, keys=[key])
        if not found:
            raise RecordError(f"there is no {noun} {key}", where="the record", mend="See: slackwater record list.")
        return found[0]

    tube = one("drain", drain)
    episode = one("episode", tube["episode"])
    patient = one("patient", episode["patient"])
    others = tuple(other for other in of("drain", {"episode": episode.key}) if other.key != drain)
    mine = {"drain": drain}
    pairings = of("pairing", {"patient": patient.key})
    goals, removals = of("goal", mine), of("removal", mine)
    return Course(
        patient=patient,
        episode=episode,
        space=one("space", tube["space"]),
        drain=tube,
        other_drains=others,
        sides={one.key: (one["kind"], one["side"]) for one in of("space", {"episode": episode.key})},
        goal=goals[-1] if goals else None,
        pairings=pairings,
        orders=of("order", mine),
        entries=of("entry", {"episode": episode.key}),
        logs=of("log", mine),
        tables=of("table", mine),
        holds=of("hold", mine),
        tasks=of("task", mine),
        removal=removals[-1] if removals else None,
        checks=of("check", mine),
        other_removals=tuple(found for other in others for found in of("removal", {"drain": other.key})),
        canisters=of("canister", mine),
        trips=of("trip", mine),
        homes=of("home", mine),
        calls=of("unit_call", mine),
        live=live_of(connection, [one for one in pairings if one["drain"] == drain], known_ms),
    )


def own_pairings(course: Course) -> tuple[Thing, ...]:
    """This drain's times on a unit, without those of the patient's other drains."""
    return tuple(pairing for pairing in course.pairings if pairing["drain"] == course.drain.key)


def find_drain(connection: Connection, name: str, known_ms: int | None = None) -> str:
    """The key of the drain called `name`: its key, the beginning of it, or PATIENT/NUMBER.

    Raises RecordError where none or several are called so.
    """
    drains = things(connection, "drain", known_ms=known_ms)
    label, slash, number = name.rpartition("/")
    if slash:
        patients = {one.key: one["label"] for one in things(connection, "patient", known_ms=known_ms)}
        episodes = {one.key: patients.get(one["patient"]) for one in things(connection, "episode", known_ms=known_ms)}
        named = {drain.key: f"{episodes.get(drain['episode'])}/{drain['number']}" for drain in drains}
        found = [key for key, called in named.items() if called == f"{label}/{number}"]
    else:
        named = {drain.key: drain.key for drain in drains}
        found = [key for key in named if key == name] or [
            key for key in named if len(name) >= 4 and key.startswith(name)
        ]
    if len(found) == 1:
        return found[0]
    if found:
        raise RecordError(f"{name!r} is the beginning of several drains", where="--drain", mend="Write more of it.")
    near = get_close_matches(name, named.values(), n=1)
    hint = f"Did you mean {near[0]}? " if near else ""
    raise RecordError(f"no drain is called {name[:60]!r}", where="--drain", mend=f"{hint}See: slackwater record list.")


def _when(thing: Thing) -> int:
    for name in ("time_ms", "from_ms", "due_ms", "first_ms"):
        moment = thing.fields.get(name)
        if moment is not None:
            return int(moment)
    return thing.seq
