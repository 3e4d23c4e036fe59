"""Off the ward with a drain: suction ordered, set and delivered; charge; what travels; what to do if suction stops."""

from __future__ import annotations

import math

from slackwater.assessment.assessment import last_minute
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.round_facts import signed, when
from slackwater.report.sheets.answer import delivered, leak_words, standing
from slackwater.report.sheets.frame import frame, moment
from slackwater.report.sheets.handover import not_recorded
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Blanks, Boxes, Fact, Facts, Part, Section, Sheet, Words
from slackwater.report.sheets.summary import units
from slackwater.report.words import NOT_RECORDED

_CARRIED = (
    "Wristband and drain number, side and site read by two people",
    "Unit below the chest, upright, all the way; tube free of kinks and loops",
    "Charger or cable goes with the unit; so does a spare canister if this one is nearly full",
    "The tube is not clamped for the move unless the order says so (local policy)",
    "Clamps, dressing and oxygen as local policy asks; an escort who knows this drain",
)  # common practice, no source: local policy decides
_BACK = (
    "Suction set as ordered again, and seen to be delivered",
    "Unit on mains again",
    "Swing and air leak looked at, and charted",
)
_WRITE = ("Where to, and when", "Escort", "Suction back on at", "Received by")
_LOST = (
    "Look at the patient first. If the patient is unwell, act and call for help: local emergency policy.",
    "Look along the tube from skin to unit: joints, kinks, clamp, canister, then power.",
    "Whether a drain may stay without suction, and for how long, the order or local policy says. If neither does, ask.",
)  # common practice, no source: local policy decides


def transfer(of: Material) -> Sheet:
    line = of.line
    now = Facts(
        (
            *((Fact("Drain", line.removed, "!"),) if line.removed else ()),
            *standing(of),
            Fact("Air leak", leak_words(of)),
            Fact("Canister", line.canister),
            Fact("Unit", units(of)),
            Fact("Goal of drainage", of.episode.goal or NOT_RECORDED),
        )
    )
    plan = Facts(
        (
            Fact("Suction ordered", line.suction.ordered),
            Fact("Set at the unit", set_at(of)),
            Fact("Delivered", delivered(of)),
            *((Fact("Look", line.suction.note, "!"),) if line.suction.note else ()),
            Fact("May it be off?", line.may_be_off),
            Fact("Charge", charge_of(of)),
            Fact("A charge lasted", line.lasted or NOT_RECORDED),
        )
    )
    said = Words(("A charge says nothing of how long it will last: plan for twice the trip, as local policy asks.",))
    missing = not_recorded(of)
    return Sheet(
        "transfer", "Trip", frame(of),
        (
            Section("Now", (now,)),
            Section("Suction and charge", (plan, said)),
            *_trip(of),
            Section("If suction is lost or the tube comes apart", _lost(of)),
            Section("Before leaving", (Boxes(_CARRIED),)),
            Section("On arrival, and on return", (Boxes(_BACK), Blanks(_WRITE))),
            Section("Not recorded", (Words((f"{', '.join(missing) or 'nothing of what this sheet asks'}.",)),)),
        ),
        doubtful=of.doubtful,
    )  # fmt: skip


def set_at(of: Material) -> str:
    """The unit's own setting as last logged."""
    found = of.found
    leak = None if found is None else found.leak_trace
    last = None if found is None else last_minute(leak, found.facts.length)
    if leak is None or last is None or not math.isfinite(leak.minutes.set_suction[last]):
        return NOT_RECORDED
    at = when(leak.minutes.start_ms + (last + 1) * MINUTE_MS, of.as_of_ms, of.zone)
    return f"{signed(float(leak.minutes.set_suction[last]))} cmH2O at {at}"


def charge_of(of: Material) -> str:
    """As last logged; else as last charted."""
    if of.line.charge != NOT_RECORDED or of.found is None:
        return of.line.charge
    rows = of.found.chart.of("battery", "charge")
    return f"{rows[-1].text}, charted {when(rows[-1].time, of.as_of_ms, of.zone)}" if rows else NOT_RECORDED


def _trip(of: Material) -> tuple[Section, ...]:
    """The way that was planned, where one is recorded and not yet over."""
    trips = () if of.course is None else of.course.trips
    trip = trips[-1] if trips else None
    if trip is None or (trip["back_ms"] is not None and trip["back_ms"] <= of.as_of_ms):
        return ()
    rows = (
        Fact("To", trip["destination"]), Fact("From", moment(trip["from_ms"], of)),
        Fact("Planned for", NOT_RECORDED if trip["planned_min"] is None else f"{trip['planned_min']} min"),
        Fact("If the charge runs out", trip["fallback"] or NOT_RECORDED),
        *((Fact("Charge as judged", trip["charge"]),) if trip["charge"] else ()),
        *((Fact("Note", trip["note"]),) if trip["note"] else ()),
    )  # fmt: skip
    return (Section("Planned trip", (Facts(rows),)),)


def _lost(of: Material) -> tuple[Part, ...]:
    """The unit's own approved words where it has them; else plain looks, and local policy."""
    card = of.beside.cards.get("came_apart")
    own: tuple[Part, ...] = ()
    if card is not None:
        approved = f"The unit's own words, approved by {card['approved_by'] or 'whom is not recorded'}."
        own = (Words((card["title"], *str(card["text"]).splitlines(), approved), strong=True),)
    none = () if own else ("The unit has recorded no approved words of its own for this.",)
    return (*own, Words((*none, *_LOST)))
