"""The patient: size, breathing, cough and the mechanics of the pleural space."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BreathingKind = Literal["own", "invasive"]


@dataclass(frozen=True)
class Patient:
    """Who is simulated. Every number without a source is an assumption of ours.

    Quiet pleural pressure: −3.4 to −8 cmH2O over the cycle (BTS 2010, as quoted);
    −2 at the end of expiration, −7 at the end of inspiration (Kam, Anaesthesia 1993;48:154).
    Cough: intrathoracic 150–180 torr at the most; ward coughs are taken as far weaker.
    """

    id: str = "SIM-0001"
    age_years: float = 64.0
    weight_kg: float = 72.0
    side: Literal["left", "right", "midline"] = "right"
    size_fr: int = 24
    space: Literal["pleural", "mediastinal"] = "pleural"
    operation: str = "lobectomy"
    indication: str = "lung_resection"
    breathing: BreathingKind = "own"
    breaths_per_min: float = 16.0
    end_expiration_cmh2o: float = -4.0
    depth_cmh2o: float = 4.0
    """Fall of pleural pressure over one quiet breath, a positive number."""
    passes_swing: float = 0.8
    """Share of the pleural swing that reaches the unit on suction, first day (ours)."""
    passes_swing_later: float = 0.65
    """The same once the lung is up (ours)."""
    coughs_per_hour_awake: float = 4.0
    coughs_per_hour_asleep: float = 0.4
    cough_cmh2o: float = 60.0
    """Typical peak airway pressure of a ward cough (ours; a maximal one is over 150)."""
    walks_per_day: float = 3.0
    space_compliance_ml_per_cmh2o: float = 40.0
    """How much air the space takes up per cmH2O when its way out is shut (ours: below a healthy
    lung's 100 to 200, for adhesions and a stiff lung hold it)."""
    early_air_ml: float = 150.0
    """Air left in the space at connection (ours)."""
    residual_space_ml: float = 6.0
    """Air that stays beside an expanded lung; a cough squeezes a little of it out (ours)."""
