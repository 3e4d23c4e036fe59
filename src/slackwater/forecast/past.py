"""A past stay, ready to learn from: from what the rule itself was judged on."""

from __future__ import annotations

import numpy as np

from slackwater.forecast.air import AirClause
from slackwater.forecast.learn import Past
from slackwater.forecast.whole import largest_looked_at, straddles
from slackwater.leak.filter.run import Seen
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.facts import Facts
from slackwater.protocol.status import Status
from slackwater.protocol.windows import window_codes


def past_of(judged: Judged, facts: Facts, given: Seen, first_hour: float | None = None) -> Past | None:
    """None where the clause is no air clause that runs over time, or the unit's step straddles its limit.

    first_hour: of the ward's clock in the first minute; None where not known.
    """
    clause = judged.clause
    if clause is None or clause.measure.kind != "signal" or clause.limit is None or clause.lasting_s is None:
        return None
    signal = facts.signals.get((clause.measure_name, clause.scope))
    if signal is None:
        return None
    within = window_codes(signal, clause.bin_min, clause.comparison, clause.limit) == Status.MET
    if straddles(signal, within, clause.limit):
        return None
    operation = facts.about.get("operation.kind")
    return Past(
        given.until(facts.length),
        AirClause(clause.limit, round(clause.lasting_s / 60.0), clause.bin_min),
        largest_looked_at(signal, clause),
        np.asarray(within),
        np.asarray(judged.timeline == Status.MET),
        operation if isinstance(operation, str) else None,
        first_hour,
    )
