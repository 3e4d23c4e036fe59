"""Small invented courses for sheets, and what stands on each page of a PDF."""

from __future__ import annotations

from datetime import UTC
from functools import cache
from typing import Any

import pypdfium2

import slackwater
from behaviour.report.read_page import read_page
from end_to_end.a_stay import stay
from slackwater.assessment.assessment import Assessment
from slackwater.report.round import judged_at
from slackwater.report.sheets.html import html
from slackwater.report.sheets.make import print_one, sheet
from slackwater.report.sheets.material import Material, beside_of
from slackwater.report.sheets.pdf import Set, pdf
from slackwater.report.sheets.sheet import Print
from slackwater.store.acts import key_of
from slackwater.store.course import course_of
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record
from ward.a_ward import NOW_MS

MINUTE_MS = 60_000


@cache
def found(
    name: str = "healing", hours: float | None = 30.0, rule: str | None = "air-50-8h", now_ms: int | None = None
) -> Assessment:
    """As of its last reading, or of another moment."""
    made = stay(name, hours)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(log, layout, f"log-{n}.csv") for n, log in enumerate(made.logs, 1)],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv"),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=None if rule is None else slackwater.shipped_protocol(rule),
        now_ms=now_ms,
    )


def material(of: Assessment | None = None, kind: str = "", **more: Any) -> Material:
    of = found() if of is None else of
    if kind == "incident":
        more.setdefault("moment_ms", of.as_of_ms - 60 * MINUTE_MS)
    return Material(of, None, UTC, of.as_of_ms, of.as_of_ms + 3 * MINUTE_MS, **more)


def recorded(record: Record, now_ms: int = NOW_MS, patient: str = "W-2", **more: Any) -> Material:
    """Of the small recorded ward, as its pages are made: a drain that is out is judged as of its removal."""
    with record.reading() as connection:
        course = course_of(connection, key_of("drain", key_of("patient", patient), "1"))
        beside = beside_of(connection, course, acts=True)
    at_ms = judged_at(course, now_ms)
    found_ = assess_course(record, course, now_ms=at_ms)
    return Material(found_, course, UTC, at_ms, more.pop("printed_ms", NOW_MS), beside, asked_ms=now_ms, **more)


def text_of(kind: str, of: Material) -> str:
    """The sheet's own words as one line, from its HTML, before the cautions below."""
    text = read_page(html(printed(kind, of))).text
    return " ".join(text.partition("Confirm name, number, side and site")[2].partition("Before you rely")[0].split())


def printed(kind: str, of: Material) -> Print:
    return print_one(sheet(kind, of), of.printed_ms, of.zone)


def set_(kind: str, of: Material) -> Set:
    return pdf(printed(kind, of))


def pages(data: bytes) -> list[str]:
    """The text of each page, spaces as one; without the places where a long word may be broken."""
    document = pypdfium2.PdfDocument(data)
    texts = (page.get_textpage().get_text_bounded() for page in document)
    return [" ".join(text.replace("\u200b", "").replace("\ufffe", "").split()) for text in texts]
