"""The score of Viti 2018 for a leak longer than five days after minimally invasive lobectomy for lung cancer."""

from __future__ import annotations

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.prolonged import OVER_5_DAYS
from slackwater.risk.score import Part, Published


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """FEV1 below 86 % of predicted: 1.5; BMI below 24 kg/m²: 1; smokes now: 1.5; incomplete fissure: 1.5; adhesions: 1.

    From 0 to 6.5. The paper sorts the sum into four classes; their cut points were not seen, so no class is told.

    >>> from slackwater.risk.score import asked
    >>> known = {
    ...     "fev1_percent": 86, "bmi": 24, "smoking": "former", "incomplete_fissure": "yes", "adhesions": "yes",
    ...     "resection": "lobectomy", "diagnosis": "non_small_cell_lung_cancer", "approach": "minimally_invasive",
    ... }
    >>> found = asked(VITI, RiskInputs(known))
    >>> found.points, found.band
    (2.5, None)
    """
    return (
        Part("FEV1 below 86 % of predicted", 1.5 if given.number("fev1_percent") < 86 else 0),
        Part("BMI below 24", 1 if given.number("bmi") < 24 else 0),
        Part("smokes now", 1.5 if given.word("smoking") == "current" else 0),
        Part("incomplete fissure", 1.5 if given.word("incomplete_fissure") == "yes" else 0),
        Part("pleural adhesions", 1 if given.word("adhesions") == "yes" else 0),
    )


VITI = Published(
    id="viti",
    name="prolonged-leak score, Viti",
    source="Viti, J Surg Oncol 2018;118:1285-91, doi 10.1002/jso.25289 (abstract read; first author from memory)",
    population="minimally invasive lobectomy for non-small-cell lung cancer",
    cohort="72 patients with such a leak, 15.69 % of those it was made from",
    outcome=OVER_5_DAYS,
    inside={
        "diagnosis": ("non_small_cell_lung_cancer",),
        "resection": ("lobectomy",),
        "approach": ("minimally_invasive",),
    },
    items=("fev1_percent", "bmi", "smoking", "incomplete_fissure", "adhesions"),
    parts=parts,
    notes=("Class: cannot tell. The paper has four; their cut points were not seen.",),
)
