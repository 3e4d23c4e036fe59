"""Two scores whose papers nobody here has held: from memory, so they stay out of the program and in these tests.

VERIFIED says so. Hold the paper, then move the score to a file of its own in `slackwater.risk`.
"""

from __future__ import annotations

from dataclasses import dataclass

VERIFIED = False


@dataclass(frozen=True)
class Class:
    letter: str
    percent: float
    patients: int | None = None


def brunelli_2010(age_years: float, adhesions: bool, fev1_percent: float, bmi: float) -> float:
    """Brunelli, Ann Thorac Surg 2010;90:204-9, from memory: over 5 days.

    Age above 65 years 1, adhesions 1, FEV1 below 80 % of predicted 1.5, BMI below 25.5 kg/m² 2; at most 5.5.
    """
    return (age_years > 65) + adhesions + 1.5 * (fev1_percent < 80) + 2 * (bmi < 25.5)


def brunelli_2010_class(points: float) -> Class:
    if points == 0:
        return Class("A", 1.4)
    if points == 1:
        return Class("B", 5.0)
    return Class("C", 12.5) if points <= 3 else Class("D", 29.0)


POMPILI_2017 = (Class("A", 6.3, 1493), Class("B", 10.0, 2240), Class("C", 13.0, 1219), Class("D", 25.0, 117))


def pompili_2017(male: bool, fev1_percent: float, bmi: float) -> int:
    """Pompili, J Thorac Cardiovasc Surg 2017;153:957-65, from memory: over 5 days; male 1, FEV1 <80 1, BMI <18.5 2."""
    return male + (fev1_percent < 80) + 2 * (bmi < 18.5)


def pompili_2017_class(points: int) -> Class:
    return POMPILI_2017[min(points, 3)]
