"""Practice: invented drains that unfold, the learner's own answers, and the bench-top."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool

from slackwater.audit.statistics.agreement import kappa
from slackwater.errors import UsageError
from slackwater.teach.bench import ENDS, LEAKS, START, SUCTIONS, WAITS, WALK_MIN
from slackwater.teach.exercise import Exercise, kinds
from slackwater.teach.lesson import Lesson, a_guess, confident, draws_of
from slackwater.teach.practice import Practice, standing
from slackwater.teach.recorded import every_lesson, keep, lessons_of
from slackwater.teach.score import by_kind, skills
from slackwater.teach.shelf import exercises
from slackwater.teach.timetable import next_draw, timetable
from slackwater.teach.told import BANNER, CAUTION
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.pages import render
from slackwater.web.policy import SIGNED_IN, Rule, allow
from slackwater.web.practice_plot import parting, says
from slackwater.web.practice_sheet import asked, at_bench, revealed, truth_of, warm

router = APIRouter(include_in_schema=False)
PAGE = "/practice"
LEADS = frozenset({"specialist_nurse", "audit_lead"})  # see who is current, never what anybody answered
STEPS = {"40": "", "50": "", "60": "", "70": "rather sure", "80": "", "90": "sure", "100": "certain"}

allow("GET", PAGE, SIGNED_IN)
allow("GET", f"{PAGE}/next", SIGNED_IN)
allow("GET", f"{PAGE}/bench", SIGNED_IN)
allow("GET", f"{PAGE}/people", Rule(LEADS))
allow("GET", f"{PAGE}/{{exercise}}", SIGNED_IN)
allow("POST", f"{PAGE}/{{exercise}}", SIGNED_IN)
allow("GET", f"{PAGE}/{{exercise}}/{{draw}}", SIGNED_IN)


@router.get(PAGE)
async def practice(request: Request) -> Response:
    """What is due, one's own record, and where confidence and skill part."""
    settings, known = request.app.state.settings, _known(request)
    now, rule = settings.clock(), settings.practice
    lessons = await _own(request)
    found = skills(lessons, known, kappa)
    page = _page(
        request, "practice.html", due=timetable(known, lessons, now), lessons=len(lessons), skills=found,
        plot=parting(found), says=says, rule=rule, standings=_standings(rule, lessons, known, now),
        may_see_people=request.state.who.role in LEADS,
    )  # fmt: skip
    page.background = BackgroundTask(request.app.state.simulator.work, warm)
    return page


@router.get(f"{PAGE}/next")
async def following(request: Request) -> Response:
    """The exercise that is due."""
    due = timetable(_known(request), await _own(request), request.app.state.settings.clock())
    return RedirectResponse(f"{PAGE}/{due[0].exercise.name}", 303)


@router.get(f"{PAGE}/bench")
async def bench(request: Request, did: str = "", do: str = "", then: str = "") -> Response:
    """An invented drain changed by hand. The page holds all that was done; nothing is recorded."""
    deeds = tuple(one for one in did.split() if one) or START
    if do:
        deeds = (*deeds, do, *((f"wait:{then}",) if then and not do.startswith("wait:") else ()))
    fault = ""
    try:
        sheet = await request.app.state.simulator.work(at_bench, deeds)
    except UsageError as error:
        fault = str(error)
        sheet = await request.app.state.simulator.work(at_bench, START)
    return _page(
        request, "practice_bench.html", status=422 if fault else 200, sheet=sheet, fault=fault, suctions=SUCTIONS,
        leaks=LEAKS, waits=WAITS, walk_min=WALK_MIN, ends=ENDS, then=then if then in WAITS else "5",
    )  # fmt: skip


@router.get(f"{PAGE}/people")
async def people(request: Request) -> Response:
    """Who is current in what. What anybody answered is not shown."""
    settings, known = request.app.state.settings, _known(request)
    record, now, rule = request.app.state.record, settings.clock(), settings.practice
    lessons = await run_in_threadpool(every_lesson, record)
    persons = await run_in_threadpool(record.things, "person")
    rows = [
        (str(one["name"]), str(one["role"]), _standings(rule, lessons.get(one.key, ()), known, now))
        for one in sorted(persons, key=lambda one: str(one["name"])) if one["left_ms"] is None
    ]  # fmt: skip
    return _page(request, "practice_people.html", rows=rows, rule=rule, heads=[one.title for one in kinds().values()])


@router.get(f"{PAGE}/{{exercise}}")
async def unfolding(request: Request, exercise: str, draw: str = "", moment: str = "1") -> Response:
    """The drain as known at a moment, and the question."""
    one = _exercise(request, exercise)
    if one is None:
        return _nowhere(request)
    lessons = await _own(request)
    number = next_draw(request.state.who.person, one, lessons)
    if draw and draw != str(number):
        if draw.isdecimal() and int(draw) in draws_of(lessons, one.name):
            return RedirectResponse(f"{PAGE}/{one.name}/{draw}", 303)
        return RedirectResponse(f"{PAGE}/{one.name}", 303)
    return await _asked(request, one, number, _place(moment), empty())


