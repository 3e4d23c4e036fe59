"""The index of Rivera 2011 for a leak longer than seven days, from sex, build, breath, adhesions and operation."""

from __future__ import annotations

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.prolonged import OVER_7_DAYS
from slackwater.risk.score import Part, Published

_RESECTION = {
    "wedge": 0, "lobectomy": 7, "segmentectomy": 7, "bilobectomy": 11, "bulla": 2, "volume_reduction": 14,
}  # fmt: skip


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """Sex (0, male 4) - (BMI - 24) + 2 x dyspnoea + adhesions (0, 4) + resection + upper lobe (0, 4).

    BMI in kg/m²; dyspnoea as a grade from 0 to 4. A negative index is legal. No table from index to chance was seen.

    >>> from slackwater.risk.score import asked
    >>> known = {"sex": "male", "bmi": 24, "mrc_dyspnoea": 2, "adhesions": "yes", "lobe": "upper"}
    >>> asked(RIVERA, RiskInputs(known | {"resection": "lobectomy"})).points
    23.0
    >>> asked(RIVERA, RiskInputs({"resection": "sleeve"})).answer
    'does not apply: kind of resection: sleeve. No number is given.'
    """
    resection, bmi, lobe = given.word("resection"), given.number("bmi"), given.word("lobe")
    upper = Part("upper lobe", 4 if lobe == "upper" else 0)
    if lobe == "upper_and_other":
        upper = Part("upper lobe", 0, 4, "the abstract does not say how the upper lobe with another is counted")
    return (
        Part("male", 4 if given.word("sex") == "male" else 0),
        Part(f"BMI {bmi:g} counted down from 24", 24 - bmi),
        Part("twice the dyspnoea grade", 2 * given.number("mrc_dyspnoea")),
        Part("pleural adhesions", 4 if given.word("adhesions") == "yes" else 0),
        Part(resection.replace("_", " "), _RESECTION[resection]),
        upper,
    )


RIVERA = Published(
    id="rivera",
    name="prolonged-leak index, Rivera",
    source="Rivera, Ann Thorac Surg 2011;92:1062-8, doi 10.1016/j.athoracsur.2011.04.033 (abstract read)",
    population="lung resections of a national database: wedge, segmentectomy, lobectomy, bilobectomy, bulla or "
    "volume reduction",
    cohort="24,113 resections, 1,655 with such a leak; tried on 6,813 more",
    outcome=OVER_7_DAYS,
    inside={"resection": tuple(_RESECTION)},
    items=("sex", "bmi", "mrc_dyspnoea", "adhesions", "lobe"),
    parts=parts,
    notes=(
        "An index and no percentage: a table from index to chance was not seen. It may be negative.",
        "The dyspnoea grade is taken to run from 0 to 4: from memory, the abstract does not say.",
    ),
)
