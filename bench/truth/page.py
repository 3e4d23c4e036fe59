"""docs/how-sure.md and its pictures, written from one run's figures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import forecasts
import pictures
from rows import BLOCKS
from scoring import OURS

BEGIN, END = "<!-- table: written by bench/truth/table.py --docs -->", "<!-- table: end -->"


def drawn(forecast: dict[str, Any]) -> dict[str, str]:
    """The two pictures, by file name, from the forecasts' figures by block."""

    def came(block: str, hours: str) -> pictures.Line:
        fifths = forecast[block][OURS]["reliability"][hours]
        return pictures.Line(f"within {hours} h", [(given, share) for given, share, cuts in fifths if cuts >= 10])

    def held(block: str, method: str) -> pictures.Line:
        return pictures.Line(method, forecast[block][method]["coverage"])

    reliable = [pictures.Panel(block, [came(block, hours) for hours in ("6", "12", "24", "48")]) for block in BLOCKS]
    methods = (OURS, forecasts.KAPLAN_MEIER, forecasts.HMM, forecasts.LOG_LINEAR)
    covers = [pictures.Panel(block, [held(block, method) for method in methods]) for block in BLOCKS]
    told = _in_words(reliable, lambda line: " ".join(f"{x:.0%} came {y:.0%}" for x, y in line.points))
    eighty = _in_words(covers, lambda line: f"{dict(line.points)[0.8]:.0%}")
    return {
        "how-sure-reliability.svg": pictures.picture(
            "When a chance was forecast, how often did it come?",
            "Two square charts. Across: the chance forecast that the air clause holds within so many hours. Up: the "
            f"share in which it did. On the diagonal a forecast is honest; below, it was too sure. {told}.",
            "chance forecast, %", "share that came, %", reliable,
        ),
        "how-sure-coverage.svg": pictures.picture(
            "How often did an interval hold the truth?",
            "Two square charts. Across: the share that a central interval of the forecast claims to hold. Up: the "
            "share of times it held. On the diagonal a method knows how wrong it may be; below, it is too sure. "
            f"Of 80 % intervals held: {eighty}.",
            "share claimed, %", "share held, %", covers,
        ),
    }  # fmt: skip


def _in_words(panels: Sequence[pictures.Panel], of: Callable[[pictures.Line], str]) -> str:
    return "; ".join(
        f"{panel.head}: " + ", ".join(f"{line.name} {of(line)}" for line in panel.lines) for panel in panels
    )


def write(page: Path, table: str, drawings: Mapping[str, str]) -> None:
    """Put the table between its marks, and the pictures beside the page."""
    before, _, rest = page.read_text("utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise SystemExit(f"{page}: the marks '{BEGIN}' and '{END}' are not there")
    page.write_text(f"{before}{BEGIN}\n{table}\n{END}{after}", "utf-8")
    (page.parent / "pictures").mkdir(exist_ok=True)
    for name, text in drawings.items():
        (page.parent / "pictures" / name).write_text(text, "utf-8")
