"""What a rule file says for the bedside: which levels of suction may be ordered, and what is to be charted when."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from slackwater.errors import ProtocolError, QuantityError
from slackwater.protocol.measures import SCHEDULE_EVENTS
from slackwater.protocol.rule import Due, Edge, ScoreBand, TripMargin
from slackwater.protocol.table import Table
from slackwater.quantities.suction import SuctionRange
from slackwater.quantities.units import Quantity, parse_quantity

_DUE = ("item", "every", "within", "from", "until", "early_warning", "source")
MOST_FACTOR = 10.0  # a larger one is a slip (ours)
_MOST_POINTS = 20  # 3 for each of six readings and 2 for oxygen; from memory, as the score itself


def load_suction(content: Any, name: str) -> SuctionRange:
    """`[suction]`: lowest and highest; if wanted the step a unit can be set in, and how far from the order still
    counts as kept."""
    table = Table(content, f"{name}, suction", ("lowest", "highest", "step", "kept_within"))
    lowest, highest = _level(table, "lowest"), _level(table, "highest")
    if lowest.value > highest.value:
        raise table.fault("lowest", "is stronger than highest, so nothing could be ordered", "Swap the two.")
    step, kept = (_level(table, key) if key in table.content else None for key in ("step", "kept_within"))
    return SuctionRange(lowest, highest, step, kept)


def _level(table: Table, key: str) -> Quantity:
    try:
        read = parse_quantity(table.text(key), "pressure")
    except QuantityError as error:
        raise table.fault(key, error.what, error.mend or 'Write e.g. "20 cmH2O".') from None
    if not read.value:
        levels = 'Write e.g. "5 cmH2O"; none_added is always allowed.'
        mend = levels if key in ("lowest", "highest") else 'Write e.g. "0.5 kPa".'
        raise table.fault(key, "is zero", mend)
    return Quantity(abs(read.value), read.unit)


def load_trip(content: Any, name: str) -> TripMargin:
    """`[trip]`: how long a battery must last beyond what is planned, and how soon suction must be back."""
    table = Table(content, f"{name}, trip", ("factor", "reserve", "back_within", "source"))
    factor, reserve = table.number("factor"), table.span("reserve", needed=True, positive=False)
    if factor is None or not 1.0 <= factor <= MOST_FACTOR:
        raise table.fault("factor", f"must be a number from 1 to {MOST_FACTOR:g}", "Write e.g. factor = 2.")
    assert reserve is not None
    return TripMargin(factor, reserve, table.span("back_within"), table.text("source", ""))


def load_schedule(content: Mapping[str, Any], name: str) -> tuple[Due, ...]:
    """Every `[[schedule]]`."""
    listed = content.get("schedule", [])
    if not isinstance(listed, list):
        raise ProtocolError("schedule: must be a list of tables", where=name, mend="Write [[schedule]].")
    return tuple(
        _due(Table(entry, f"{name}, schedule number {number}", _DUE)) for number, entry in enumerate(listed, start=1)
    )


def _due(table: Table) -> Due:
    once = "within" in table.content
    if once and "every" in table.content:
        raise table.fault("within", "is for what is looked at once, and every for what is repeated", "Keep one.")
    start, until = _edge(table, "from"), _edge(table, "until")
    if once and start is None:
        raise table.fault("from", "is missing: within counts from it", 'Write from = { event = "removed" }.')
    if start is not None and until is not None and start.event == until.event and start.plus_s >= until.plus_s:
        raise table.fault("until", "comes no later than from, so nothing would ever be due", "Swap the two.")
    if once and "early_warning" in table.content:
        raise table.fault("early_warning", "shortens what is repeated", 'Write every = "4 h", or leave it out.')
    return Due(
        item=table.text("item"),
        every_s=None if once else table.span("every", needed=True),
        source=table.text("source", ""),
        start=start,
        until=until,
        within_s=table.span("within"),
        bands=_bands(table),
    )


def _edge(table: Table, key: str) -> Edge | None:
    if key not in table.content:
        return None
    inner = Table(table.content[key], f"{table.where}, {key}", ("event", "plus"))
    plus = inner.span("plus", positive=False)
    return Edge(inner.text("event", choices=SCHEDULE_EVENTS), 0.0 if plus is None else plus)


def _bands(table: Table) -> tuple[ScoreBand, ...]:
    listed = table.content.get("early_warning", [])
    if not isinstance(listed, list):
        mend = 'Write early_warning = [{ at_least = 5, every = "1 h" }].'
        raise table.fault("early_warning", "is not a list of tables", mend)
    found = []
    for number, entry in enumerate(listed, start=1):
        inner = Table(entry, f"{table.where}, early_warning number {number}", ("at_least", "single", "every"))
        every = inner.span("every", needed=True)
        assert every is not None
        points, single = inner.number("at_least"), inner.content.get("single")
        if (points is None) == (single is None):
            raise inner.fault("at_least", "or single: one of the two is needed", "Write at_least = 5, or single = 3.")
        if points is not None and (points != int(points) or not 0 <= points <= _MOST_POINTS):
            raise inner.fault("at_least", f"{points:g} is no score", f"Write a whole number, 0 to {_MOST_POINTS}.")
        if single is not None and (single != 3 or isinstance(single, bool)):
            raise inner.fault("single", f"{single!r} is not 3", "Write single = 3: one reading alone gives 3 points.")
        found.append(ScoreBand(None if points is None else int(points), every))
    return tuple(found)
