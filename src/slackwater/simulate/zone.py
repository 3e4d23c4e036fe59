"""Wall clocks: from instants to local time, only ever at the door."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from slackwater.simulate.si import IntArray


def zone_of(name: str) -> tzinfo:
    """Time zone by IANA name, `UTC`, or a fixed offset such as `+02:00`."""
    if name == "UTC":
        return UTC
    if name[:1] in "+-":
        sign = -1 if name[0] == "-" else 1
        hours, minutes = name[1:].split(":")
        return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes)))
    return ZoneInfo(name)


def offsets_s(instants_s: IntArray, zone: tzinfo) -> IntArray:
    """Offset of local time from UTC at each instant (Unix seconds) [s].

    Looked up once a quarter of an hour: no zone changes in between.
    """
    quarters, where = np.unique(instants_s // 900, return_inverse=True)
    found = []
    for quarter in quarters.tolist():
        offset = datetime.fromtimestamp(quarter * 900, zone).utcoffset()
        found.append(0 if offset is None else int(offset.total_seconds()))
    return np.array(found, dtype=np.int64)[where]
