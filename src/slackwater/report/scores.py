"""Published scores as the page shows them: points, what they were made for, and never a chance of this patient's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from slackwater.risk import Score
from slackwater.risk.published import CAUTIONS
from slackwater.risk.score import Rate

SCORE_CAUTIONS = tuple(CAUTIONS[id_] for id_ in ("cau-C1", "cau-C8"))
_INSIDE = {"told": " This patient is inside it.", "not_applicable": " This patient is outside it."}


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
        yield "; ".join(f"{part.text} {part.points:+.10g}" if part.points else f"{part.text} 0" for part in score.parts)
    yield f"Predicts {score.outcome.text}. Made for: {score.population}.{_INSIDE.get(score.status, '')}"
    if score.rates:
        yield f"Published of groups, not of this patient: {'; '.join(map(_rate, score.rates))}."


def _rate(rate: Rate) -> str:
    interval = "" if rate.low is None else f" ({rate.low:g} to {rate.high:g})"
    return f"{rate.of} {rate.percent:g} %{interval}"
