"""How an invented drain of a cohort ends: when and why it comes out, on which ward, and what it was kept for.

Everything here is assumed, for an audit to have something to count; no source gives such figures. A ward takes a drain
out some time after the leak truly ended, by day, later at weekends; its own pace differs from the next ward's.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from slackwater.simulate.stay import Stay
from slackwater.simulate.zone import zone_of

WARDS = {"Larch": 0.7, "Rowan": 1.0, "Alder": 1.0, "Hazel": 1.3, "Maple": 1.0, "Aspen": 1.5}  # pace of taking out
ENDS = {
    "planned": 0.86,
    "unplanned": 0.07,
    "transferred": 0.03,
    "in_theatre": 0.02,
    "exchanged": 0.01,
    "patient_died": 0.01,
}
HOLDS = {
    "awaiting_imaging": 0.35,
    "awaiting_staff": 0.25,
    "clinical_concern": 0.2,
    "patient_wish": 0.1,
    "anticoagulation": 0.1,
}
HELD = 0.25  # of planned removals
WAIT_H = 14.0  # from the true end of the leak, median
BY_DAY = (9, 17)
SUNDAY = 6


def course_toml(stay: Stay) -> str:
    """course.toml of the stay: its ward, a hold where there was one, and the removal. The same stay, the same text."""
    chance = np.random.default_rng([stay.seed, 7])
    ward = str(chance.choice(list(WARDS)))
    kind = str(chance.choice(list(ENDS), p=list(ENDS.values())))
    start = stay.scenario.start.astimezone(UTC)
    last = start + timedelta(hours=stay.scenario.hours)
    out = _planned(stay, start, last, WARDS[ward], chance)
    if kind != "planned":
        out = start + (last - start) * float(chance.uniform(0.15, 0.9))
    lines = ["[stay]", f'ward = "{ward}"']
    if kind == "planned" and chance.random() < HELD:
        begin = max(start, out - timedelta(hours=float(chance.uniform(2.0, 12.0))))
        reason = str(chance.choice(list(HOLDS), p=list(HOLDS.values())))
        lines += ["[[hold]]", f'reason = "{reason}"', f"from = {_stamp(begin)}", f"to = {_stamp(out)}"]
    lines += ["[removal]", f'kind = "{kind}"', f"time = {_stamp(out)}"]
    if kind == "planned" and stay.truth.leaking_at_end and chance.random() < 0.5:
        lines.append('against_rule_because = "invented: the team decided"')
    return "\n".join(lines) + "\n"


def _planned(stay: Stay, start: datetime, last: datetime, pace: float, chance: np.random.Generator) -> datetime:
    """Some hours after the leak truly ended, by day, one Sunday in three; where it never ended, at the end."""
    ended = stay.truth.ended_s
    if stay.truth.leaking_at_end or (ended is None and stay.truth.ever_leaked):
        return last
    since_s = 0.0 if ended is None else ended  # a drain that never leaked waits from its connection
    at = start + timedelta(seconds=since_s, hours=WAIT_H * pace * float(chance.lognormal(0.0, 0.5)))
    local = at.astimezone(zone_of(stay.scenario.zone))
    while not BY_DAY[0] <= local.hour < BY_DAY[1] or (local.weekday() == SUNDAY and chance.random() < 2 / 3):
        morning = local.replace(hour=BY_DAY[0], minute=int(chance.integers(0, 60)), second=0, microsecond=0)
        local = morning if morning > local else morning + timedelta(days=1)
    return min(local.astimezone(UTC), last)


def _stamp(at: datetime) -> str:
    return at.replace(microsecond=0).isoformat()
