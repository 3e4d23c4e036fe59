"""How `layout check` reads: the first rows as understood, and where every row went."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from slackwater.reading.check import CheckedRow, LayoutCheck

_COLUMNS = (
    ("line", "line", "{}"),
    ("local", "time as understood", "{}"),
    ("flow_ml_per_min", "flow mL/min", "{:g}"),
    ("flow_max_ml_per_min", "largest mL/min", "{:g}"),
    ("pressure_cmh2o", "pressure cmH2O", "{:.2f}"),
    ("set_suction_cmh2o", "set cmH2O", "{:.2f}"),
    ("battery_percent", "charge %", "{}"),
    ("mains", "mains", "{}"),
    ("fluid_ml", "fluid mL", "{}"),
    ("state", "state", "{}"),
)


def check_document(found: LayoutCheck) -> dict[str, Any]:
    """Everything as plain values."""
    return asdict(found)


def check_text(found: LayoutCheck) -> str:
    """A table of the first rows (columns nobody filled are left out), then the ledger and what was found."""
    used = [column for column in _COLUMNS if any(getattr(row, column[0]) is not None for row in found.rows)]
    table = [[title for _, title, _ in used], *([_cell(row, key, form) for key, _, form in used] for row in found.rows)]
    widths = [max(len(line[i]) for line in table) for i in range(len(used))]
    lines = ["  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)) for line in table]
    ledger = found.ledger
    step = f"{found.flow_step_ml_per_min:g} mL/min" if found.flow_step_ml_per_min else "not known: taken as printed"
    lines += [
        "",
        f"{ledger.read} rows read = {ledger.used} used + {ledger.refused} refused",
        *(f"  line {row.line}, {row.column}: {row.why}" for row in ledger.first_refused),
        f"from {found.first_utc} to {found.last_utc}, zone {found.zone}",
        f"a row stands for {found.every_ms / 1000:g} s ({'declared' if found.every_declared else 'the usual step'})",
        f"step of flow: {step} ({'declared' if found.flow_step_declared else 'found from the data'})",
        *(f"serial {serial}" for serial in found.serials),
        *(f"note: {note}" for note in found.notes),
        "suction is shown negative, whatever the log's sign",
    ]
    return "\n".join(lines)


def _cell(row: CheckedRow, key: str, form: str) -> str:
    value = getattr(row, key)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else form.format(value)
