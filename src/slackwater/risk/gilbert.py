"""The score of Gilbert 2016, from before the operation, for a leak over seven days that needs the hospital."""

from __future__ import annotations

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.prolonged import OVER_7_DAYS_IN_HOSPITAL
from slackwater.risk.score import Part, Published, Rate

HIGH_ABOVE = 4  # points; at exactly 4 it is low


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """Male: 1; BMI at most 25 kg/m²: 0.5; ever smoked: 2; DLCO below 80 % of predicted: 2; MRC grade above 1: 1.

    From 0 to 6.5. The MRC grade is written from 1 to 5 or, modified, from 0 to 4, and the abstract does not say which:
    our grade 1 (2 on the other) is above 1 by one and not by the other.

    >>> from slackwater.risk.score import asked
    >>> known = {
    ...     "sex": "male", "bmi": 27, "smoking": "former", "dlco_percent": 79, "mrc_dyspnoea": 0, "resection": "wedge",
    ... }
    >>> asked(GILBERT, RiskInputs(known)).answer
    '5 points, high'
    >>> asked(GILBERT, RiskInputs(known | {"mrc_dyspnoea": 1})).answer
    'cannot tell: 5 to 6 points, as the abstract does not say whether its MRC grades count from 0 or from 1'
    """
    grade = given.number("mrc_dyspnoea")
    breath = Part("MRC dyspnoea above 1", 1 if grade > 1 else 0)
    if grade == 1:
        why = "the abstract does not say whether its MRC grades count from 0 or from 1"
        breath = Part("MRC dyspnoea above 1", 0, 1, why)
    return (
        Part("male", 1 if given.word("sex") == "male" else 0),
        Part("BMI at most 25", 0.5 if given.number("bmi") <= 25 else 0),
        Part("smokes or has smoked", 0 if given.word("smoking") == "never" else 2),
        Part("DLCO below 80 % of predicted", 2 if given.number("dlco_percent") < 80 else 0),
        breath,
    )


def band(points: float) -> str:
    return "high" if points > HIGH_ABOVE else "low"


GILBERT = Published(
    id="gilbert",
    name="prolonged-leak score, Gilbert",
    source="Gilbert, Ann Thorac Surg 2016;102:1674-9, doi 10.1016/j.athoracsur.2016.05.035 (abstract read; first "
    "author from memory)",
    population="pulmonary resection, planned or done: wedge, segmentectomy, lobectomy, bilobectomy or sleeve",
    cohort="225 patients, 18 with such a leak",
    outcome=OVER_7_DAYS_IN_HOSPITAL,
    inside={"resection": ("wedge", "segmentectomy", "lobectomy", "bilobectomy", "sleeve")},
    items=("sex", "bmi", "smoking", "dlco_percent", "mrc_dyspnoea"),
    parts=parts,
    band=band,
    rates=(
        Rate("sensitivity of more than 4 points (high)", 83, 58, 96),
        Rate("specificity of more than 4 points (high)", 65, 58, 71),
    ),
    notes=("The abstract says 'pulmonary resection'; that pneumonectomy is outside is ours.",),
)
