"""Published scores as the page shows them: points, what they were made for, and never a chance of this patient's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from slackwater.risk import Score
from slackwater.risk.published import CAUTIONS

SCORE_CAUTIONS = tuple(CAUTIONS[id_] for id_ in ("cau-C1", "cau-C8"))


@dataclass(frozen=True)
class ScoreLines:
    """One score in words."""

    id: str
    name: str
    answer: str
    says: tuple[str, ...]
    source: str
    notes: tuple[str, ...]


def score_lines(found: Sequence[Score]) -> tuple[ScoreLines, ...]:
    """One entry a score, in the order given."""
    return tuple(
        ScoreLines(score.id, score.name, score.answer, tuple(_says(score)), f"Source: {score.source}", score.notes)
        for score in found
    )


def _says(score: Score) -> Iterator[str]:
    if score.parts:
        yield "; ".join(part.counted for part in score.parts)
    yield f"Predicts {score.outcome.text}. Made for: {score.made_for}"
    if score.rates:
        yield f"Published of groups, not of this patient: {'; '.join(rate.told for rate in score.rates)}."
