"""Small numbers kept back, so that nobody can be picked out, and none got back by taking one figure from another."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.errors import UsageError

Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Line = tuple[int | slice, int | slice]


def with_totals(counts: ArrayLike) -> Ints:
    """The table with its row and column totals added last: (r, c) to (r + 1, c + 1), (n,) to (n + 1,)."""
    table = np.asarray(counts, np.int64)
    for axis in range(table.ndim):
        table = np.concatenate([table, table.sum(axis=axis, keepdims=True)], axis=axis)
    return table


def kept_back(counts: ArrayLike, fewest: int) -> Flags:
    """Which cells must not be shown, in the shape of `with_totals(counts)`. Rates of such a cell stay hidden too.

    counts: (n,) or (r, c) numbers of patients, shown with their totals; a patient counts in one cell. fewest: the
    smallest number that may be shown, by local policy; 0 is smaller too, for a shown 0 tells of its neighbours.

    Cells below `fewest` are kept back, then further ones, the smallest first, until in no row or column a hidden cell
    stands alone or hidden cells come to less than `fewest`, and until no hidden cell follows from the shown ones:
    neither by taking one from another nor because none is negative. Ours; tested against listing other tables.

    >>> kept_back([40, 3, 12, 30], 5).tolist()  # 3 alone would be the total less the others
    [False, True, True, False, False]
    """
    table = with_totals(counts)
    if table.ndim not in (1, 2) or (table < 0).any():
        raise UsageError("not a table of counts", where="counts", mend="Give one or two dimensions, none negative.")
    grid = np.atleast_2d(table)
    lines: list[Line] = [(row, slice(None)) for row in range(len(grid))]
    if table.ndim == 2:
        lines += [(slice(None), column) for column in range(grid.shape[1])]
    hidden = grid < fewest
    while (more := _next_to_hide(grid, hidden, lines, fewest)) is not None:
        hidden[more] = True
    return hidden.reshape(table.shape)


def _next_to_hide(table: Ints, hidden: Flags, lines: list[Line], fewest: int) -> tuple[int, int] | None:
    """One cell more that has to be hidden, or None where nothing can be got back any more."""
    for line in lines:
        if _weak(table[line], hidden[line], fewest) and (cell := _smallest_shown(table, hidden, [line])):
            return cell
    follows = _follows(table, hidden, lines)
    for row, column in zip(*np.nonzero(follows), strict=True):
        through = [line for line in lines if line[0] == row or line[1] == column]
        if cell := _smallest_shown(table, hidden, through):
            return cell
    # where its row and column are hidden already, what gives it away stands elsewhere
    return _smallest_shown(table, hidden, lines) if follows.any() else None


def _weak(line: Ints, hidden: Flags, fewest: int) -> bool:
    """One hidden cell alone, or hidden cells whose shown sum is itself too small to show."""
    if not hidden.any():
        return False
    return hidden.sum() == 1 or (not hidden[-1] and line[:-1][hidden[:-1]].sum() < fewest)


def _smallest_shown(table: Ints, hidden: Flags, lines: list[Line]) -> tuple[int, int] | None:
    there = np.zeros_like(hidden)
    for line in lines:
        there[line] = True
    cells = np.argwhere(there & ~hidden)
    if not len(cells):
        return None
    row, column = cells[np.argmin(table[tuple(cells.T)])]
    return int(row), int(column)


def _follows(table: Ints, hidden: Flags, lines: list[Line]) -> Flags:
    """The hidden cells that have one value in every table with the shown cells and no negative one.

    A change that keeps all sums is a flow in a ring over rows and columns, along hidden cells: one step each way, down
    only where the cell is not 0, and against its sense in totals. A cell no ring runs through is fixed. (Any other
    table differs from this one by such rings, so one step tells all.)
    """
    columns_count = len(lines) > len(table)  # a single row has no column totals: its cells share one column
    steps: list[tuple[int, int, int, int]] = []  # from, to, row, column of the cell
    for row, column in zip(*np.nonzero(hidden), strict=True):
        a, b = int(row), len(table) + (int(column) if columns_count else 0)
        total = (column == table.shape[1] - 1) != (columns_count and row == len(table) - 1)
        up, down = ((b, a), (a, b)) if total else ((a, b), (b, a))
        steps += [(*up, int(row), int(column))]
        steps += [(*down, int(row), int(column))] if table[row, column] else []
    fixed = hidden.copy()
    for start, end, row, column in steps:
        if fixed[row, column] and _leads(end, start, [step[:2] for step in steps if step[2:] != (row, column)]):
            fixed[row, column] = False
    return fixed


def _leads(start: int, end: int, steps: list[tuple[int, int]]) -> bool:
    reached, ahead = {start}, [start]
    while ahead:
        at = ahead.pop()
        if at == end:
            return True
        for before, after in steps:
            if before == at and after not in reached:
                reached.add(after)
                ahead.append(after)
    return False
