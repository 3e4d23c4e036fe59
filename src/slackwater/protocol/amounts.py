"""Judge an amount, which adds up over a window: bounds through what nobody charted."""

from __future__ import annotations

import numpy as np

from slackwater.protocol.evaluation import Judged, Need, Span, Value
from slackwater.protocol.facts import Amounts, Facts, Flags, Times
from slackwater.protocol.moments import NEVER, latest_before, number_codes, said, untold
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status


def judge_amount(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    assert clause.within_s is not None and clause.limit is not None
    amounts = facts.amounts.get((clause.measure_name, clause.scope))
    unit = "mL/kg" if clause.per_kg else "mL"
    if amounts is None:
        nothing = (Span(facts.now_ms - round(clause.within_s * 1000), facts.now_ms, "nothing charted"),)
        return Judged(
            clause.id, Status.CANNOT_TELL, untold(facts), clause, needs=(Need("fluid charted"),), evidence=nothing
        )
    if clause.per_kg and facts.weight_kg is None:
        return Judged(clause.id, Status.CANNOT_TELL, untold(facts), clause, needs=(Need("the patient's weight"),))
    ends = np.append(facts.ends_ms(), facts.now_ms)
    timeline, low, high, upto = _amount_codes(clause, protocol, facts, amounts, ends, escalating)
    until, lowest, highest = int(upto[-1]), float(low[-1]), float(high[-1])
    window = round(clause.within_s * 1000)
    if escalating:
        entries = amounts.entry_ends_ms
        then, low, high, _ = _amount_codes(clause, protocol, facts, amounts, entries, True)
        fired = entries[then == Status.MET]
        if timeline[-1] != Status.MET and len(fired) and 0 <= facts.now_ms - fired[-1] <= window:
            until, at = int(fired[-1]), int(np.searchsorted(entries, fired[-1]))  # what fired it, not what came after
            lowest, highest = float(low[at]), float(high[at])
        timeline[_still_firing(fired, ends, window)] = Status.MET
    now = Status(int(timeline[-1]))
    value = Value(lowest, highest if np.isfinite(highest) else None, unit)
    begin = until - window * _windows(clause)
    evidence = (Span(begin, until, "", amounts.lines(begin, until), amounts.counted),)
    needs: tuple[Need, ...] = ()
    if now is Status.CANNOT_TELL:
        needs = (Need(f"fluid charted over the whole of the last {clause.within_s / 3600:g} h, up to now"),)
    elif now is Status.NOT_MET and not escalating:
        needs = (Need(f"fluid {said(clause)} over {clause.within_s / 3600:g} h"),)
    return Judged(clause.id, now, timeline[:-1], clause, value, needs=needs, evidence=evidence)


def _amount_codes(
    clause: Clause, protocol: Protocol, facts: Facts, amounts: Amounts, ends: Times, escalating: bool
) -> tuple[Codes, np.ndarray, np.ndarray, Times]:
    """Status, bounds and the end of the window used, at each moment.

    The window ends with the last entry if that is no older than the rule allows; what came after it
    is simply not charted yet. An older entry leaves the rest open, upwards without bound.
    """
    assert clause.within_s is not None and clause.limit is not None
    window = round(clause.within_s * 1000)
    allowed = round((clause.data_age_s if clause.data_age_s is not None else protocol.data_age_s) * 1000)
    if escalating:  # a sum once recorded goes on speaking for as long as its own window
        allowed = max(allowed, window)
    last = latest_before(amounts.entry_ends_ms, ends)
    upto = np.where(ends - last <= allowed, last, ends)
    per = facts.weight_kg if clause.per_kg and facts.weight_kg else 1.0
    windows = _windows(clause)
    status = np.full(len(ends), Status.NOT_APPLICABLE, dtype=np.int8)
    worst_low = worst_high = np.zeros(len(ends))
    for nth in range(windows):  # consecutive windows, the latest first: each must pass
        low, high = amounts.totals(upto - nth * window, window)
        # past the last entry known at that moment nothing bounds the amount
        high = np.where(upto - nth * window > last, np.inf, high)
        low, high = low / per, high / per
        np.minimum(status, number_codes(low, high, clause), out=status)
        if nth == 0:
            worst_low, worst_high = low, high
    return status, worst_low, worst_high, upto


def _windows(clause: Clause) -> int:
    """How many windows end to end."""
    assert clause.within_s is not None
    return 1 if clause.lasting_s is None else round(clause.lasting_s / clause.within_s)


def _still_firing(fired: Times, ends: Times, window: int) -> Flags:
    """A sum that fired at any entry goes on firing for as long as its own window, whatever came after."""
    last = latest_before(fired, ends)
    return np.asarray((last > NEVER) & (ends - last <= window))
