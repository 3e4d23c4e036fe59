"""Scores as one JSON-ready object: what the command prints, and what a page may show."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from slackwater.risk.inputs import KEYS, RiskInputs
from slackwater.risk.published import CAUTIONS, NOT_COMPUTED
from slackwater.risk.score import Score

SCHEMA = "slackwater.risk/1"


def document(given: RiskInputs, found: Iterable[Score]) -> dict[str, Any]:
    """What was given, what each score answers, what is not computed, and the cautions."""
    return {
        "schema": SCHEMA,
        "given": dict(given.values),
        "scores": [_score(score) for score in found],
        "not_computed": [asdict(paper) for paper in NOT_COMPUTED],
        "cautions": [{"id": name, "text": text} for name, text in CAUTIONS.items()],
    }


def _score(score: Score) -> dict[str, Any]:
    return {
        "id": score.id,
        "name": score.name,
        "status": score.status,
        "answer": score.answer,
        "points": score.points,
        "band": score.band,
        "parts": [{"text": part.text, "points": part.points} for part in score.parts],
        "outcome": asdict(score.outcome),
        "rates_percent": [asdict(rate) for rate in score.rates],
        "missing": [{"key": name, "what": KEYS[name].label} for name in score.missing],
        "outside_because": score.outside_because,
        "doubt": score.doubt,
        "population": score.population,
        "cohort": score.cohort,
        "notes": list(score.notes),
        "source": score.source,
    }
