"""The words of the minute table, with their codes."""

from __future__ import annotations

STATES = ("cannot_tell", "quiet", "leaking")
CANNOT_TELL, QUIET, LEAKING = range(3)

# Why a minute cannot be judged; the lowest code that applies is the one shown last: see doubt.py.
REASONS = ("", "missing", "blocked", "disconnected", "off", "clamped", "sensor", "clock", "conflict", "shared")
NO_REASON, MISSING, BLOCKED, DISCONNECTED, OFF, CLAMPED, SENSOR, CLOCK, CONFLICT, SHARED = range(10)

# Minutes unknown for these reasons may be passed over by a rule that tolerates gaps.
TOLERABLE = (MISSING, OFF, CLAMPED)

WAYS_OPEN = ("", "swing", "air", "fluid", "charted")
NOT_SHOWN, BY_SWING, BY_AIR, BY_FLUID, BY_CHART = range(5)
