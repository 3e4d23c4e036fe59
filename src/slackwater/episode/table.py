"""The rows of a comma-separated chart, each with the line it starts on."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from slackwater.episode.spelling import meant, plain_word
from slackwater.errors import ChartError

NEEDED = ("time", "item", "value", "unit", "note")
OPTIONAL = ("drain", "recorded", "by")
COLUMNS = (*NEEDED, *OPTIONAL)
_HEADER = f"The first line names the columns: {','.join(NEEDED)}, and {', '.join(OPTIONAL)} if wanted."


def rows_of(text: str, name: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield (line from 1, cells by column name, trimmed). Empty lines are no rows.

    Columns may stand in any order. Raises ChartError for a header or a row that is not as it says.
    """
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    columns: list[str] | None = None
    line = 0
    try:
        for cells in reader:
            start, line = line + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = _header(cells, f"{name}, line {start}")
                continue
            if len(cells) != len(columns):
                raise ChartError(
                    f"{len(cells)} cells where the header names {len(columns)} columns",
                    where=f"{name}, line {start}",
                    mend="Write one cell for each column, and a note that holds a comma in quotes.",
                )
            yield start, {column: cell.strip() for column, cell in zip(columns, cells, strict=True)}
    except csv.Error as error:
        raise ChartError(
            f"is not comma-separated text ({error})",
            where=f"{name}, line {line + 1}",
            mend="Close the quote, and double a quote that stands inside a note.",
        ) from error
    if columns is None:
        raise ChartError("is empty", where=name, mend=_HEADER)


def _header(cells: list[str], where: str) -> list[str]:
    columns = [plain_word(cell) for cell in cells]
    if len(columns) == 1:
        for mark, called in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
            if mark in columns[0] or mark in cells[0]:
                mend = "Save the chart with commas between columns and decimal points."
                raise ChartError(f"columns are parted by {called}", where=where, mend=mend)
    for column in columns:
        if column not in COLUMNS:
            mend = meant(column, COLUMNS)
            raise ChartError(f"column {column!r} is not known", where=where, mend=mend)
        if columns.count(column) > 1:
            raise ChartError(f"column {column!r} stands twice", where=where, mend="Keep one of them.")
    for column in NEEDED:
        if column not in columns:
            raise ChartError(f"column {column!r} is missing", where=where, mend=f"Add it. {_HEADER}")
    return columns
