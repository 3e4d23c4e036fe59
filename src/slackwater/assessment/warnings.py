"""What a reader must be told whatever the rule says: dangers that the record itself shows.

These are published or usual cautions, not a rule's clauses; they never change a status. Their sources stand beside
them. The unit's own words for an emergency come from its protocol file.
"""

from __future__ import annotations

import numpy as np

from slackwater.episode.types import Chart, Episode
from slackwater.leak.handling import FOREVER
from slackwater.leak.state import LeakTrace
from slackwater.leak.words import LEAKING
from slackwater.quantities.spans import MINUTE_MS

LARGE_BUBBLING = ("4", "5", "6", "7")  # of 7; Cerfolio 2001
BEFORE_CLAMP_MIN = 30  # how far back a leak is looked for when a clamp goes on

CLAMPED_IN_DISTRESS = (
    "The drain is charted clamped, and distress has been charted since: release the clamp and call for help, "
    "as your local policy says."
)
NO_AIR_VERDICT = "After pneumonectomy nothing is said about the air leak."
NO_SUCTION = "STOP AND CHECK: suction is charted or set after pneumonectomy; the mediastinum may shift."
TENSION = "A clamp was charted on a drain that leaked within half an hour before: danger of tension pneumothorax."
LARGE_ON_SEAL = "A large leak (grade 4 or more) on water seal: a seal may not stop it, and a pneumothorax may follow."


def warnings(episode: Episode, chart: Chart, leak: LeakTrace | None) -> tuple[str, ...]:
    """Every warning that stands; `chart` holds the entries about this drain and its patient. The gravest first."""
    found = []
    clamped_ms = _clamped_since(leak, chart)
    if clamped_ms is not None and any(e.value == "yes" and e.time >= clamped_ms for e in chart.of("distress")):
        found.append(CLAMPED_IN_DISTRESS)  # BTS 2003/2010, as quoted on a ward page
    if episode.operation_kind == "pneumonectomy":
        found.append(NO_AIR_VERDICT)
        if _suction_added(chart, leak):
            found.append(NO_SUCTION)  # CICM 2009 model answer
    if leak is not None and _clamped_while_leaking(leak):
        found.append(TENSION)  # common practice: a bubbling drain is not clamped
    if _large_on_seal(chart):
        found.append(LARGE_ON_SEAL)  # Cerfolio, Ann Thorac Surg 2001;71:1613-7: 7 of 32 on seal, 6 of them that large
    return tuple(found)


def _clamped_since(leak: LeakTrace | None, chart: Chart) -> int | None:
    entries = [e for e in chart.of("clamp") if not e.conflict]
    if not entries or entries[-1].value != "on":
        return None
    standing = [i.start_ms for i in leak.handled.clamped if i.end_ms >= FOREVER] if leak is not None else []
    return standing[-1] if standing else entries[-1].time


def _suction_added(chart: Chart, leak: LeakTrace | None) -> bool:
    orders = [e.value for e in chart.of("suction_ordered") if not e.conflict]
    if orders and isinstance(orders[-1], float) and orders[-1] < 0:
        return True
    return leak is not None and bool(np.nanmin(np.append(leak.minutes.set_suction, 0.0)) < -1)


def _clamped_while_leaking(leak: LeakTrace) -> bool:
    start, n = leak.minutes.start_ms, len(leak.minutes)
    for interval in leak.handled.clamped:
        k = (interval.start_ms - start) // MINUTE_MS
        if (leak.state[max(0, min(k, n) - BEFORE_CLAMP_MIN) : max(0, min(k, n))] == LEAKING).any():
            return True
    return False


def _large_on_seal(chart: Chart) -> bool:
    """The last bubbling grade is large, and no suction was being added."""
    grades = [e for e in chart.of("bubbling") if not e.conflict and isinstance(e.value, str)]
    if not grades or not str(grades[-1].value).endswith(LARGE_BUBBLING):
        return False
    before = [e for e in chart.of("suction_ordered", "suction_delivered") if e.time <= grades[-1].time]
    return bool(before) and before[-1].value == "none_added"
