"""The table's two blocks from the counts: a row a question, a column a method, '-' where it does not answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import baselines
import forecasts
import numpy as np
from scoring import OURS, WAIVED, Tally

BLOCKS = ("slackwater's own simulator", "second world")
COLUMNS = (*baselines.METHODS, forecasts.KAPLAN_MEIER, forecasts.LOG_LINEAR, OURS, WAIVED)
NONE = "-"

Row = tuple[str, dict[str, str]]


class Rows:
    """The rows of one block from the counts of its suites."""

    def __init__(self, tally: Tally, forecast: dict[str, Any]) -> None:
        self.tally, self.forecast = tally, forecast

    def total(self, what: str, suites: Sequence[str], method: str | None = None) -> int:
        tail = "" if method is None else f"/{method}"
        return sum(self.tally.counts[f"{what}/{suite}{tail}"] for suite in suites)

    def called(self, label: str, what: str, suites: Sequence[str], *, missed: bool = False) -> Row:
        n = self.total(what, suites)
        cells = {}
        for method in (*baselines.METHODS, OURS, WAIVED):
            met = self.total(what, suites, method)
            cells[method] = f"{(n - met) / n:.3f}" if missed and n else f"{met} of {n}"
        return label.format(n=n), cells

    def doubt(self, label: str, suites: Sequence[str]) -> Row:
        n, cells = self.total("hidden", suites), {}
        for method in (*baselines.METHODS, OURS):
            right, wrong = (self.total(what, suites, method) for what in ("hidden_doubted", "plain_doubted"))
            cells[method] = f"{_share(right, n)} / {_share(right, right + wrong)}"
        return label, cells

    def state(self, label: str, suites: Sequence[str], kinds: Sequence[str]) -> Row:
        cells = {}
        for method in (*baselines.METHODS, OURS):
            recalls, told, asked = [], 0, 0
            for word in ("leaking", "quiet"):
                right, here, all_ = (self.words(kinds, word, what, suites, method) for what in ("_right", "_told", ""))
                told, asked = told + here, asked + all_
                recalls += [right / here] if here else []
            cells[method] = f"{np.mean(recalls):.3f} ({told / asked:.0%})" if len(recalls) == 2 else NONE
        return label, cells

    def state_all(self, label: str, suites: Sequence[str], kinds: Sequence[str]) -> Row:
        """Every minute counts: one for which no state was told is half right."""
        cells = {}
        for method in (*baselines.METHODS, OURS):
            recalls = []
            for word in ("leaking", "quiet"):
                right, told, asked = (self.words(kinds, word, what, suites, method) for what in ("_right", "_told", ""))
                recalls += [(right + 0.5 * (asked - told)) / asked] if asked else []
            cells[method] = f"{np.mean(recalls):.3f}" if len(recalls) == 2 else NONE
        return label, cells

    def words(self, kinds: Sequence[str], word: str, what: str, suites: Sequence[str], method: str) -> int:
        return sum(self.total(f"{kind}_{word}{what}", suites, method) for kind in kinds)

    def folds(self, label: str, suites: Sequence[str]) -> Row:
        cells = {}
        for method in (*baselines.METHODS, OURS):
            parts = []
            for kind in ("suction", "none_added"):
                found = [one for suite in suites for one in self.tally.folds.get(f"{kind}/{suite}/{method}", [])]
                parts.append(f"{np.exp(np.median(found)):.2f}" if found else NONE)
            cells[method] = " / ".join(parts)
        return label, cells

    def forecasts(self) -> list[Row]:
        rows: list[Row] = []
        for label, key, places in (
            ("7. forecast CRPS, h, on min(T, 48 h)", "crps_h_not_yet_met", 2),
            ("8. forecast 80 % interval covers", "covers_80_not_yet_met", 3),
            ("9. forecast C-index", "c_index_not_yet_met", 3),
        ):
            cells = {m: f"{self.forecast[m][key]:.{places}f}" for m in forecasts.METHODS if m in self.forecast}
            rows.append((label, cells))
        return rows


def _share(part: float, whole: float) -> str:
    return f"{part / whole:.2f}" if whole else NONE


def rows_of(found: dict[str, Any]) -> dict[str, list[Row]]:
    """Both blocks of the table."""
    own, second = (Rows(found["tally"], found["forecast"][block]) for block in BLOCKS)
    mixed, alike = ["leak-state", "artefacts"], ["look-alikes", "second: look-alikes"]
    states = [*mixed, "suction", "healed"]
    in_window = "   of these, with a leak or a fault in the 8 h"
    zeros = "   of these, a zero that drifts or is clipped"
    stirred = "   of these, cough, walk, posture, step of suction"
    half = "   the same, an untold minute counted as half right"
    disturbed = "5. disturbed minutes, leak state: balanced accuracy (told)"
    return {
        BLOCKS[0]: [
            own.called("1. must not be met, called met: look-alikes of both worlds", "must_not", alike),
            own.called(in_window, "must_not_in_window", alike),
            own.called("2. the same: leak-state and artefact stays", "must_not", mixed),
            own.called("3. plainly met, not called met (share of {n})", "plain", [*states, alike[0]], missed=True),
            own.doubt("4. not-assessable minutes: recall / precision", ["artefacts", alike[0]]),
            own.state(disturbed, states, ("stirred", "wrong_zero")),
            own.state_all(half, states, ("stirred", "wrong_zero")),
            own.state(stirred, states, ("stirred",)),
            own.state(zeros, states, ("wrong_zero",)),
            own.folds("6. conductance, fold error: on suction / none added", ["leak-state", "suction"]),
            *own.forecasts(),
        ],
        BLOCKS[1]: [
            second.called("1. must not be met, called met: look-alikes", "must_not", alike[1:]),
            second.called(in_window, "must_not_in_window", alike[1:]),
            ("2. the same: leak-state and artefact stays", {}),
            second.called(
                "3. plainly met, not called met (share of {n})", "plain", ["second: plainly met"], missed=True
            ),
            second.doubt("4. not-assessable minutes: recall / precision", ["second: faults"]),
            second.state(disturbed, ["second: plainly met", "second: faults"], ("stirred",)),
            second.state_all(half, ["second: plainly met", "second: faults"], ("stirred",)),
            ("6. conductance, fold error: on suction / none added", {}),
            *second.forecasts(),
        ],
    }


def as_text(rows: dict[str, list[Row]]) -> str:
    width = max(len(label) for part in rows.values() for label, _ in part)
    wide = {c: max(len(c), *(len(cells.get(c, NONE)) for part in rows.values() for _, cells in part)) for c in COLUMNS}
    lines = []
    for block, part in rows.items():
        lines.append(f"{block:<{width}}  " + "  ".join(f"{c:>{wide[c]}}" for c in COLUMNS))
        for label, cells in part:
            lines.append(f"{label:<{width}}  " + "  ".join(f"{cells.get(c, NONE):>{wide[c]}}" for c in COLUMNS))
        lines.append("")
    return "\n".join(lines)


def as_markdown(rows: dict[str, list[Row]], notes: Sequence[str]) -> str:
    lines = []
    for block, part in rows.items():
        lines += [f"| {block} | " + " | ".join(COLUMNS) + " |", "| --- " + "| ---: " * len(COLUMNS) + "|"]
        for label, cells in part:
            name = f"*{label.strip()}*" if label.startswith(" ") else label
            lines.append(f"| {name} | " + " | ".join(cells.get(c, NONE) for c in COLUMNS) + " |")
        lines.append("")
    return "\n".join([*lines, *(f"- {note}" for note in notes)])
