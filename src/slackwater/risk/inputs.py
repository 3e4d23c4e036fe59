"""What is known of a patient, in closed words and declared units; what is absent is unknown, never 'no'."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from slackwater.episode.spelling import meant, nearest, plain_word
from slackwater.errors import RefusedInput

Value = float | str


class RiskInputError(RefusedInput):
    """What a score is told of a patient cannot be used."""


@dataclass(frozen=True)
class Key:
    """One thing a score may ask. With words it is one of them; else a number from `lowest` to `highest`.

    The ends are no limits of health: beyond them another unit was written, or the pen slipped.
    """

    name: str
    label: str  # as a reader is asked for it
    words: tuple[str, ...] = ()
    lowest: float = 0
    highest: float = 0
    whole: bool = False
    mend: str = ""

    def read(self, value: object) -> Value:
        """The value in its word or as a float. Raises RiskInputError with the mend."""
        return self._word(value) if self.words else self._number(value)

    def _word(self, value: object) -> str:
        if not isinstance(value, str):
            raise RiskInputError(f"{value!r} is not a word", mend=f"Write one of: {', '.join(self.words)}.")
        word = plain_word(value)
        if word not in self.words:
            raise RiskInputError(f"{value!r} is not a word for it", mend=meant(word, self.words))
        return word

    def _number(self, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            raise RiskInputError(f"{value!r} is not a number", mend=f"Write {self.label} in digits, without a unit.")
        if not self.lowest <= value <= self.highest:
            span = f"from {self.lowest:g} to {self.highest:g}"
            mend = f"Write {self.label}, {span}; leave it out if it is not known. {self.mend}"
            raise RiskInputError(f"{str(value)[:20]} cannot be", mend=mend)
        if self.whole and value != int(value):
            raise RiskInputError(f"{value} is not a whole grade", mend=f"Write {self.label}.")
        return float(value)


_YES_NO = ("yes", "no")
BUBBLING_RECORDS = tuple(f"bubbling_record_{number}" for number in range(4, 10))
RESECTIONS = (
    "wedge", "segmentectomy", "lobectomy", "bilobectomy", "sleeve", "pneumonectomy", "bulla", "volume_reduction",
    "other",
)  # fmt: skip

KEYS: Mapping[str, Key] = MappingProxyType(
    {
        key.name: key
        for key in (
            Key("sex", "sex", ("female", "male")),
            Key("bmi", "BMI (kg/m²)", lowest=8, highest=150),
            Key("fev1_percent", "FEV1 (% of predicted)", lowest=8, highest=250, mend="Not litres, not a share of 1."),
            Key("dlco_percent", "DLCO (% of predicted)", lowest=8, highest=250, mend="Not a share of 1."),
            Key(
                "mrc_dyspnoea", "MRC dyspnoea grade (0 to 4)", highest=4, whole=True,
                mend="Where your chart counts from 1 to 5, take one off.",
            ),
            Key("smoking", "smoking (never, former or current)", ("never", "former", "current")),
            Key("diagnosis", "diagnosis", ("non_small_cell_lung_cancer", "other_lung_cancer", "other")),
            Key("elective", "elective operation (yes or no)", _YES_NO),
            Key("approach", "approach (open or minimally_invasive)", ("open", "minimally_invasive")),
            Key("resection", "kind of resection", RESECTIONS),
            Key("side", "side (left, right or bilateral)", ("left", "right", "bilateral")),
            Key("lobe", "lobe", ("upper", "middle", "lower", "middle_and_lower", "upper_and_other")),
            Key("chest_wall_resection", "chest wall resection (yes or no)", _YES_NO),
            Key("adhesions", "pleural adhesions (yes or no)", _YES_NO),
            Key("incomplete_fissure", "incomplete fissure (yes or no)", _YES_NO),
            Key("bronchopleural_fistula", "bronchopleural fistula after the operation (yes or no)", _YES_NO),
            *(
                Key(name, f"bubbling grade of record {name[-1]}", highest=5, whole=True)
                for name in BUBBLING_RECORDS
            ),
        )
    }
)  # fmt: skip


@dataclass(frozen=True)
class RiskInputs:
    """Known values by key. Frozen; every value is read by its key's rule, so a score never meets a strange one.

    >>> RiskInputs({"sex": "Male", "bmi": 24}).values["sex"]
    'male'
    """

    values: Mapping[str, Value]

    def __post_init__(self) -> None:
        read: dict[str, Value] = {}
        for name, value in self.values.items():
            if name not in KEYS:
                raise unknown_key(name)
            try:
                read[name] = KEYS[name].read(value)
            except RiskInputError as error:
                raise error.at(name) from None
        _refuse_contradictions(read)
        object.__setattr__(self, "values", MappingProxyType(read))

    def number(self, name: str) -> float:
        """A number that is known; a score asks only once nothing is missing."""
        value = self.values[name]
        assert isinstance(value, float), name
        return value

    def word(self, name: str) -> str:
        """A word that is known; a score asks only once nothing is missing."""
        value = self.values[name]
        assert isinstance(value, str), name
        return value


def unknown_key(name: str, before: str = "") -> RiskInputError:
    """The refusal of a key that no score asks for; `before` is where it stands."""
    close = nearest(name, KEYS)
    guess = f"Did you mean {close!r}? " if close else ""
    return RiskInputError(
        "is not a key of a score", where=before + name, mend=f"{guess}List them: slackwater risk --keys."
    )


def _refuse_contradictions(read: Mapping[str, Value]) -> None:
    if read.get("side") == "left":
        if read.get("lobe") in ("middle", "middle_and_lower"):
            raise RiskInputError("the left lung has no middle lobe", where="lobe", mend="Mend side or lobe.")
        if read.get("resection") == "bilobectomy":
            mend = "Mend side or resection; both lobes of the left lung are a pneumonectomy."
            raise RiskInputError("a bilobectomy is on the right", where="resection", mend=mend)
    grades = {read[name] for name in BUBBLING_RECORDS if name in read}
    if {0.0, 5.0} <= grades:
        mend = "Write the grades of one scale, in the paper's own numbers."
        raise RiskInputError("a scale of five grades has 0 or 5, not both", where="bubbling records", mend=mend)
