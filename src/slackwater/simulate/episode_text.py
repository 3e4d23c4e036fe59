"""The episode file: who and what."""

from __future__ import annotations

from datetime import datetime

from slackwater.simulate.patient import Patient
from slackwater.simulate.toml_text import Value, toml_text


def episode_text(patient: Patient, connected: datetime, limbs: int, surgery_ended: datetime) -> str:
    """Episode TOML of drain 1; with two limbs it says that drain 2 shares unit and space."""
    drain: dict[str, Value] = {
        "number": "1",
        "side": patient.side,
        "space": patient.space,
        "size_fr": patient.size_fr,
        "connected_at": connected.isoformat(),
    }
    other = ["2"] if limbs == 2 else []
    drain |= {"shares_unit_with": other, "shares_space_with": other}
    tables: dict[str, dict[str, Value]] = {
        "patient": {
            "id": patient.id,
            "age_years": patient.age_years,
            "weight_kg": patient.weight_kg,
        },
        "drain": drain,
    }
    if patient.operation:
        tables["operation"] = {"kind": patient.operation, "end": surgery_ended.isoformat()}
    top: dict[str, Value] = {
        "indication": patient.indication,
        "breathing": patient.breathing,
    }
    return toml_text(top, tables)
