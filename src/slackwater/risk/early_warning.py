"""The aggregate score of the National Early Warning Score 2 (Royal College of Physicians, 2017), computed, not redrawn.

WEIGHTS ARE FROM MEMORY, to be checked against RCP 2017 before use: VERIFIED says so, and every door must. How often the
score asks for observations is read (RCP 2017, chart 4). For adults of 16 years and more, not in pregnancy. Missing
is never zero: with anything missing there are no points, and what is missing is named.
"""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.quantities.units import unit

VERIFIED = False
SOURCE = "Royal College of Physicians, National Early Warning Score (NEWS) 2, London 2017"
CAUTION = "The score's weights are from memory: check them against RCP 2017 before use."
LOWEST_AGE_YEARS = 16  # from memory, as the weights

Bands = tuple[tuple[float, float, int], ...]  # (lowest, highest, points), both ends inside

# From memory, to be checked against RCP 2017 before use.
RESP_RATE: Bands = ((0, 8, 3), (9, 11, 1), (12, 20, 0), (21, 24, 2), (25, 999, 3))  # /min
SPO2_SCALE_1: Bands = ((0, 91, 3), (92, 93, 2), (94, 95, 1), (96, 100, 0))  # %
SPO2_SCALE_2_ON_AIR: Bands = ((0, 83, 3), (84, 85, 2), (86, 87, 1), (88, 100, 0))
SPO2_SCALE_2_ON_OXYGEN: Bands = (*SPO2_SCALE_2_ON_AIR[:3], (88, 92, 0), (93, 94, 1), (95, 96, 2), (97, 100, 3))
ON_OXYGEN = 2
SYSTOLIC: Bands = ((0, 90, 3), (91, 100, 2), (101, 110, 1), (111, 219, 0), (220, 999, 3))  # mmHg
HEART_RATE: Bands = ((0, 40, 3), (41, 50, 1), (51, 90, 0), (91, 110, 1), (111, 130, 2), (131, 999, 3))  # /min
NOT_ALERT = 3  # confused (new), voice, pain, unresponsive
TEMPERATURE: Bands = ((0, 35.0, 3), (35.1, 36.0, 1), (36.1, 38.0, 0), (38.1, 39.0, 1), (39.1, 99, 2))  # Cel

READINGS = ("resp_rate", "spo2", "oxygen", "systolic", "heart_rate", "consciousness", "temperature")


@dataclass(frozen=True)
class Frequency:
    """How often the score asks for observations: READ (RCP 2017, chart 4)."""

    least: int
    most: int
    often: str
    answer: str = ""


FREQUENCY = (
    Frequency(0, 0, "12-hourly"),
    Frequency(1, 4, "4 to 6-hourly"),
    Frequency(5, 6, "hourly", "urgent"),
    Frequency(7, 20, "continuous", "emergency"),
)
ONE_READING_ALONE = "hourly"  # one reading alone gives 3: READ, as above


@dataclass(frozen=True)
class Observed:
    """One set of readings, in the chart's units; None is not known. `systolic` is in cmH2O, as the chart keeps it.

    `oxygen`: 'air', or anything else for added oxygen. `scale`: 'scale_1', or 'scale_2' where 88 to 92 % is prescribed.
    """

    resp_rate: float | None = None
    spo2: float | None = None
    oxygen: str | None = None
    systolic: float | None = None
    heart_rate: float | None = None
    consciousness: str | None = None
    temperature: float | None = None
    scale: str | None = None
    age_years: float | None = None
    pregnant: str | None = None  # yes, no


