"""Readings that no patient on a ward is likely to have: taken as sent, and asked about: unit or point may be wrong.

The limits are ours: far beyond what is charted of a living adult, so that an ill one is never asked about. Common
practice, no source.
"""

from __future__ import annotations

from slackwater.episode.items import ITEMS
from slackwater.episode.values import read_value
from slackwater.feed.hl7_oru import Result
from slackwater.quantities.units import parse_quantity

# Item: lowest, highest.
LIKELY = {
    "spo2": ("40 %", "100 %"), "resp_rate": ("3 /min", "80 /min"), "heart_rate": ("20 /min", "300 /min"),
    "systolic": ("30 mmHg", "300 mmHg"), "temperature": ("25 Cel", "44 Cel"), "weight": ("0.4 kg", "400 kg"),
}  # fmt: skip


def strange(result: Result) -> str:
    """What to ask of a value; empty where there is nothing to ask."""
    limits = LIKELY.get(result.item)
    if limits is None or not result.value:
        return ""
    found = read_value(ITEMS[result.item], result.value, result.unit)
    low, high = (float(parse_quantity(text, ITEMS[result.item].dimension).value) for text in limits)
    if not isinstance(found, float) or low <= found <= high:
        return ""
    return (
        f"{result.value} {result.unit} lies outside {limits[0]} to {limits[1]}: entered as sent. Is the unit, or the "
        "decimal point, right? Correct it with status C or W."
    )
