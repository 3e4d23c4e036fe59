"""The round: every drain of the person's wards, kept current by itself."""

from __future__ import annotations

import secrets
from collections import Counter, OrderedDict
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import Response
from markupsafe import Markup

from slackwater.assessment import cautions
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.line import ACT, ORDER_SAYS, OVERDUE, WAITING, RoundLine, Tube, in_order
from slackwater.report.round import WAITS
from slackwater.report.round_facts import when
from slackwater.report.times import offset, shown
from slackwater.web.board import Board
from slackwater.web.guard import Who
from slackwater.web.pages import html_of, straight
from slackwater.web.policy import EVERYONE, Rule, allow
from slackwater.web.settings import Settings

STATUSES = {
    "act": "to act on", "overdue": "overdue", "waiting": "met, or waiting for people", "leaking": "leaking",
    "below": "below limit", "cannot_tell": "cannot tell", "held": "held", "walk": "may be off suction",
    "removed": "removed, checks owed",
}  # fmt: skip
NAMES = {
    "patient": "bed, initials and number", "initials": "bed and initials", "bed": "bed alone", "blank": "blank screen",
}  # fmt: skip
CHIPS = {ACT: ("■", "to act on"), OVERDUE: ("◷", "overdue")}
KEPT = 128  # fragments kept, one for each scope and filter in use
FIRST = ("act", "overdue", "walk")  # counts that a phone shows above the lines: what a round begins with (ours)
MOST_WAITS = 2  # that a line names of what its rule waits for
LONGEST = 60  # letters of a filter's text
HERE = Markup("<!--lines-->")  # where the page's own frame takes the lines in; no text of a record can hold it


@asynccontextmanager
async def _life(app: FastAPI) -> AsyncIterator[None]:
    app.state.board = Board(app)
    app.state.fragments = Fragments(app)
    app.state.board.start()
    try:
        yield
    finally:
        await app.state.board.close()


router = APIRouter(include_in_schema=False, lifespan=_life)
allow("GET", "/round/lines", Rule(EVERYONE))


@dataclass(frozen=True)
class Chosen:
    """What the reader asked to see; unknown words mean everything."""

    ward: str = ""
    status: str = ""
    text: str = ""
    show: str = "patient"

    @property
    def query(self) -> str:
        return urlencode({name: value for name, value in vars(self).items() if value})

    def takes(self, line: RoundLine) -> bool:
        tube = line.tube
        told = " ".join(
            one.casefold()
            for one in (
                *((tube.patient,) if self.show == "patient" else ()),
                *((tube.initials or "",) if self.show != "bed" else ()),
                tube.bed or "", tube.place, *line.items, *line.overdue, *line.tasks, *line.holds, *line.waiting,
            )
        )  # fmt: skip
        return (
            self.ward in ("", tube.ward)
            and (not self.status or self.status in line.statuses)
            and all(word in told for word in self.text.casefold().split())
        )


def chosen(request: Request) -> Chosen:
    asked = request.query_params
    status, show = asked.get("status", ""), asked.get("show", "patient")
    return Chosen(
        asked.get("ward", "")[:LONGEST], status if status in STATUSES else "", asked.get("text", "")[:LONGEST],
        show if show in NAMES else "patient",
    )  # fmt: skip


