"""All published scores, asked at once; and those that cannot be asked, because their weights were not seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.errors import UsageError
from slackwater.risk.gilbert import GILBERT
from slackwater.risk.grade_sum import GRADE_SUM
from slackwater.risk.inputs import RiskInputs
from slackwater.risk.lee import LEE
from slackwater.risk.rivera import RIVERA
from slackwater.risk.score import Published, Score, asked
from slackwater.risk.seder import SEDER
from slackwater.risk.viti import VITI

PUBLISHED: dict[str, Published] = {paper.id: paper for paper in (RIVERA, SEDER, GILBERT, VITI, LEE, GRADE_SUM)}


@dataclass(frozen=True)
class NotComputed:
    """A paper a reader may look for."""

    id: str
    name: str
    source: str
    why: str


NOT_COMPUTED = (
    NotComputed(
        "attaar", "prolonged-leak nomogram, Attaar",
        "Attaar, J Thorac Cardiovasc Surg 2017;153:690-9, doi 10.1016/j.jtcvs.2016.10.003 (abstract read)",
        "weights not seen: the nomogram's points are in a figure",
    ),
    NotComputed(
        "leak-episode", "air-leak-episode score (any flow of 10 mL/min or more), 2024",
        "J Cardiothorac Surg 2024;19:120, doi 10.1186/s13019-024-02620-2 (abstract read)",
        "weights not seen",
    ),
)  # fmt: skip

CAUTIONS = {
    "cau-C1": "A score sorts groups of past patients. It does not decide. A licensed professional who has seen the "
    "patient decides, under local policy.",
    "cau-C3": "What was not given is unknown, never 'no': then the answer is 'cannot tell', on purpose.",
    "cau-C8": "Each score was made for one population and one meaning of 'prolonged'; outside it no number is given, "
    "and scores over different days are not to be added, averaged or compared. None is known to have been made for "
    "children. Points and indices are not a chance for this patient, published rates are of groups, and neither is "
    "ever a rule for removal.",
}


def scores(given: RiskInputs, only: Iterable[str] = ()) -> tuple[Score, ...]:
    """Ask every score, or those named in `only`, in the order of `PUBLISHED`.

    >>> [score.status for score in scores(RiskInputs({"resection": "pneumonectomy"}), ["seder", "lee"])]
    ['not_applicable', 'not_applicable']
    """
    wanted = set(only)
    for name in sorted(wanted - set(PUBLISHED)):
        closed = next((paper for paper in NOT_COMPUTED if paper.id == name), None)
        raise UsageError(
            f"{name}: {closed.why}" if closed else f"no score is called {name[:40]!r}",
            where="--score", mend=f"Write one of: {', '.join(PUBLISHED)}.",
        )  # fmt: skip
    return tuple(asked(paper, given) for name, paper in PUBLISHED.items() if not wanted or name in wanted)
