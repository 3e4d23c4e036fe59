"""What every charting page shares: whose drain, when, one act, and a fault beside its field."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.typed import Typed, faults
from slackwater.errors import NotWritten, SlackwaterError, StaleError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.store.charting import chart_set
from slackwater.store.course import Course, course_of
from slackwater.store.record import Acting, Record
from slackwater.web.drain_sheet import read_course
from slackwater.web.forms import Form, fresh_key
from slackwater.web.guard import Who
from slackwater.web.judges import Asked
from slackwater.web.pages import local_input, render

CHANGED = (
    "Somebody changed this while you wrote. What it is now stands on this page; what you wrote is still here. "
    "Look at both, then save again."
)
DRAIN = "/drain/{drain}"  # where everything of one drain is
Rows = dict[str, Typed]  # by the field of the form that says it


async def course_here(request: Request) -> Course:
    """The course of the path's drain, as it stands."""
    return await run_in_threadpool(read_course, request.app.state.record, request.state.drain)


def asked_here(request: Request, course: Course) -> Asked:
    """The path's drain at this minute, for the judges; later where a row was charted here since the minute began, so
    that what was just recorded counts."""
    settings = request.app.state.settings
    minute = settings.clock() // MINUTE_MS * MINUTE_MS
    here = [one["written_ms"] for one in course.entries if one["written_ms"] == one.at_ms]
    return Asked(settings.place, request.state.drain, max([minute, *here]), settings.zone_name)


def moment_at(request: Request, form: Form, name: str = "at", needed: str = "Write when.") -> int | None:
    """A moment that has come, by the ward's clock."""
    settings = request.app.state.settings
    return form.moment(name, settings.zone, now_ms=settings.clock(), needed=needed)


def out_by(form: Form, course: Course, at_ms: int | None, name: str = "at") -> None:
    """A drain that was out at a moment is not charted for it."""
    out = course.removed_ms
    if at_ms is not None and out is not None and at_ms >= out:
        form.faults[name] = "This drain was out by then. Look at the day and the drain; after it: its own page."


def rows_fine(form: Form, rows: Rows, at_ms: int | None, now_ms: int) -> bool:
    """Whether every row can be recorded as typed; what cannot is said beside its field."""
    found = faults(tuple(rows.values()), now_ms if at_ms is None else at_ms, now_ms)
    names = list(rows)
    for place, error in found.items():
        form.faults.setdefault(names[place], f"{error.what}. {error.mend}")
    return form.fine


async def kept_rows(
    request: Request, form: Form, course: Course, what: str, rows: Rows, at_ms: int | None, *,
    after_removal: bool = False, empty: tuple[str, str] | None = None,
) -> bool:  # fmt: skip
    """Record chart rows of one moment in one act; whether that was done. `empty`: the fault where there is no row."""
    if not after_removal:
        out_by(form, course, at_ms)
    if not rows and form.fine and empty is not None:
        form.faults[empty[0]] = empty[1]
    if not rows_fine(form, rows, at_ms, request.app.state.settings.clock()) or at_ms is None:
        return False
    by, once = request.state.who.name, form.once
    return await recorded(
        request, form, what, at="at" if empty is None else empty[0],
        do=lambda act, now: chart_set(act, now, tuple(rows.values()), by=by, at_ms=at_ms, once=once),
    )  # fmt: skip


async def recorded(
    request: Request, form: Form, what: str, do: Callable[[Acting, Course], object], *, at: str, why: str = "",
    names: Mapping[str, str] | None = None,
) -> bool:  # fmt: skip
    """`do` in one act, by whoever is at the screen; whether it was kept. It returns the key or keys of what it did.

    What was refused is said beside the field that `names` gives for its place, else beside `at`; where somebody was
    quicker, that is said, and nothing of what was typed is lost.
    """
    record, who, drain = request.app.state.record, request.state.who, request.state.drain
    try:
        done = await run_in_threadpool(_act, record, who, drain, what, why, do)
        form.keys = done if isinstance(done, tuple) else (done,) if isinstance(done, str) else form.keys
    except StaleError:
        form.faults[at], form.stale = CHANGED, True
    except NotWritten:
        raise
    except SlackwaterError as error:
        form.faults[(names or {}).get(error.where, at)] = f"{error.what.rstrip('.')}. {error.mend}".strip()
    return form.fine


def to_drain(request: Request, further: str = "") -> RedirectResponse:
    return RedirectResponse(f"/drain/{request.state.drain}{further}", 303)


def form_page(request: Request, template: str, form: Form, course: Course, **values: Any) -> Response:
    """The page of a form, with its faults if it has any."""
    settings = request.app.state.settings
    values = {"at": local_input(settings.clock(), settings.zone), "once": fresh_key(), **values}
    return render(request, template, status=200 if form.fine else 422, form=form, course=course, **values)


def version_of(form: Form) -> int:
    """The version that was seen; 0 where the form does not say one, which no thing has."""
    text = form.said.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


def whole(form: Form, name: str, *, unit: str = "min", needed: str = "") -> int | None:
    """A whole number of something, above zero."""
    found = form.number(name, needed=needed)
    if found is None:
        return None
    if found != int(found) or not 0 < found < 100_000:
        form.faults[name] = f"Write a whole number of {unit}, above zero."
        return None
    return int(found)


def _act(record: Record, who: Who, drain: str, what: str, why: str, do: Callable[[Acting, Course], object]) -> object:
    with record.act(by=who.name, what=what, why=why) as act:
        return do(act, course_of(act.connection, drain))
