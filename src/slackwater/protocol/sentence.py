"""A clause in words, as an approver would read it back."""

from __future__ import annotations

from slackwater.protocol.rule import Clause
from slackwater.quantities.spans import format_span


def sentence(clause: Clause) -> str:
    """One clause in words: every window, limit and condition it has."""
    measure, how = clause.measure_name.replace("_", " "), clause.comparison.replace("_", " ")
    text = f"{measure} of the {clause.scope} {how} {clause.limit_text}".rstrip()
    if clause.per_kg and "kg" not in clause.limit_text:
        text += " per kg"
    if clause.measure.kind == "signal":
        text += f", mean over {clause.bin_min} min" if clause.bin_min else ", every reading"
    if clause.of:
        text += f" after {clause.of}"
    if clause.within_s:
        text += f", within {format_span(clause.within_s)}"
    if clause.lasting_s:
        text += f", lasting {format_span(clause.lasting_s)}"
    if clause.after:
        text += f", after the last {clause.after.replace('_', ' ')}"
    if clause.only_until:
        text += f", only until {format_span(clause.only_until[1])} after {clause.only_until[0]}"
    if clause.data_age_s:
        text += f" (data up to {format_span(clause.data_age_s)} old)"
    return f"{text}. {clause.say}".strip()
