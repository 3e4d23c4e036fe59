"""Does the charge cover a trip on battery? An answer about the battery, and never about the patient."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.equipment.charge import RunTime, Span

COVERS, NOT_COVERED, CANNOT_TELL = "covers", "does_not_cover", "cannot_tell"
SAYS = {
    COVERS: "charge covers it", NOT_COVERED: "charge does not cover it", CANNOT_TELL: "cannot tell",
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """The answer and its reason. lasts: minutes that the charge lasts; needed_min: with the rule's margin."""

    answer: str
    because: str
    needed_min: float | None = None
    lasts: Span | None = None
    yet: bool = True  # False: it is too early to tell

    @property
    def says(self) -> str:
        return SAYS[self.answer] if self.yet else f"{SAYS[self.answer]} yet"


def answer(
    percent: float | None, runs: RunTime | None, why_not: str, needed_min: float | None, margin_told: str
) -> Answer:  # fmt: skip
    """`why_not`: why the run-time is not known, where `runs` is None. `margin_told`: the rule's margin in words.

    Covers: even the low end of what the charge lasts, down to the lowest percent ever seen, is enough. Does not cover:
    even the most it can last is not. Between the two nobody can tell.
    """
    if needed_min is None:
        return Answer(CANNOT_TELL, "this rule gives no margin for a trip")
    needed = f"needed {needed_min:.0f} min, {margin_told}"
    if runs is None:
        return Answer(CANNOT_TELL, f"{needed}; how long this unit runs is not known: {why_not}", needed_min)
    if percent is None:
        return Answer(CANNOT_TELL, f"{needed}; its charge now is not known: read it from the unit", needed_min)
    lasts = runs.minutes_from(percent)
    down = f"{lasts.mid:.0f} min ({lasts.low:.0f} to {lasts.high:.0f}) down to {runs.lowest} %"
    told = f"{needed}; {percent:g} % lasts " + (f"about {down}, " if percent > runs.lowest else "") + (
        f"at most {runs.at_most_min(percent):.0f} min; cannot tell below {runs.lowest} %, it never ran lower"
    )  # fmt: skip
    short = runs.at_most_min(percent) < needed_min
    verdict = COVERS if lasts.low >= needed_min else NOT_COVERED if short else CANNOT_TELL
    return Answer(verdict, told, needed_min, lasts)