class Fragments:
    """The lines as HTML. A line is rendered once for each of its states, the rest once for each scope and filter.

    `edition` counts the states of the board that were shown. A page that holds an edition is given only the lines that
    changed since, and the others' places.
    """

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._settings: Settings = app.state.settings
        self._board: Board = app.state.board
        self._begun = secrets.token_hex(4)  # editions of another start are none of ours
        self._state: tuple[int, bool] | None = None
        self._edition = 0
        self._views: OrderedDict[tuple[Any, ...], _View] = OrderedDict()
        self._tiles: dict[tuple[str, str], _Tile] = {}

    def of(self, who: Who, asked: Chosen, held: str = "") -> tuple[bytes | None, str]:
        """HTML and its entity tag; None where `held`, the tag of what the page has, is the latest.

        The bytes are the same for all who see the same wards: nothing of a person or a role may be in them.
        """
        view = self._view(who, asked)
        tag = f'"{self._begun}.{self._edition}"'
        if held == tag:
            return None, tag
        begun, _, edition = held.strip('"').partition(".")
        since = int(edition) if begun == self._begun and edition.isdecimal() else 0
        since = since if self._edition - since <= KEPT else 0  # who held one so old is given everything
        if since not in view.since:
            tiles = "".join(
                tile.html if tile.edition > since else f'<li class="tile same" id="{tile.id}"></li>'
                for tile in view.tiles
            )
            view.since[since] = f'{view.head}<ol class="tiles">{tiles}</ol>'.encode()
        return view.since[since], tag

    def wards(self, who: Who) -> list[str]:
        return sorted({line.tube.ward for line in self._board.lines() if line.tube.ward and who.sees(line.tube.ward)})

    def _view(self, who: Who, asked: Chosen) -> _View:
        state = (self._board.version, self._board.stalled())
        if state != self._state:
            self._state = state
            self._edition += 1
        view = self._views.get((who.wards, asked))
        if view is None or view.edition != self._edition:
            view = self._views[who.wards, asked] = self._made(who, asked)
        self._views.move_to_end((who.wards, asked))
        while len(self._views) > KEPT:
            self._views.popitem(last=False)
        return view

    def _made(self, who: Who, asked: Chosen) -> _View:
        board = self._board
        seen = [line for line in board.lines() if who.sees(line.tube.ward)]
        if len(self._tiles) > len(NAMES) * len(board.lines()):
            self._tiles.clear()  # drains that are out leave theirs behind
        tiles = tuple(self._tile(line, asked.show) for line in in_order(line for line in seen if asked.takes(line)))
        template = self._app.state.templates.get_template("round_lines.html")
        head: str = template.render(
            counts=_counts(seen, asked), every=_every(asked), shown=len(tiles), all=len(seen),
            stalled=board.stalled(), trouble=board.trouble, **_fresh(seen, self._settings),
        )  # fmt: skip
        return _View(self._edition, head, tiles)

    def _tile(self, line: RoundLine, show: str) -> _Tile:
        kept = self._tiles.get((line.tube.drain, show))
        if kept is not None and kept.line == line:
            return kept
        template = self._app.state.templates.get_template("round_line.html")
        html: str = template.render(line=line, name=name_of(line.tube, show), **_words(line, self._settings))
        tile = _Tile(line, f"d-{line.tube.drain}", straight(html), self._edition)
        self._tiles[line.tube.drain, show] = tile
        return tile


@dataclass(frozen=True)
class _Tile:
    """One line as HTML, and the edition in which it came to be so."""

    line: RoundLine
    id: str
    html: str
    edition: int


@dataclass(frozen=True)
class _Count:
    """How many drains are so, and where they alone are shown."""

    count: int
    words: str
    query: str
    here: bool
    later: bool  # on a phone it comes with the choice that it is a part of


@dataclass(frozen=True)
class _View:
    """What one scope and filter shows: its head, and its lines in order; made bytes once for all who hold the same."""

    edition: int
    head: str
    tiles: tuple[_Tile, ...]
    since: dict[int, bytes] = field(default_factory=dict)


@router.get("/")
async def round_page(request: Request) -> Response:
    asked, who, found = chosen(request), request.state.who, request.app.state.fragments
    fragment, tag = (None, "") if asked.show == "blank" else found.of(who, asked)
    page = html_of(
        request, "round.html", fragment=HERE, tag=tag, asked=asked, wards=found.wards(who),
        statuses=STATUSES, names=NAMES, blank=Chosen(**{**vars(asked), "show": "blank"}).query,
        again=Chosen(**{**vars(asked), "show": "patient"}).query, order=ORDER_SAYS, estimate=cautions.FORECAST.text,
    )  # fmt: skip
    before, _, after = page.partition(HERE)
    return Response(b"".join((before.encode(), fragment or b"", after.encode())), media_type="text/html; charset=utf-8")


