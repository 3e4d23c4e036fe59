"""The score of Seder 2019 for a leak longer than five days after an elective resection for lung cancer."""

from __future__ import annotations

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.prolonged import OVER_5_DAYS
from slackwater.risk.score import Part, Published, Rate

HIGH_ABOVE = 17  # points; at 17 it is low


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """BMI at most 25 kg/m²: 7; lobectomy or bilobectomy: 6; FEV1 at most 70 % of predicted: 5; male: 4; right upper: 3.

    From 0 to 25. A left upper lobe earns nothing.

    >>> from slackwater.risk.score import asked
    >>> known = {
    ...     "sex": "male", "bmi": 25.0, "fev1_percent": 70.1, "resection": "lobectomy",
    ...     "side": "right", "lobe": "lower", "chest_wall_resection": "no", "elective": "yes",
    ...     "diagnosis": "non_small_cell_lung_cancer",
    ... }
    >>> asked(SEDER, RiskInputs(known)).answer
    '17 points, low'
    >>> asked(SEDER, RiskInputs(known | {"lobe": "upper"})).answer
    '20 points, high'
    """
    right = given.word("side") == "right"
    lobe = given.word("lobe")
    upper = Part("right upper lobe", 3 if right and lobe == "upper" else 0)
    if right and lobe == "upper_and_other":
        upper = Part("right upper lobe", 0, 3, "the abstract does not say how the upper lobe with another is counted")
    return (
        Part("BMI at most 25", 7 if given.number("bmi") <= 25 else 0),
        Part("lobectomy or bilobectomy", 6 if given.word("resection") in ("lobectomy", "bilobectomy") else 0),
        Part("FEV1 at most 70 % of predicted", 5 if given.number("fev1_percent") <= 70 else 0),
        Part("male", 4 if given.word("sex") == "male" else 0),
        upper,
    )


def band(points: float) -> str:
    return "high" if points > HIGH_ABOVE else "low"


SEDER = Published(
    id="seder",
    name="prolonged-leak score, Seder",
    source="Seder, Ann Thorac Surg 2019;108:1478-83 (journal and pages from memory; abstract read, PMC8693718)",
    population="elective resection for lung cancer on one side; not pneumonectomy, sleeve or chest wall resection",
    cohort="52,198 patients, 5,453 with such a leak",
    outcome=OVER_5_DAYS,
    inside={
        "diagnosis": ("non_small_cell_lung_cancer", "other_lung_cancer"),
        "elective": ("yes",),
        "resection": ("wedge", "segmentectomy", "lobectomy", "bilobectomy"),
        "side": ("left", "right"),
        "chest_wall_resection": ("no",),
    },
    items=("sex", "bmi", "fev1_percent", "lobe"),
    parts=parts,
    band=band,
    rates=(
        Rate("had such a leak, of the group above 17 points (high)", 19.6),
        Rate("had such a leak, of the group at 17 points or fewer (low)", 9),
        Rate("sensitivity", 30),
        Rate("specificity", 85),
        Rate("positive predictive value", 19),
        Rate("negative predictive value", 91),
    ),
)
