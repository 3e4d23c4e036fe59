"""The register of units behind the list: one unit's own page, lots traced and recalled, scanning, CSV in and out."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.errors import NotWritten, SlackwaterError
from slackwater.store.alike import folded, lot_form
from slackwater.store.charges import NOTHING, batteries
from slackwater.store.recalls import Use, close_recall, may_be_mistyped, open_recalls_now, recall, uses
from slackwater.store.record import Record
from slackwater.store.register import (
    COLUMNS,
    DAYS,
    cells_of,
    facts_from,
    set_facts,
    take_register,
    utilisation,
    written,
)
from slackwater.store.register import Refused as Told
from slackwater.store.rows import Thing
from slackwater.store.units import units_now
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Refused, Who
from slackwater.web.pages import render
from slackwater.web.policy import EVERYONE, Rule, allow
from slackwater.web.routes.units import ENGINEERS, HANDLERS, names_seen
from slackwater.web.unit_facts import charge_told, discharges, unit_told

router = APIRouter(include_in_schema=False)

REGISTER = ENGINEERS | {"keeper"}  # who takes whole registers in and out

allow("GET", "/units/scan", Rule(HANDLERS))
allow("GET", "/units/lot", Rule(EVERYONE, looks="lots"))
allow("POST", "/units/recall", Rule(ENGINEERS))
allow("POST", "/units/recall/over", Rule(ENGINEERS))
allow("GET", "/units/register", Rule(REGISTER))
allow("POST", "/units/register", Rule(REGISTER))
allow("GET", "/units/register/export", Rule(REGISTER))
allow("GET", "/units/{unit}", Rule(EVERYONE))
allow("POST", "/units/{unit}/facts", Rule(ENGINEERS))

MOST_SCANNED = 200
OWN = tuple(name for name in COLUMNS if name != "serial")  # what an engineer enters of a unit


@dataclass(frozen=True)
class Scanned:
    """One code as it was read in: a unit's serial number, a lot, or nothing that is known."""

    code: str
    unit: str | None
    state: str
    lots: tuple[str, ...]  # what kinds of lot it is
    recalled: tuple[str, ...]


@router.get("/units/scan")
async def scan(request: Request) -> Response:
    """Codes typed or read in by a scanner that types: each ended by Enter adds to the list, or opens its unit."""
    told = request.query_params
    codes = [code.strip()[:200] for code in told.getlist("code") if code.strip()][:MOST_SCANNED]
    codes = list(dict.fromkeys(codes))
    record = request.app.state.record
    found = await run_in_threadpool(_scanned, record, codes, request.app.state.settings.clock())
    if told.get("open") == "on" and found and found[-1].unit is not None:
        return RedirectResponse(f"/units/{found[-1].unit}", 303)
    return render(request, "scan.html", found=found, codes=codes, open=told.get("open") == "on")


def _scanned(record: Record, codes: list[str], now_ms: int) -> list[Scanned]:
    exact = {one.serial: one for one in units_now(record, now_ms)}
    spelt = {folded(serial): unit for serial, unit in exact.items()}
    units = {code: unit for code in codes if (unit := exact.get(code, spelt.get(folded(code)))) is not None}
    lots: dict[str, set[str]] = {}
    for one in record.things("canister"):
        for what, name in (("canister", "lot"), ("filter", "filter_lot")):
            lots.setdefault(lot_form(one[name] or ""), set()).add(what)
    for one in record.things("unit"):
        lots.setdefault(lot_form(one["battery_lot"] or ""), set()).add("battery")
    lots.pop("", None)
    recalls: dict[str, list[str]] = {}
    for one in open_recalls_now(record):
        recalls.setdefault(lot_form(one["lot"]), []).append(f"{one['what']} lot recalled: {one['reason']}")
        lots.setdefault(lot_form(one["lot"]), set()).add(one["what"])
    return [
        Scanned(
            code, units[code].key if code in units else None, units[code].state if code in units else "",
            tuple(sorted(lots.get(lot_form(code), ()))),
            (*recalls.get(lot_form(code), ()), *(units[code].bars if code in units else ())),
        )
        for code in codes
    ]  # fmt: skip


@router.get("/units/lot")
async def lot(request: Request, lot: str = "") -> Response:
    """Where a lot was; of drains of other wards only that there were some."""
    record, who = request.app.state.record, request.state.who
    found, names, serials, recalls = await run_in_threadpool(_traced, record, who, lot.strip()[:200])
    return render(
        request, "unit_lot.html", lot=lot.strip()[:200], found=[one for one in found if one.drain in names],
        elsewhere=len({one.drain for one in found if one.drain not in names}), names=names, serials=serials,
        recalls=[one for one in recalls if lot_form(one["lot"]) == lot_form(lot)], may_recall=who.role in ENGINEERS,
        once=fresh_key(),
    )  # fmt: skip