@router.get("/round/lines")
async def round_lines(request: Request) -> Response:
    """The lines alone, for the page that refreshes itself, which is no look; nothing new costs a few bytes."""
    asked, who = chosen(request), request.state.who
    if request.headers.get("x-by-itself") != "1":
        request.app.state.looks.saw(who.person, "round", None)
    held = request.headers.get("if-none-match", "")
    html, tag = (None, held) if asked.show == "blank" else request.app.state.fragments.of(who, asked, held)
    headers = {"etag": tag, "x-now": str(request.app.state.settings.clock()), "x-person": who.person}
    if html is None:
        return Response(status_code=304, headers=headers)
    return Response(html, media_type="text/html; charset=utf-8", headers=headers)


def name_of(tube: Tube, show: str) -> str:
    """How the line is called, by what may stand on the screen."""
    bed = f"Bed {tube.bed}" if tube.bed else "Bed not recorded"
    if show == "bed":
        return f"{bed}, drain {tube.number}"
    initials = f" · {tube.initials}" if tube.initials else ""
    return (
        f"{bed}{initials}, drain {tube.number}"
        if show == "initials"
        else f"{bed}{initials} · {tube.patient}/{tube.number}"
    )


def _chip(line: RoundLine) -> tuple[str, str] | None:
    """Why the line stands where it does; what the rule says, by its own word."""
    return (line.rule.shape, line.rule.word) if line.rank == WAITING else CHIPS.get(line.rank)


def _words(line: RoundLine, settings: Settings) -> dict[str, Any]:
    """What the line's template shows beside the line itself."""
    now, zone = line.as_of_ms, settings.zone
    told: dict[str, Any] = {
        "chip": _chip(line) if now is not None else None,
        "until": "",
        "ago": "",
        "as_of": "",
    }
    if now is None:
        return told
    told["as_of"] = shown(now, zone, day=False)
    if line.data_until_ms is not None:
        told["until"] = when(line.data_until_ms, now, zone)
        told["ago"] = f"{format_span(max(60, (now - line.data_until_ms) // MINUTE_MS * 60))} old"
    if line.leak.word and line.live_until_ms is not None:
        told["since"] = when(line.data_until_ms or line.live_until_ms, now, zone)
    told["waits"] = _waits(line)
    told["estimate"] = "withheld" if line.estimate.startswith("withheld") and line.waiting else line.estimate
    return told


def _waits(line: RoundLine) -> str:
    """What the rule waits for, in few words: the drain's own page tells all of it, and how each is settled."""
    if line.rule.word.endswith(WAITS):  # then it is said already
        return ""
    names = [one.partition(": ")[0] for one in line.waiting]
    more = f"; and {len(names) - MOST_WAITS} more" if len(names) > MOST_WAITS else ""
    return "; ".join(names[:MOST_WAITS]) + more


def _counts(lines: Iterable[RoundLine], asked: Chosen) -> list[_Count]:
    """How many drains of each kind, in a few words that lead to them."""
    counted = Counter(word for line in lines for word in line.statuses)
    return [
        _Count(counted[word], text, replace(asked, status=word, text="").query, asked.status == word, word not in FIRST)
        for word, text in STATUSES.items()
        if counted[word]
    ]


def _every(asked: Chosen) -> str:
    """The round of every drain, with the names on the screen as they are."""
    kept = Chosen(show=asked.show)
    return "" if kept == Chosen() else f"?{kept.query}"


def _fresh(lines: Iterable[RoundLine], settings: Settings) -> dict[str, Any]:
    """From when to when the lines were worked out, and until when they stand."""
    moments = sorted(line.as_of_ms for line in lines if line.as_of_ms is not None)
    ends = [line.stands_until_ms for line in lines if line.stands_until_ms is not None]
    if not moments:
        return {"first": "", "last": "", "after": "", "zone": ""}
    return {
        "first": shown(moments[0], settings.zone, day=False), "last": shown(moments[-1], settings.zone, day=False),
        "after": shown(min(ends), settings.zone, day=False), "zone": offset(moments[-1], settings.zone),
    }  # fmt: skip
