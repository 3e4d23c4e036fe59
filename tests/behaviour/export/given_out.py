"""All that leaves of a drain, as files in memory: the bundle, the tables in both kinds, and its part of a cohort."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from functools import partial

from slackwater.audit.case import Hold, Outcome
from slackwater.audit.cohort import Cohort
from slackwater.audit.collect import How, Job, collect
from slackwater.audit.stays import Stay
from slackwater.export import tables
from slackwater.export.bundle import bundle, bundle_json
from slackwater.export.material import Material
from slackwater.export.unnamed import unnamed

ZONE = "Europe/Vienna"


class InMemory:
    """A shelf of files that are written nowhere."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.says = "memory"

    def get(self, name: str) -> bytes:
        if name not in self.files:
            raise FileNotFoundError(name)
        return self.files[name]

    def put(self, name: str, content: bytes) -> None:
        self.files[name] = content

    def names(self) -> Iterator[str]:
        yield from sorted(self.files)

    def remove(self, name: str) -> None:
        self.files.pop(name, None)

    def alone(self) -> AbstractContextManager[None]:
        return nullcontext()


def exported(of: Material, key: bytes | None) -> dict[str, bytes]:
    """Bundle and tables; key None: identified."""
    told = of if key is None else unnamed(of, key)
    made = {"drain.json": bundle_json(bundle(told, told.found.as_of_ms))}
    for kind in ("csv", "parquet"):
        made |= {f"{kind}/{name}": data for name, data in tables.files(told, kind).items()}
    return made


def stay_of(of: Material, rule: bytes | None, ward: str = "Ward of Quendel") -> Stay:
    judged = of.found.evaluation
    name = None if judged is None else f"{judged.protocol.name} {judged.protocol.version}"
    removed = of.removal
    held = (Hold("other", of.found.as_of_ms - 3_600_000, None),)
    outcome = Outcome(
        None if removed is None else removed.time_ms, None if removed is None else removed.kind, None, held
    )
    sha256 = None if rule is None else hashlib.sha256(rule).hexdigest()
    pinned = None if name is None or sha256 is None else (name, sha256)
    return Stay(of.drain, of.patient or "", of.found, outcome, ward, pinned, rule)


def _the(stay: Stay, _zone: str) -> Stay:
    return stay


def collected(stays: Sequence[Stay], key: bytes, *, keep_dates: bool = False, forecasts: bool = False) -> InMemory:
    """A cohort of these stays, in their order."""
    shelf = InMemory()
    jobs = [Job(stay.drain, place, partial(_the, stay)) for place, stay in enumerate(stays)]
    how = How(shelf, key, ZONE, keep_dates=keep_dates, forecasts=forecasts)
    *_, last = collect(jobs, how)
    assert isinstance(last, Cohort) and len(last.drains) == len(stays)
    return shelf
