"""Time stamps as a unit's file writes them."""

from __future__ import annotations

from datetime import date, time, timedelta, tzinfo

import numpy as np

from slackwater.simulate.si import IntArray
from slackwater.simulate.unit_type import Stamp
from slackwater.simulate.zone import offsets_s

_DAY_S = 86_400
_EPOCH = date(1970, 1, 1)


def stamp_texts(stamp: Stamp, instants_s: IntArray, start_s: int, zone: tzinfo) -> list[list[str]]:
    """Stamp columns for rows at `instants_s` (Unix seconds): one list, or date and clock.

    `start_s` is the instant from which elapsed seconds count.
    """
    if stamp.style == "epoch_s":
        return [[str(s) for s in instants_s.tolist()]]
    if stamp.style == "epoch_ms":
        return [[f"{s}000" for s in instants_s.tolist()]]
    if stamp.style == "elapsed_s":
        return [[str(s) for s in (instants_s - start_s).tolist()]]
    if stamp.style == "iso_utc":
        dates, clocks = _local_texts(instants_s, "%Y-%m-%d", "%H:%M:%S")
        return [[f"{d}T{c}Z" for d, c in zip(dates, clocks, strict=True)]]
    offsets = offsets_s(instants_s, zone)
    if stamp.style == "iso_offset":
        dates, clocks = _local_texts(instants_s + offsets, "%Y-%m-%d", "%H:%M:%S")
        tails = {o: _offset_text(o) for o in np.unique(offsets).tolist()}
        named = [tails[o] for o in offsets.tolist()]
        return [[f"{d}T{c}{o}" for d, c, o in zip(dates, clocks, named, strict=True)]]
    dates, clocks = _local_texts(instants_s + offsets, stamp.date, stamp.clock)
    return [dates, clocks]


def _offset_text(offset_s: int) -> str:
    sign = "-" if offset_s < 0 else "+"
    return f"{sign}{abs(offset_s) // 3600:02d}:{abs(offset_s) % 3600 // 60:02d}"


def _local_texts(local_s: IntArray, date_form: str, clock_form: str) -> tuple[list[str], list[str]]:
    # A stay has few days and a day has few clock texts: make each once.
    days, of_day = np.divmod(local_s, _DAY_S)
    day_text = {d: (_EPOCH + timedelta(days=d)).strftime(date_form) for d in np.unique(days).tolist()}
    seconds, where = np.unique(of_day, return_inverse=True)
    clock_text = [_clock_text(s, clock_form) for s in seconds.tolist()]
    return [day_text[d] for d in days.tolist()], [clock_text[i] for i in where.tolist()]


def _clock_text(second_of_day: int, form: str) -> str:
    hour, rest = divmod(second_of_day, 3600)
    minute, second = divmod(rest, 60)
    if form == "%H:%M:%S":
        return f"{hour:02d}:{minute:02d}:{second:02d}"
    return time(hour, minute, second).strftime(form)
