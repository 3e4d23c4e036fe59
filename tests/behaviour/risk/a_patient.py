"""An invented patient who is inside every score's population, and of whom everything is known."""

from __future__ import annotations

from slackwater.risk.inputs import BUBBLING_RECORDS, RiskInputs, Value
from slackwater.risk.published import scores
from slackwater.risk.score import Score

WHOLE: dict[str, Value] = {
    "sex": "female", "bmi": 28.0, "fev1_percent": 100, "dlco_percent": 100, "mrc_dyspnoea": 0, "smoking": "never",
    "diagnosis": "non_small_cell_lung_cancer", "elective": "yes", "approach": "minimally_invasive",
    "resection": "lobectomy", "side": "left", "lobe": "lower", "chest_wall_resection": "no", "adhesions": "no",
    "incomplete_fissure": "no", "bronchopleural_fistula": "no",
} | dict.fromkeys(BUBBLING_RECORDS, 1)  # fmt: skip


def told(name: str, **known: Value) -> Score:
    """One score of the invented patient, changed as said."""
    (found,) = scores(RiskInputs(WHOLE | known), [name])
    return found


def points(name: str, **known: Value) -> float | None:
    return told(name, **known).points
