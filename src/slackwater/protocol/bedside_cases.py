"""Cases for what a rule says at the bedside: may this suction be ordered, and when is an item due?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from slackwater.errors import ProtocolError, QuantityError
from slackwater.protocol.measures import REMOVED
from slackwater.protocol.rule import Protocol
from slackwater.protocol.schedule import Charted, DueNow, Scored, due_now
from slackwater.protocol.table import ago, table_at
from slackwater.quantities.spans import format_span, parse_span
from slackwater.quantities.units import parse_quantity

GIVEN = ("charted", REMOVED, "early_warning", "order")  # keys of `given`
EXPECT = ("due", "order")  # keys of `expect`
ORDERS = ("allowed", "outside", "not_said")


def differences(
    protocol: Protocol, given: Mapping[str, Any], expect: Mapping[str, Any], events: Mapping[str, tuple[int, ...]],
    now_ms: int, where: str,
) -> Iterable[str]:  # fmt: skip
    """What differs from `expect.due` and `expect.order`; nothing where a case asks for neither."""
    if "order" in expect:
        yield from _order(protocol, given.get("order"), expect["order"], where)
    if "due" in expect:
        charted = _charted(given, events, now_ms, where)
        yield from _due(due_now(protocol.schedule, charted, now_ms), table_at(expect["due"], where), now_ms, where)


def _order(protocol: Protocol, typed: Any, wanted: Any, where: str) -> Iterable[str]:
    if wanted not in ORDERS:
        raise ProtocolError(f"order: {wanted!r} is not known", where=where, mend=f"Write one of: {', '.join(ORDERS)}.")
    try:
        level = parse_quantity(str(typed), "pressure").value
    except QuantityError as error:
        raise ProtocolError(f"given.order: {error.what}", where=where, mend=error.mend) from None
    allowed = protocol.suction
    found = "not_said" if allowed is None else "allowed" if allowed.holds(level) else "outside"
    if found != wanted:
        yield f"order: expected {wanted}, is {found}"


def _charted(given: Mapping[str, Any], events: Mapping[str, tuple[int, ...]], now_ms: int, where: str) -> Charted:
    times = {
        item: sorted(now_ms - ago(age, f"{where}.charted.{item}") for age in _ages(ages))
        for item, ages in table_at(given.get("charted", {}), f"{where}.charted").items()
    }
    happened = dict(events)
    if REMOVED in given:
        happened[REMOVED] = (now_ms - ago(given[REMOVED], f"{where}.{REMOVED}"),)
    connected = events.get("connected", ())
    scores: tuple[Scored, ...] = ()
    if "early_warning" in given:
        said = table_at(given["early_warning"], f"{where}.early_warning")
        points, single = said.get("score"), said.get("single", False)
        if set(said) - {"score", "single"} or type(points) is not int or not isinstance(single, bool):
            mend = "Write early_warning = { score = 5, single = false }."
            raise ProtocolError("early_warning is not a score", where=where, mend=mend)
        scores = (Scored(points, points, single, now_ms),)
    return Charted(times, happened, connected[-1] if connected else None, scores)


def _due(found: tuple[DueNow, ...], expect: Mapping[str, Any], now_ms: int, where: str) -> Iterable[str]:
    by_item = {one.item: one for one in found}
    for item, wanted in expect.items():
        one = by_item.get(item)
        is_ = "not" if one is None or one.due_ms is None else _said(one.due_ms - now_ms)
        if wanted != "not":
            due_ms = None if one is None else one.due_ms
            if due_ms == now_ms + _ahead(wanted, f"{where}.due.{item}"):
                continue
        elif is_ == "not":
            continue
        yield f"due.{item}: expected {wanted}, is {is_}"


def _ahead(text: Any, where: str) -> int:
    """Milliseconds until a moment: 'in 2 h', or '1 h ago'."""
    if isinstance(text, str) and text.startswith("in "):
        try:
            return round(parse_span(text[3:]) * 1000)
        except QuantityError as error:
            raise ProtocolError(error.what, where=where, mend=error.mend) from None
    if not isinstance(text, str) or not text.endswith(" ago"):
        raise ProtocolError(f"{text!r} is no moment", where=where, mend='Write "in 2 h", "1 h ago" or "not".')
    return -ago(text, where)


def _said(ahead_ms: int) -> str:
    return f"in {format_span(ahead_ms / 1000)}" if ahead_ms >= 0 else f"{format_span(-ahead_ms / 1000)} ago"


def _ages(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]
