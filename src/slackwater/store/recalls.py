"""Lots that must no longer be used: recalled, traced both ways, and what is to be pulled because of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from slackwater.errors import RecordError
from slackwater.store.acts import key_of
from slackwater.store.alike import lot_form, near_lots
from slackwater.store.course import Course
from slackwater.store.listing import Listed, listed
from slackwater.store.nouns import RECALLED, Value
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing, things, versions
from slackwater.store.trips import unit_now
from slackwater.store.units import AWAY, UnitNow, open_recalls, units_now

LOT_NOT_RECORDED = "battery lot not recorded"


def open_recalls_now(record: Record) -> tuple[Thing, ...]:
    """Recalls in force, by what and lot."""
    return tuple(one for _, one in sorted(open_recalls(record.things("recall")).items()))


@dataclass(frozen=True)
class Use:
    """A lot at a drain, from when until when (None: still there). `what`: battery, canister or filter."""

    what: str
    lot: str
    drain: str
    unit: str | None  # key of the unit; of a canister: the one that served the drain at its end
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True)
class Pull:
    """A unit, or a drain whose canister or filter is recalled, that somebody has to go to; and why."""

    unit: UnitNow | None  # None: no unit is recorded at that drain
    drain: str | None  # key of the drain where it is now
    why: tuple[str, ...]

    @property
    def off_patient(self) -> str:
        """How a unit that is at no drain stands, and where somebody said that it is."""
        assert self.unit is not None
        place = next((state["at_place"] for state in reversed(self.unit.history) if state["at_place"]), None)
        return f"{self.unit.stands}, {f'at {place}' if place else 'where it is is not recorded'}"


def recall(record: Record, what: str, lot: str, reason: str, *, by: str) -> str:
    """Open a recall, from now on; its key. The same again, however it is spelt, changes its reason, and opens a closed
    one anew."""
    lot, reason = lot.strip(), reason.strip()
    if what not in RECALLED:
        raise RecordError(f"{what!r} is not traced by lots", where="recall", mend=f"Known: {', '.join(RECALLED)}.")
    if not lot_form(lot) or not reason:
        raise RecordError("lot or reason is missing", where="recall", mend="Say which lot, and why.")
    with record.act(by=by, what="recall", why=reason) as act:
        found = _found(act, what, lot)
        key = key_of("recall", what, lot) if found is None else found.key
        if found is None:
            fields: dict[str, Value] = {"what": what, "lot": lot, "reason": reason, "from_ms": act.at_ms}
            act.add("recall", key, fields, happened_ms=act.at_ms)
        elif found["closed_ms"] is not None:
            fields = {"reason": reason, "from_ms": act.at_ms, "closed_ms": None}
            act.change("recall", key, fields, version=found.version, happened_ms=act.at_ms)
        else:
            act.change("recall", key, {"reason": reason}, version=found.version, happened_ms=act.at_ms)
    return key


def close_recall(record: Record, what: str, lot: str, why: str, *, by: str) -> None:
    """The recall is over. Raises RecordError where there is none, and without a reason."""
    if not why.strip():
        raise RecordError("why it is over is missing", where="recall", mend="Say it in a few words.")
    with record.act(by=by, what="recall closed", why=why.strip()) as act:
        found = _found(act, what, lot)
        if found is None or found["closed_ms"] is not None:
            raise RecordError(f"{what} lot {lot} is not recalled", where="recall", mend="See: equipment list.")
        act.change("recall", found.key, {"closed_ms": act.at_ms}, version=found.version, happened_ms=act.at_ms)


def _found(act: Acting, what: str, lot: str) -> Thing | None:
    """The recall of this lot, in whatever spelling."""
    return next((one for one in act.things("recall", {"what": what}) if lot_form(one["lot"]) == lot_form(lot)), None)


def meets_nothing(record: Record, what: str, lot: str) -> str:
    """In words, that no such lot is written down anywhere, with those near it; empty where one is."""
    if what == "battery":
        with record.reading() as connection:
            known = {one["battery_lot"] for one in versions(connection, "unit")}
    else:
        known = {one["lot" if what == "canister" else "filter_lot"] for one in record.things("canister")}
    known.discard(None)
    if lot_form(lot) in {lot_form(one) for one in known}:
        return ""
    close = near_lots(lot, known)
    return f"no {what} lot {lot} is written down here" + (f"; near it: {', '.join(close)}" if close else "")


def may_be_mistyped(record: Record, what: str, lot: str) -> str:
    """In words, that nothing recorded carries this lot and nobody recalled it before; empty where all is well."""
    if not lot_form(lot) or lot_form(lot) in {lot_form(one["lot"]) for one in record.things("recall", {"what": what})}:
        return ""
    return meets_nothing(record, what, lot.strip())


def uses(record: Record, *, drain: str | None = None, lot: str | None = None) -> tuple[Use, ...]:
    """Which lots were at which drain: of one drain, of one lot, or all; the latest first.

    A canister lies from its own beginning to that of the next at the drain, or to the removal. A battery is at a drain
    while its unit is.
    """
    out = _removed(record)
    pairings = record.things("pairing", None if drain is None else {"drain": drain})
    found = [*_of_canisters(record, drain, out, pairings), *_of_batteries(record, out, pairings)]
    kept = [one for one in found if lot is None or lot_form(one.lot) == lot_form(lot)]
    return tuple(sorted(kept, key=lambda one: (-one.from_ms, one.what, one.drain)))


def recalled_at(connection: Connection, course: Course, now_ms: int, known_ms: int | None = None) -> tuple[str, ...]:
    """What lies at this drain now though its lot is recalled, in words; nothing once the drain is out."""
    recalls = open_recalls(things(connection, "recall", known_ms=known_ms))
    if not recalls or course.removal is not None:
        return ()
    lots: list[tuple[str, str | None]] = []
    for canister in [one for one in course.canisters if one["from_ms"] <= now_ms][-1:]:
        lots += [("canister", canister["lot"]), ("filter", canister["filter_lot"])]
    unit = unit_now(course, now_ms)
    for found in things(connection, "unit", keys=[] if unit is None else [unit], known_ms=known_ms):
        lots.append(("battery", found["battery_lot"]))
    return tuple(
        f"{what} lot {lot} is recalled: {recalls[(what, lot_form(lot))]['reason']}"
        for what, lot in lots if lot is not None and (what, lot_form(lot)) in recalls
    )  # fmt: skip


def _removed(record: Record) -> dict[str, int]:
    out: dict[str, int] = {}
    for one in record.things("removal"):
        out[one["drain"]] = min(one["time_ms"], out.get(one["drain"], one["time_ms"]))
    return out


def _of_canisters(
    record: Record, drain: str | None, out: Mapping[str, int], pairings: Sequence[Thing]
) -> list[Use]:  # fmt: skip
    by_drain: dict[str, list[Thing]] = {}
    for one in record.things("canister", None if drain is None else {"drain": drain}):
        by_drain.setdefault(one["drain"], []).append(one)
    found = []
    for at, canisters in by_drain.items():
        canisters.sort(key=lambda one: (one["from_ms"], one.seq))
        ends = [one["from_ms"] for one in canisters[1:]] + [out.get(at)]
        for one, end in zip(canisters, ends, strict=True):
            unit = _unit_at(pairings, at, one["from_ms"], end)
            for what, name in (("canister", "lot"), ("filter", "filter_lot")):
                if one[name] is not None:
                    found.append(Use(what, one[name], at, unit, one["from_ms"], end))
    return found


def _unit_at(pairings: Sequence[Thing], drain: str, from_ms: int, to_ms: int | None) -> str | None:
    """The unit that served the drain last in this stretch."""
    mine = [
        one for one in pairings
        if one["drain"] == drain and (to_ms is None or one["from_ms"] < to_ms)
        and (one["to_ms"] is None or one["to_ms"] > from_ms)
    ]  # fmt: skip
    return max(mine, key=lambda one: one["from_ms"])["unit"] if mine else None


def _of_batteries(record: Record, out: Mapping[str, int], pairings: Sequence[Thing]) -> list[Use]:
    told: dict[str, list[Thing]] = {}
    with record.reading() as connection:
        for version in versions(connection, "unit"):
            told.setdefault(version.key, []).append(version)
    found = []
    for one in pairings:
        end = one["to_ms"] if one["to_ms"] is not None else out.get(one["drain"])
        lots = _lots_during(told.get(one["unit"], []), one["from_ms"], end)
        found += [Use("battery", lot, one["drain"], one["unit"], one["from_ms"], end) for lot in sorted(lots)]
    return found


def _lots_during(told: Sequence[Thing], from_ms: int, to_ms: int | None) -> set[str]:
    """Battery lots that the register held for a unit in this stretch. What it says now counts for the past too, unless
    it says that this battery came later: a lot that was written down late was still the lot."""
    lots = set()
    for version, after in zip(told, [*told[1:], None], strict=True):
        began = version.at_ms if version["battery_from_ms"] is None else version["battery_from_ms"]
        held = (to_ms is None or version.at_ms < to_ms) and (after is None or after.at_ms > from_ms)
        late = after is None and (version["battery_from_ms"] is None or began <= from_ms)
        if held or late or (after is None and to_ms is not None and from_ms <= began < to_ms):
            lots.add(version["battery_lot"])
    return {lot for lot in lots if lot is not None}


def to_pull(record: Record, now_ms: int, spent: Mapping[str, str] | None = None) -> tuple[Pull, ...]:
    """What somebody has to go to, worst first: at a patient, then for the next patient, then the rest of the shelf.

    spent: units (by key) whose battery's own fade says so, with the words for it. Units that are away already
    (faulty, in service, lost) come last. While a battery's lot is recalled, a unit whose lot nobody wrote down is
    among them, after those that are known to have it: it may.
    """
    units = {one.key: one for one in units_now(record, now_ms)}
    why: dict[tuple[str | None, str | None], list[str]] = {}
    recalls = open_recalls(record.things("recall"))
    batteries = sorted(one["lot"] for (what, _), one in recalls.items() if what == "battery")
    look = [f"{LOT_NOT_RECORDED}: look ({', '.join(batteries)} recalled)"] if batteries else []
    for unit in units.values():
        said = [*unit.bars, *([spent[unit.key]] if spent and unit.key in spent else [])]
        said += look if unit.facts["battery_lot"] is None else []
        if said:
            why.setdefault((unit.key, unit.at), []).extend(said)
    if any(what != "battery" for what, _ in recalls):
        for use in uses(record):
            found = recalls.get((use.what, lot_form(use.lot)))
            if found is not None and use.what != "battery" and (use.to_ms is None or use.to_ms > now_ms):
                key = use.unit if use.unit in units and units[use.unit].at == use.drain else None
                said = why.setdefault((key, use.drain), [])
                said.append(f"{use.what} lot {found['lot']} is recalled: {found['reason']}")
    found_all = [Pull(units.get(key) if key else None, at, tuple(said)) for (key, at), said in why.items()]
    return tuple(sorted(found_all, key=_worst_first))


def _worst_first(one: Pull) -> tuple[int, bool, int, str]:
    if one.drain is not None:
        rank = 0
    elif one.unit is not None and one.unit.state in AWAY:
        rank = 3
    else:
        rank = 1 if one.unit is not None and not one.unit.needs else 2
    sure = any(not why.startswith(LOT_NOT_RECORDED) for why in one.why)
    return rank, not sure, -len(one.why), "" if one.unit is None else one.unit.serial


def places(record: Record) -> dict[str, Listed]:
    """Where each drain is: patient and number, ward and bed."""
    return {one.key: one for one in listed(record, everything=True)}


def where_told(place: Listed | None) -> str:
    """In words: 'W-1/1, ward South, bed 4'."""
    if place is None:
        return "a drain that is not in the record"
    ward = f"ward {place.ward}" if place.ward else "ward not recorded"
    return f"{place.name}, {ward}, {f'bed {place.bed}' if place.bed else 'bed not recorded'}"
