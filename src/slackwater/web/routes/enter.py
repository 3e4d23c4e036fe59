"""A drain is entered: its patient, its space, and a number that this patient never had before."""

from __future__ import annotations

import unicodedata

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.episode import INDICATIONS, OPERATIONS, SIDES, SPACES
from slackwater.episode.types import Episode
from slackwater.errors import NotWritten, RecordError, SlackwaterError, StaleError
from slackwater.store.acts import key_of
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing, things
from slackwater.store.whose import settle_drain
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.pages import local_input, render
from slackwater.web.policy import DOCTORS, NURSES, Rule, allow

router = APIRouter(include_in_schema=False)

ENTERING = DOCTORS | NURSES
allow("GET", "/drain/new", Rule(ENTERING))
allow("POST", "/drain/new", Rule(ENTERING))

OTHER_WARD = "This patient is entered on a ward that you do not see: ask its staff, or the keeper of this server."
HEAVIEST_KG, OLDEST_YEARS, WIDEST_FR = 700, 130, 60  # slips of the pen, as in episode.py; no limits of health


@router.get("/drain/new")
async def new_page(request: Request) -> Response:
    return await _new(request, empty())


@router.post("/drain/new")
async def entered(request: Request) -> Response:
    """Patient, stay, space and drain; what the record knows already is not changed from here."""
    form = await form_of(request)
    drain = None if form.said.get("show") else await entered_drain(request, form)
    return await _new(request, form) if drain is None else RedirectResponse(f"/drain/{drain}", 303)


async def entered_drain(request: Request, form: Form) -> str | None:
    """The key of the drain as entered; None where it was refused."""
    record, settings, who = request.app.state.record, request.app.state.settings, request.state.who
    told = Episode(
        patient_id=form.text("patient", needed="Write the patient's number, as your hospital has it.", longest=60),
        age_years=_within(form, "age_years", OLDEST_YEARS), weight_kg=_within(form, "weight_kg", HEAVIEST_KG),
        drain_number=form.text("number", needed="Give the drain a number.", longest=12),
        side=form.one_of("side", SIDES, needed="Tap the side of the patient."),
        space=form.one_of("space", SPACES, needed="Tap where it lies."),
        site=form.text("site", needed="Write its site, e.g. apical.", longest=60),
        size_fr=_within(form, "size_fr", WIDEST_FR),
        connected_at=form.moment("at", settings.zone, now_ms=settings.clock(), needed="Write when it was connected."),
        operation_kind=form.one_of("operation", OPERATIONS), indication=form.one_of("indication", INDICATIONS),
    )  # fmt: skip
    lies = {name: form.text(name, longest=long) for name, long in (("ward", 60), ("bed", 20), ("initials", 6))}
    if who.wards is not None and lies["ward"] not in who.wards:
        form.faults["ward"] = f"Choose one of your wards: {', '.join(who.wards)}."
    if form.fine:
        try:
            return await run_in_threadpool(_enter, record, who, told, lies, form.said.get("same_space", ""))
        except NotWritten:
            raise
        except SlackwaterError as error:
            field = "number" if "number" in error.where else "patient"
            form.faults[field] = f"{error.what.rstrip('.')}. {error.mend}"
            form.stale = isinstance(error, StaleError)
    return None


def _enter(record: Record, who: Who, told: Episode, lies: dict[str, str | None], beside: str) -> str:
    """`beside`: the number of a drain of this stay that lies in the same space."""
    assert told.patient_id is not None and told.drain_number is not None
    patient = _key(told.patient_id)
    key = key_of("drain", patient, told.drain_number)
    with record.act(by=who.name, what="drain entered") as act:
        stays = {one.key: one for one in act.things("episode", {"patient": patient})}
        if any(not who.sees(one["ward"]) for one in stays.values()):
            raise RecordError(OTHER_WARD, where="patient")
        known = act.thing("drain", key)
        if known is not None and _same(act, known, told):
            return key  # the same form again
        if known is not None or act.things("removal", {"drain": key}, gone=True):
            raise RecordError("this patient has or had a drain of that number", where="number",
                              mend=f"A number is never used again. Next: {_next(_numbers(act, stays))}.")  # fmt: skip
        if beside:
            told = Episode(**{**vars(told), "shares_space_with": (beside,), "shares_space_told": True})
        whose = settle_drain(act, told, "the form", correct=False)
        stay = act.thing("episode", whose.episode)
        assert stay is not None
        new = {name: text for name, text in lies.items() if text is not None and stay[name] is None}
        if new:
            act.change("episode", stay.key, new, version=stay.version)
    return key


def _key(label: str) -> str:
    """As `settle_drain` files a patient: two spellings of one letter are one name, in every ward."""
    return key_of("patient", unicodedata.normalize("NFC", label))


def _same(act: Acting, known: Thing, told: Episode) -> bool:
    """Whether the drain that is there is the one that was typed."""
    space = act.thing("space", known["space"])
    there = (known["connected_ms"], known["site"], None if space is None else (space["kind"], space["side"]))
    return there == (told.connected_at, told.site, (told.space, told.side))


def _numbers(act: Acting, stays: dict[str, Thing]) -> list[str]:
    return [one["number"] for stay in stays for one in act.things("drain", {"episode": stay}, gone=True)]


def _next(numbers: list[str]) -> str:
    """The number after the largest that was ever used."""
    return str(max((int(one) for one in numbers if one.isdecimal() and one.isascii()), default=0) + 1)


def _within(form: Form, name: str, highest: float) -> float | None:
    found = form.number(name)
    if found is not None and not 0 < found <= highest:
        form.faults[name] = f"Above 0, at most {highest:g}. Leave it empty if it is not known."
        return None
    return found


async def _new(request: Request, form: Form) -> Response:
    settings = request.app.state.settings
    known = await run_in_threadpool(_known, request.app.state.record, request.state.who, form.said.get("patient", ""))
    return render(
        request, "chart_new.html", status=200 if form.fine else 422, form=form, once=fresh_key(), known=known,
        at=local_input(settings.clock(), settings.zone), sides=[(word, word) for word in SIDES],
        spaces=[(word, word) for word in SPACES], operations=OPERATIONS, indications=INDICATIONS,
    )  # fmt: skip


def _known(record: Record, who: Who, label: str) -> dict[str, object] | None:
    """What the record holds of a patient: the drains, and the next number; None of one that this person cannot see."""
    patient = _key(label.strip())
    if not label.strip():
        return None
    with record.reading() as connection:
        stays = {one.key: one for one in things(connection, "episode", {"patient": patient})}
        if not stays or any(not who.sees(one["ward"]) for one in stays.values()):
            return None
        drains = [one for stay in stays for one in things(connection, "drain", {"episode": stay})]
        spaces = {one.key: one for stay in stays for one in things(connection, "space", {"episode": stay})}
        out = {one.key for one in drains if things(connection, "removal", {"drain": one.key})}
    told = [
        f"drain {one['number']}: {spaces[one['space']]['side'] or 'side not recorded'}, "
        f"{one['site'] or 'site not recorded'}, {'out' if one.key in out else 'in'}"
        for one in sorted(drains, key=lambda one: str(one["number"]))
    ]
    inside = [one["number"] for one in drains if one.key not in out]
    return {"drains": told, "next": _next([one["number"] for one in drains]), "inside": inside}