def _traced(
    record: Record, who: Who, lot: str
) -> tuple[tuple[Use, ...], dict[str, str], dict[str, str], tuple[Thing, ...]]:
    return (
        uses(record, lot=lot) if lot else (), names_seen(record, who),
        {one.key: one["serial"] for one in record.things("unit")}, open_recalls_now(record),
    )  # fmt: skip


@router.post("/units/recall")
async def recalled(request: Request) -> Response:
    """Open a recall; the list of units then says which to pull."""
    form = await form_of(request)
    record, by = request.app.state.record, request.state.who.name
    said = [form.said.get(name, "") for name in ("what", "lot", "reason")]
    if form.said.get("anyway") != "on":
        asked_back = await run_in_threadpool(may_be_mistyped, record, said[0], said[1])
        if asked_back:
            mend = "Read the lot again. To recall it all the same, go back and tick 'though nothing carries it'."
            return render(request, "refused.html", status=422, why=f"{asked_back}. {mend}")
    await run_in_threadpool(lambda: recall(record, *said, by=by))
    return RedirectResponse("/units#to-pull", 303)


@router.post("/units/recall/over")
async def recall_over(request: Request) -> Response:
    form = await form_of(request)
    record, by = request.app.state.record, request.state.who.name
    said = [form.said.get(name, "") for name in ("what", "lot", "why")]
    await run_in_threadpool(lambda: close_recall(record, *said, by=by))
    return RedirectResponse("/units", 303)


# --- the register ---------------------------------------------------------------------------------


@router.get("/units/register")
async def register(request: Request) -> Response:
    return await _register(request, "", [])


@router.get("/units/register/export")
async def register_csv(request: Request) -> Response:
    text = await run_in_threadpool(lambda: written(request.app.state.record.things("unit")))
    headers = {"content-disposition": 'attachment; filename="units.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.post("/units/register")
async def register_in(request: Request) -> Response:
    """A register pasted in: taken whole, or each line that cannot be is told with its mend."""
    form = await form_of(request)
    text = form.said.get("register", "").replace("\r\n", "\n")
    record, by = request.app.state.record, request.state.who.name
    _, _, refused = await run_in_threadpool(lambda: take_register(record, text, by=by, why="pasted in"))
    return await _register(request, text, refused) if refused else RedirectResponse("/units", 303)


async def _register(request: Request, said: str, refused: list[Told]) -> Response:
    text = await run_in_threadpool(lambda: written(request.app.state.record.things("unit")))
    return render(
        request, "unit_register.html", status=422 if refused else 200, text=said or text, refused=refused,
        columns=COLUMNS, once=fresh_key(),
    )  # fmt: skip


# --- one unit -------------------------------------------------------------------------------------


@router.get("/units/{unit}")
async def unit(request: Request, unit: str) -> Response:
    return await _unit(request, unit, empty())


@router.post("/units/{unit}/facts")
async def facts(request: Request, unit: str) -> Response:
    """What the register has of a unit: lots, dates, how long its battery must run."""
    form = await form_of(request)
    record, by = request.app.state.record, request.state.who.name
    try:
        await run_in_threadpool(_set, record, unit, {name: form.said.get(name, "") for name in OWN}, by)
    except NotWritten:
        raise
    except SlackwaterError as error:
        form.faults[error.where if error.where in OWN else OWN[0]] = f"{error.what}. {error.mend}"
        return await _unit(request, unit, form)
    return RedirectResponse(f"/units/{unit}", 303)


def _set(record: Record, unit: str, cells: dict[str, str], by: str) -> None:
    with record.act(by=by, what="facts of a unit") as act:
        found = act.thing("unit", unit)
        if found is None:
            raise Refused(404, "there is no such unit")
        set_facts(act, facts_from(found["serial"], cells))


async def _unit(request: Request, key: str, form: Form) -> Response:
    settings, record, who = request.app.state.settings, request.app.state.record, request.state.who
    now_ms, zone = settings.clock(), settings.zone

    def read() -> dict[str, object] | None:
        now = next((one for one in units_now(record, now_ms) if one.key == key), None)
        if now is None:
            return None
        battery = batteries(record, now_ms, [key]).get(key, NOTHING)
        return {
            "told": unit_told(now, battery, utilisation(record, now_ms)[key], now_ms, zone),
            "charge": charge_told(battery, now_ms, zone),
            "picture": discharges(battery, now.facts["must_run_min"], now_ms, zone),
            "names": names_seen(record, who),
            "served": sorted(record.things("pairing", {"unit": key}), key=lambda one: -one["from_ms"]),
            "cells": cells_of(now.facts),
        }  # fmt: skip

    found = await run_in_threadpool(read)
    if found is None:
        raise Refused(404, "there is no such unit")
    return render(
        request, "unit.html", status=200 if form.fine else 422, form=form, may_set=who.role in ENGINEERS, own=OWN,
        days=DAYS, once=fresh_key(), **found,
    )  # fmt: skip