@dataclass(frozen=True)
class EarlyWarning:
    """The score of one set. `points` None: not computed, with the reason in `missing`, `doubts` or `outside_because`.

    `parts`: points of each reading that could be scored. `least`: their sum. `alone`: readings that give 3.
    """

    points: int | None
    parts: tuple[tuple[str, int], ...]
    missing: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()  # readings that lie between two steps of the published table
    outside_because: str = ""

    @property
    def least(self) -> int:
        return sum(points for _, points in self.parts)

    @property
    def alone(self) -> tuple[str, ...]:
        return tuple(name for name, points in self.parts if points == 3)

    @property
    def often(self) -> str:
        """How often the published answer asks for observations; empty without points."""
        if self.points is None:
            return ""
        told = next(one for one in FREQUENCY if one.least <= self.points <= one.most)
        if self.alone and self.points < 5:
            return ONE_READING_ALONE
        return f"{told.often}, {told.answer}" if told.answer else told.often

    @property
    def answer(self) -> str:
        """One sentence for every door."""
        if self.points is not None:
            why = f" ({', '.join(_words(self.alone))} alone gives 3)" if self.alone else ""
            return f"early-warning score {self.points}{why}; observations {self.often}"
        if self.outside_because:
            return f"early-warning score does not apply: {self.outside_because}"
        wanted = [*_words(self.missing), *self.doubts]
        known = f"; at least {self.least}" if self.least else ""
        return f"early-warning score not computed: needs {', '.join(wanted)}{known}"


def early_warning(seen: Observed) -> EarlyWarning:
    """The score of one set of readings taken together.

    >>> early_warning(Observed(18, 97, "air", 120 * 1.35951, 80, "alert", 37.0, "scale_1", 60, "no")).points
    0
    """
    outside = _outside(seen)
    if outside:
        return EarlyWarning(None, (), outside_because=outside)
    missing = [name for name in READINGS if getattr(seen, name) is None]
    missing += [name for name in ("scale", "age_years", "pregnant") if getattr(seen, name) is None]
    parts: list[tuple[str, int]] = []
    doubts: list[str] = []
    for name, value, bands in _numbers(seen):
        points = points_of(value, bands)
        if points is None:
            doubts.append(f"{name.replace('_', ' ')} {value:g} in whole steps: it lies between two of the table's")
        else:
            parts.append((name, points))
    if seen.oxygen is not None:
        parts.append(("oxygen", 0 if seen.oxygen == "air" else ON_OXYGEN))
    if seen.consciousness is not None:
        parts.append(("consciousness", 0 if seen.consciousness == "alert" else NOT_ALERT))
    whole = not missing and not doubts
    ordered = tuple(sorted(parts, key=lambda part: READINGS.index(part[0])))
    total = sum(points for _, points in parts) if whole else None
    return EarlyWarning(total, ordered, tuple(missing), tuple(doubts))


def points_of(value: float, bands: Bands) -> int | None:
    """Points of a reading; None where it lies between two steps, for which the table has no answer."""
    return next((points for lowest, highest, points in bands if lowest <= value <= highest), None)


def _numbers(seen: Observed) -> list[tuple[str, float, Bands]]:
    found: list[tuple[str, float, Bands]] = []
    if seen.resp_rate is not None:
        found.append(("resp_rate", seen.resp_rate, RESP_RATE))
    if seen.spo2 is not None and seen.scale == "scale_1":
        found.append(("spo2", seen.spo2, SPO2_SCALE_1))
    elif seen.spo2 is not None and seen.scale == "scale_2" and seen.oxygen is not None:
        found.append(("spo2", seen.spo2, SPO2_SCALE_2_ON_AIR if seen.oxygen == "air" else SPO2_SCALE_2_ON_OXYGEN))
    if seen.systolic is not None:
        found.append(("systolic", _mmhg(seen.systolic), SYSTOLIC))
    if seen.heart_rate is not None:
        found.append(("heart_rate", seen.heart_rate, HEART_RATE))
    if seen.temperature is not None:
        found.append(("temperature", round(seen.temperature, 6), TEMPERATURE))
    return found


def _mmhg(cmh2o: float) -> float:
    """A blood pressure as it is spoken of; what float arithmetic adds is taken off."""
    return round(cmh2o / float(unit("mmHg").factor), 3)


def _outside(seen: Observed) -> str:
    if seen.age_years is not None and seen.age_years < LOWEST_AGE_YEARS:
        return f"it is for adults of {LOWEST_AGE_YEARS} years and more"
    return "it is not for pregnancy" if seen.pregnant == "yes" else ""


def _words(names: tuple[str, ...]) -> list[str]:
    words = {
        "scale": "which SpO2 scale is prescribed", "age_years": "the age", "pregnant": "whether there is a pregnancy",
        "spo2": "SpO2", "resp_rate": "breathing rate", "systolic": "systolic pressure", "oxygen": "air or oxygen",
    }  # fmt: skip
    return [words.get(name, name.replace("_", " ")) for name in names]
