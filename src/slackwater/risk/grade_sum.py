"""The sum of bubbling grades over the second and third day after lobectomy, for a leak longer than five days."""

from __future__ import annotations

from slackwater.risk.inputs import BUBBLING_RECORDS, RiskInputs
from slackwater.risk.prolonged import OVER_5_DAYS
from slackwater.risk.score import Part, Published, Rate

PREDICTED_FROM = 16  # points; 16 itself is predicted


def parts(given: RiskInputs) -> tuple[Part, ...]:
    """The grades of the fourth to the ninth 8-hourly record, added up; all six or nothing.

    The paper's scale has five grades whose wording was not seen; a grade of another scale, or a flow, is no such grade.

    >>> from slackwater.risk.score import asked
    >>> grades = dict(zip(BUBBLING_RECORDS, (3, 3, 3, 3, 2, 2), strict=True))
    >>> asked(GRADE_SUM, RiskInputs({"resection": "lobectomy", "bronchopleural_fistula": "no"} | grades)).answer
    '16 points, predicted'
    """
    return tuple(Part(f"record {name[-1]}", given.number(name)) for name in BUBBLING_RECORDS)


def band(points: float) -> str:
    return "predicted" if points >= PREDICTED_FROM else "not predicted"


GRADE_SUM = Published(
    id="grade-sum",
    name="prolonged-leak sum of bubbling grades, records 4 to 9",
    source="J Cardiothorac Surg 2017, doi 10.1186/s13019-017-0568-6 (abstract read; authors not seen)",
    population="lobectomy without bronchopleural fistula afterwards, bubbling graded every 8 h",
    cohort="720 lobectomies, 135 with such a leak",
    outcome=OVER_5_DAYS,
    inside={"resection": ("lobectomy",), "bronchopleural_fistula": ("no",)},
    items=BUBBLING_RECORDS,
    parts=parts,
    band=band,
    rates=(
        Rate("had such a leak, of those predicted (16 points or more)", 75.7),
        Rate("had no such leak, of those not predicted", 77.7),
    ),
    notes=(
        "Records 4 to 9 are those of the second and third day after the operation.",
        "The wording of the five grades was not seen: it counts only grades given by the paper's own scale.",
    ),
)
