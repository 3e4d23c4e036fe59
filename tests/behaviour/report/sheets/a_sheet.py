"""Small invented courses for sheets, and what stands on each page of a PDF."""

from __future__ import annotations

from datetime import UTC
from functools import cache
from typing import Any

import pypdfium2

import slackwater
from end_to_end.a_stay import stay
from slackwater.assessment.assessment import Assessment
from slackwater.report.sheets.make import print_one, sheet
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.pdf import Set, pdf
from slackwater.report.sheets.sheet import Print

MINUTE_MS = 60_000


@cache
def found(name: str = "healing", hours: float | None = 30.0, rule: str | None = "air-50-8h") -> Assessment:
    made = stay(name, hours)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(log, layout, f"log-{n}.csv") for n, log in enumerate(made.logs, 1)],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv"),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=None if rule is None else slackwater.shipped_protocol(rule),
    )


def material(of: Assessment | None = None, kind: str = "", **more: Any) -> Material:
    of = found() if of is None else of
    if kind == "incident":
        more.setdefault("moment_ms", of.as_of_ms - 60 * MINUTE_MS)
    return Material(of, None, UTC, of.as_of_ms, of.as_of_ms + 3 * MINUTE_MS, **more)


def printed(kind: str, of: Material) -> Print:
    return print_one(sheet(kind, of), of.printed_ms, of.zone)


def set_(kind: str, of: Material) -> Set:
    return pdf(printed(kind, of))


def pages(data: bytes) -> list[str]:
    """The text of each page, spaces as one; without the places where a long word may be broken."""
    document = pypdfium2.PdfDocument(data)
    texts = (page.get_textpage().get_text_bounded() for page in document)
    return [" ".join(text.replace("\u200b", "").replace("\ufffe", "").split()) for text in texts]
