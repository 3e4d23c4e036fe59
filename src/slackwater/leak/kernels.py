"""Loops over readings and minutes: compiled where a compiler was found, else plain Python with equal results."""

from __future__ import annotations

try:
    import cython
except ImportError:  # Cython is needed to build, not to run
    from slackwater.reading import interpreted as cython

COMPILED = cython.compiled


def lay_blocks(
    start_ms: cython.const[cython.longlong][::1],
    pressure: cython.const[cython.int][::1],
    flow: cython.const[cython.int][::1],
    none: cython.int,
    origin_ms: cython.longlong,
    every_ms: cython.longlong,
    grid: cython.double[:, ::1],
    air: cython.double[:, ::1],
    counted: cython.longlong[::1],
    moving: cython.longlong[::1],
):
    """Readings on an even grid of blocks, each less its block's mean and slope; holes are 0.

    `grid` and `air` (blocks x readings a block) are overwritten with pressure and flow; `counted` gets the
    pressure readings in each block, `moving` 1 where its flow was not one value throughout.
    """
    i: cython.Py_ssize_t
    b: cython.Py_ssize_t
    k: cython.Py_ssize_t
    at: cython.longlong
    n: cython.Py_ssize_t = len(start_ms)
    blocks: cython.Py_ssize_t = grid.shape[0]
    size: cython.Py_ssize_t = grid.shape[1]
    samples: cython.longlong = blocks * size
    hole: cython.double = -1.0e300
    for b in range(blocks):
        counted[b] = 0
        moving[b] = 0
        for k in range(size):
            grid[b, k] = hole
            air[b, k] = hole
    for i in range(n):
        at = start_ms[i] - origin_ms + every_ms // 2
        if at < 0:
            continue
        at = at // every_ms
        if at >= samples:
            break
        b = at // size
        k = at - b * size
        if pressure[i] != none:
            grid[b, k] = pressure[i]
        if flow[i] != none:
            air[b, k] = flow[i]
    for b in range(blocks):
        counted[b] = _level(grid[b], hole)
        _level(air[b], hole)
        for k in range(size):
            if air[b, k] != 0.0:
                moving[b] = 1
                break


@cython.cfunc
def _level(row: cython.double[::1], hole: cython.double) -> cython.longlong:
    """Take mean and slope out of a row in place; returns how many values it held."""
    k: cython.Py_ssize_t
    size: cython.Py_ssize_t = row.shape[0]
    held: cython.longlong = 0
    total: cython.double = 0.0
    ramp: cython.double
    along: cython.double = 0.0
    weight: cython.double = 0.0
    middle: cython.double = 0.5 * (size - 1)
    mean: cython.double
    slope: cython.double
    for k in range(size):
        if row[k] != hole:
            held += 1
            total += row[k]
    mean = total / held if held > 0 else 0.0
    for k in range(size):
        ramp = k - middle
        weight += ramp * ramp
        if row[k] != hole:
            along += ramp * (row[k] - mean)
    slope = along / weight if weight > 0 else 0.0
    for k in range(size):
        if row[k] != hole:
            row[k] = row[k] - mean - slope * (k - middle)
        else:
            row[k] = 0.0
    return held


def answers(
    air: cython.double[:, ::1],
    grid: cython.double[:, ::1],
    moving: cython.const[cython.longlong][::1],
    best: cython.double[::1],
):
    """Largest correlation, of either sign, between flow and pressure within two readings' delay, per block."""
    b: cython.Py_ssize_t
    k: cython.Py_ssize_t
    shift: cython.Py_ssize_t
    size: cython.Py_ssize_t = grid.shape[1]
    cross: cython.double
    own: cython.double
    other: cython.double
    found: cython.double
    for b in range(grid.shape[0]):
        best[b] = 0.0
        if not moving[b]:
            continue
        for shift in range(5):
            cross = 0.0
            own = 0.0
            other = 0.0
            for k in range(2, size - 2):
                cross += air[b, k + shift - 2] * grid[b, k]
                own += air[b, k + shift - 2] * air[b, k + shift - 2]
                other += grid[b, k] * grid[b, k]
            if own > 0 and other > 0:
                found = cross / (own * other) ** 0.5
                if found < 0:
                    found = -found
                if found > best[b]:
                    best[b] = found
