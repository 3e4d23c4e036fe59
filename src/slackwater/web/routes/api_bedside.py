"""What stands beside the charting pages' questions, as data."""

from __future__ import annotations

from fastapi import Request
from pydantic import Field

from slackwater.assessment.assessment import Assessment
from slackwater.errors import RecordError
from slackwater.store.course import Course
from slackwater.web.about import Standing, looked_at, standing
from slackwater.web.api_door import AT, READS, api_router, as_page
from slackwater.web.bedside import DRAIN
from slackwater.web.drain_sheet import Moment
from slackwater.web.judges import Asked
from slackwater.web.routes.charting import SCORED
from slackwater.web.set_facts import Score, SetFacts, Sums, score, set_facts, sums
from slackwater.web.shapes import OfDrain

router = api_router("reading")

as_page("GET", f"{AT}/bedside", f"{DRAIN}/set")


class BedsideAnswer(OfDrain):
    """What a charting page shows beside its questions."""

    measured: SetFacts
    sums: Sums
    score: Score | None = Field(description=f"Of the last {', '.join(SCORED)}; null without a reading.")


def _at_the_bedside(
    course: Course, found: Assessment | None, asked: Asked
) -> tuple[Standing | None, tuple[SetFacts, Sums, Score | None]]:
    """Run by a judge."""
    facts = set_facts(course, found, asked), sums(course, found, asked), score(course, found, asked)
    return standing(course, found, asked), facts


@router.get(f"{AT}/bedside", responses=READS)
async def bedside(request: Request) -> BedsideAnswer:
    """What the unit measures now, fluid by the space, the early-warning score of the last readings."""
    moment = Moment(request.app.state.settings.clock())
    about, _, told = await looked_at(request, moment, _at_the_bedside)
    if told is None:
        raise RecordError("cannot be told", mend=about.failed or "")
    return BedsideAnswer(**about.model_dump(), measured=told[0], sums=told[1], score=told[2])
