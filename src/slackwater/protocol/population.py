"""Is this rule made for this patient? Unknown is never taken for 'no'."""

from __future__ import annotations

from collections.abc import Mapping

from slackwater.protocol.evaluation import Population
from slackwater.protocol.facts import Facts
from slackwater.protocol.rule import Applies
from slackwater.protocol.status import Status

# Where each excluded word would be found. A word found nowhere here is looked for in all of them.
_PLACES = ("operation.kind", "breathing", "indication", "drain.space")
_HOME: Mapping[str, str] = {
    **dict.fromkeys(("own", "high_flow", "niv_cpap", "invasive"), "breathing"),
    **dict.fromkeys(("pleural", "mediastinal", "pericardial"), "drain.space"),
    **dict.fromkeys(
        ("lobectomy", "bilobectomy", "segmentectomy", "wedge", "pneumonectomy", "sleeve", "bulla", "volume_reduction",
         "decortication", "pleurodesis", "oesophagectomy", "cardiac", "thoracotomy_other", "vats_other"),
        "operation.kind"),
}  # fmt: skip
EXCLUDABLE = tuple(_HOME)  # a word near one of these, but not it, is a slip


# Stems of operations whose lung is known to stay, or to have gone: a word with none of them cannot be placed.
_STEMS = (
    "lobect", "wedge", "segment", "pneumonect", "sleeve", "bull", "volume_reduction", "decortic", "pleurod", "pleurect",
    "phagect", "cardiac", "bypass", "valve", "thymect", "biops", "thoracotomy", "vats", "transplant", "none", "other",
)  # fmt: skip


def _placed(operation: str) -> bool:
    return any(stem in operation for stem in _STEMS)


def judge_population(applies: Applies, facts: Facts) -> Population:
    """MET inside, NOT_APPLICABLE if anything puts the patient outside, else CANNOT_TELL if something is unknown."""
    outside: list[str] = []
    unknown: list[str] = []

    def check(place: str, allowed: tuple[str, ...], called: str) -> None:
        value = facts.about.get(place)
        if value is None:
            unknown.append(f"{called} not recorded")
        elif value not in allowed:
            outside.append(f"{called} is {value}; the rule is for {', '.join(allowed)}")

    if applies.indication:
        check("indication", applies.indication, "indication")
    if applies.spaces:
        check("drain.space", applies.spaces, "space of the drain")
    age = facts.about.get("patient.age_years")
    if applies.min_age_years is not None or applies.max_age_years is not None:
        if not isinstance(age, float | int):
            unknown.append("age not recorded")
        elif applies.min_age_years is not None and age < applies.min_age_years:
            outside.append(f"age {age:g} is under {applies.min_age_years:g}")
        elif applies.max_age_years is not None and age > applies.max_age_years:
            outside.append(f"age {age:g} is over {applies.max_age_years:g}")
    for word in applies.excludes:
        home = _HOME.get(word)
        for place in (home,) if home else _PLACES:
            value = facts.about.get(place)
            if value == word:
                outside.append(f"excluded: {word}")
            elif value is None:  # where the word has no home it might stand in any of them
                unknown.append(f"{place} not recorded, and the rule excludes {word}")
    for place in applies.needs:
        if facts.about.get(place) is None:
            unknown.append(f"{place} not recorded, and the rule needs it")
    if outside:
        return Population(Status.NOT_APPLICABLE, tuple(dict.fromkeys(outside)))
    if unknown:
        return Population(Status.CANNOT_TELL, tuple(dict.fromkeys(unknown)))
    return Population(Status.MET)
