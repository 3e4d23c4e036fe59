"""When each limit and length of a rule first held in one drain: compiled where a compiler was found, else plain Python.

A run below a limit is made of whole blocks below it and its two edges, so most readings are looked at once, by the
largest and smallest of their block. Results go into arrays that the caller made.
"""

from __future__ import annotations

try:
    import cython

    COMPILED = cython.compiled
except ImportError:  # Cython is needed to build, not to run
    COMPILED = False

NO_VALUE = -32768  # the smallest int16: nothing was recorded


def extremes(
    values: cython.const[cython.short][::1], size: cython.Py_ssize_t, low: cython.short[::1], high: cython.short[::1]
):
    """Smallest and largest value of each block of `size` values; the last block may be shorter."""
    b: cython.Py_ssize_t
    i: cython.Py_ssize_t
    first: cython.Py_ssize_t
    behind: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(values)
    least: cython.short
    most: cython.short
    value: cython.short
    whole: cython.Py_ssize_t = n // size
    if size == 64:  # a length that the compiler knows lets it unroll the loop
        for b in range(whole):
            first = b * 64
            least = 32767
            most = -32768
            for i in range(64):
                value = values[first + i]
                least = value if value < least else least
                most = value if value > most else most
            low[b] = least
            high[b] = most
    for b in range(whole if size == 64 else 0, len(low)):
        first = b * size
        behind = first + size
        if behind > n:
            behind = n
        least = 32767
        most = -32768
        for i in range(first, behind):  # as minimum and maximum, the compiler turns this into one pass of lanes
            value = values[i]
            least = value if value < least else least
            most = value if value > most else most
        low[b] = least
        high[b] = most


def first_holds(
    values: cython.const[cython.short][::1],
    low: cython.const[cython.short][::1],
    high: cython.const[cython.short][::1],
    size: cython.Py_ssize_t,
    gaps_break: cython.bint,
    limits: cython.const[cython.short][::1],
    lengths: cython.const[cython.longlong][::1],
    next_fit: cython.const[cython.longlong][:, ::1],
    stack_block: cython.longlong[::1],
    stack_class: cython.longlong[::1],
    out: cython.longlong[:, ::1],
):
    """out[i, j]: how many values had passed when limit i had first held for lengths[j] values on end; -1: never.

    A value breaks limit i if it is at or above limits[i] (increasing), and NO_VALUE breaks all if `gaps_break`, else
    none. next_fit[j, k]: the first value at or after k at which the rest of the rule holds too, n if none;
    without rows, nothing else is asked. The stacks have room for one more than the limits.
    """
    n: cython.Py_ssize_t = len(values)
    blocks: cython.Py_ssize_t = len(high)
    many: cython.Py_ssize_t = len(limits)
    spans: cython.Py_ssize_t = len(lengths)
    asked: cython.bint = next_fit.shape[0] > 0
    top: cython.Py_ssize_t = 0
    b: cython.Py_ssize_t
    s: cython.Py_ssize_t
    i: cython.Py_ssize_t
    j: cython.Py_ssize_t
    k: cython.Py_ssize_t
    start: cython.Py_ssize_t
    end: cython.Py_ssize_t
    behind: cython.Py_ssize_t
    reach: cython.longlong
    found: cython.longlong
    broken: cython.Py_ssize_t
    lo: cython.Py_ssize_t
    hi: cython.Py_ssize_t
    shut: cython.bint
    limit: cython.short
    for i in range(many):
        for j in range(spans):
            out[i, j] = -1
    if many == 0 or spans == 0:
        return
    # each entry: the last block that breaks the limits below its class; classes shrink towards the top
    stack_block[0] = -1
    stack_class[0] = many
    for b in range(blocks + 1):
        if b == blocks:
            broken = many  # the end of the record ends every run
        elif gaps_break and low[b] == -32768:
            broken = many
        else:
            broken = 0
            while broken < many and limits[broken] <= high[b]:
                broken += 1
        lo = 0
        while lo < broken and top >= 0:
            s = stack_block[top]
            hi = stack_class[top] if stack_class[top] < broken else broken
            reach = (b - s + 1) * size
            if reach >= lengths[0]:
                for i in range(lo, hi):
                    j = 0
                    while j < spans and out[i, j] >= 0:
                        j += 1
                    if j == spans or reach < lengths[j]:
                        continue
                    limit = limits[i]
                    start = 0
                    if s >= 0:
                        behind = (s + 1) * size
                        start = behind if behind < n else n
                        while not (values[start - 1] >= limit or (gaps_break and values[start - 1] == -32768)):
                            start -= 1
                    end = n
                    if b < blocks:
                        end = b * size
                        shut = False
                        while not shut:
                            shut = values[end] >= limit or (gaps_break and values[end] == -32768)
                            if not shut:
                                end += 1
                    for k in range(j, spans):
                        if out[i, k] >= 0:
                            continue
                        if end - start < lengths[k]:
                            break
                        found = start + lengths[k]
                        if asked:
                            found = next_fit[k, found - 1] + 1
                        if found <= end:
                            out[i, k] = found
            lo = hi
            if stack_class[top] <= broken:
                top -= 1
            else:
                break
        if broken > 0 and b < blocks:
            top += 1
            stack_block[top] = b
            stack_class[top] = broken
