"""The score of Lee 2011 from adhesions and lung function; what 'prolonged' means in it was not seen."""

from __future__ import annotations

from slackwater.risk.inputs import RiskInputs
from slackwater.risk.prolonged import DAYS_NOT_SEEN
from slackwater.risk.score import Part, Published


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """Adhesions: 2; FEV1: 1 for each 10 % of predicted below 100; DLCO: 1 for each 20 % of predicted below 100.

    At or above 100 a part earns nothing. How a value inside a step is rounded is not stated: then it cannot be told.

    >>> from slackwater.risk.score import asked
    >>> known = {"adhesions": "yes", "fev1_percent": 70, "dlco_percent": 60, "resection": "lobectomy"}
    >>> asked(LEE, RiskInputs(known)).points
    7.0
    >>> asked(LEE, RiskInputs(known | {"fev1_percent": 75})).answer
    'cannot tell: 6 to 7 points, as the abstract does not say how a value inside a step is rounded'
    """
    return (
        Part("pleural adhesions", 2 if given.word("adhesions") == "yes" else 0),
        _steps("FEV1", given.number("fev1_percent"), 10),
        _steps("DLCO", given.number("dlco_percent"), 20),
    )


def _steps(name: str, percent: float, step: int) -> Part:
    whole, rest = divmod(max(0.0, 100 - percent), step)
    text = f"{name}, 1 for each {step} % of predicted below 100"
    if rest:
        return Part(text, whole, whole + 1, "the abstract does not say how a value inside a step is rounded")
    return Part(text, whole)


LEE = Published(
    id="lee",
    name="prolonged-leak score, Lee",
    source="Lee, Estimating the risk of prolonged air leak, J Am Coll Surg 2011 (abstract read; year from memory, "
    "doi not seen)",
    population="pulmonary resection: wedge, segmentectomy, lobectomy, bilobectomy or sleeve",
    cohort="580 patients, 14 % with such a leak; tried on 381 more, 18 %",
    outcome=DAYS_NOT_SEEN,
    inside={"resection": ("wedge", "segmentectomy", "lobectomy", "bilobectomy", "sleeve")},
    items=("adhesions", "fev1_percent", "dlco_percent"),
    parts=parts,
    notes=(
        "The table from points to chance was not seen.",
        "The abstract says 'pulmonary resection'; that pneumonectomy is outside is ours.",
    ),
)