@router.post(f"{PAGE}/{{exercise}}")
async def answered(request: Request, exercise: str) -> Response:
    """One's answer and how sure one is: both are kept, the first ones of a draw."""
    one, form = _exercise(request, exercise), await form_of(request)
    if one is None:
        return _nowhere(request)
    who, lessons = request.state.who, await _own(request)
    number = next_draw(who.person, one, lessons)
    if form.said.get("draw", "").isdecimal() and int(form.said["draw"]) in draws_of(lessons, one.name):
        return RedirectResponse(f"{PAGE}/{one.name}/{int(form.said['draw'])}", 303)
    moment = _place(form.said.get("moment", "1"))
    answer = form.one_of("answer", tuple(one.kind.answers), needed="Choose one answer.")
    sure = form.one_of("confidence", tuple(_sure(one)), needed="Say how sure you are.")
    if form.said.get("draw") != str(number):
        form.faults["draw"] = "This page is not the drain that is yours now: look again, then answer."
    if answer is None or sure is None or not form.fine:
        return await _asked(request, one, number, moment, form, 422)
    moment = max(0, min(moment, min(len(case.moments_h) for case in one.cases) - 1))
    truth = await request.app.state.simulator.work(truth_of, one, number, moment)
    now = request.app.state.settings.clock()
    sureness = confident(float(sure), len(one.kind.answers))
    lesson = Lesson(one.name, number, moment, answer, truth, sureness, now, one.sha256)
    await run_in_threadpool(keep, request.app.state.record, who.person, who.name, lesson)
    return RedirectResponse(f"{PAGE}/{one.name}/{number}", 303)


@router.get(f"{PAGE}/{{exercise}}/{{draw}}")
async def result(request: Request, exercise: str, draw: str) -> Response:
    """The truth, why, and the trace that shows it; only of a draw that one has answered oneself."""
    one = _exercise(request, exercise)
    lessons = await _own(request)
    mine = [each for each in lessons if each.exercise == exercise and str(each.draw) == draw]
    if one is None or not mine:
        return _nowhere(request)
    lesson = mine[0]
    changed = bool(lesson.sha256) and lesson.sha256 != one.sha256  # another file draws another drain
    work = request.app.state.simulator.work
    told = None if changed else await work(revealed, one, lesson.draw, lesson.moment)
    now = request.app.state.settings.clock()
    due = next(each for each in timetable({one.name: one}, lessons, now))
    return _page(request, "practice_result.html", one=one, lesson=lesson, told=told, due=due)


# --- parts ----------------------------------------------------------------------------------------


def _page(request: Request, template: str, *, status: int = 200, **values: object) -> Response:
    zone = request.app.state.settings.zone
    return render(
        request, template, status=status, banner=BANNER, practice_caution=CAUTION,
        day=lambda ms: f"{datetime.fromtimestamp(ms / 1000, zone):%d %b %Y}", **values,
    )  # fmt: skip


def _sure(one: Exercise) -> dict[str, str]:
    """How sure one may say to be: from what a guess is worth among so many answers."""
    guess = int(a_guess(len(one.kind.answers)))
    return {str(guess): "a guess"} | {percent: words for percent, words in STEPS.items() if int(percent) > guess}


def _place(moment: str) -> int:
    """A moment as the page names it, 1 being the first; what is none is the first."""
    return int(moment) - 1 if moment.isdecimal() and len(moment) < 3 else 0


def _nowhere(request: Request) -> Response:
    why = "There is no such exercise for you. Go back to Practice and choose one."
    return render(request, "refused.html", status=404, why=why)


def _known(request: Request) -> Mapping[str, Exercise]:
    rule = request.app.state.settings.practice
    return exercises(None if rule is None else rule.exercises)


def _exercise(request: Request, name: str) -> Exercise | None:
    return _known(request).get(name)


async def _own(request: Request) -> tuple[Lesson, ...]:
    return await run_in_threadpool(lessons_of, request.app.state.record, request.state.who.person)


async def _asked(request: Request, one: Exercise, number: int, moment: int, form: Form, status: int = 200) -> Response:
    last = min(len(case.moments_h) for case in one.cases) - 1
    sheet = await request.app.state.simulator.work(asked, one, number, max(0, min(moment, last)))
    return _page(
        request, "practice_one.html", status=status, one=one, draw=number, sheet=sheet, form=form, sure=_sure(one)
    )


def _standings(
    rule: Practice | None, lessons: tuple[Lesson, ...], known: Mapping[str, Exercise], now_ms: int
) -> list[tuple[str, str, int | None]]:
    """(kind, current or expired or not yet, until when) of each kind; nothing where the unit names no measure."""
    if rule is None:
        return []
    found = [(kinds()[name].title, standing(rule, some)) for name, some in by_kind(lessons, known).items()]
    return [(title, one.word(now_ms), one.until_ms) for title, one in found]
