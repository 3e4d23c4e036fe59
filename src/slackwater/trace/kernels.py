"""Loops over rows and minutes: compiled where a compiler was found, else plain Python with equal results.

All sums are made on integers, so that neither order nor length costs a digit. Results go into arrays that
the caller made; `NONE` (the smallest int32) is 'no value' in integer arrays, NaN in arrays of floats.
"""

from __future__ import annotations

import functools

import numpy as np

try:
    import cython

    COMPILED = cython.compiled
except ImportError:  # Cython is needed to build, not to run
    COMPILED = False

NOT_A_NUMBER = float("nan")
UNBOUNDED = float("inf")
LARGEST = 2147483647


def survey(time: cython.const[cython.longlong][::1], every: cython.longlong):
    """How well-formed stamps are: steps back, repeats, threes within 1.2 x `every`, steps of just `every`."""
    i: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(time)
    back: cython.longlong = 0
    repeats: cython.longlong = 0
    close: cython.longlong = 0
    equal: cython.longlong = 0
    step: cython.longlong
    before: cython.longlong = 1 << 60
    for i in range(n - 1):
        step = time[i + 1] - time[i]
        if step == every:
            equal += 1
        elif step < 0:
            back += 1
        elif step == 0:
            repeats += 1
        if 5 * (step + before) <= 6 * every:
            close += 1
        before = step
    return back, repeats, close, equal


def lay(
    time: cython.const[cython.longlong][::1],
    every: cython.longlong,
    at_end: cython.bint,
    other_side: cython.longlong[::1],
):
    """Where the time of each stamp (increasing) begins, if stamps are ends, or ends, if they are starts.

    It reaches to the neighbour if that is within 1.5 x `every`, and else is `every` long.
    """
    i: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(time)
    here: cython.longlong
    there: cython.longlong
    if n == 0:
        return
    if at_end:
        there = time[0] - every
        for i in range(n):
            here = time[i]
            if 2 * (here - there) <= 3 * every:
                other_side[i] = there
            else:
                other_side[i] = here - every
            there = here
    else:
        here = time[0]
        for i in range(n - 1):
            there = time[i + 1]
            if 2 * (there - here) <= 3 * every:
                other_side[i] = there
            else:
                other_side[i] = here + every
            here = there
        other_side[n - 1] = here + every


def stretches(
    start: cython.const[cython.longlong][::1],
    end: cython.const[cython.longlong][::1],
    log: cython.const[cython.short][::1],
    begins: cython.int[::1],
) -> cython.Py_ssize_t:
    """Rows at which evenly spaced stretches begin (equal length, touching, one log); how many there are."""
    i: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(start)
    found: cython.Py_ssize_t = 0
    reach: cython.longlong = 0
    length: cython.longlong = -1
    for i in range(n):
        if start[i] != reach or end[i] - start[i] != length or log[i] != log[i - 1]:
            begins[found] = i
            found += 1
            length = end[i] - start[i]
        reach = end[i]
    return found


def flow_bins(
    origin: cython.longlong,
    width: cython.longlong,
    start: cython.const[cython.longlong][::1],
    end: cython.const[cython.longlong][::1],
    flow: cython.const[cython.int][::1],
    flow_max: cython.const[cython.int][::1],
    log: cython.const[cython.short][::1],
    even: cython.const[cython.int][::1],
    below: cython.const[cython.longlong][::1],
    above: cython.const[cython.longlong][::1],
    first: cython.int[::1],
    last: cython.int[::1],
    each: cython.int[::1],
    covered: cython.int[::1],
    present: cython.int[::1],
    mean: cython.double[::1],
    low: cython.double[::1],
    high: cython.double[::1],
    least: cython.double[::1],
    most: cython.double[::1],
    peak_low: cython.double[::1],
    peak_high: cython.double[::1],
    readings: cython.int[::1],
):
    """Flow in bins of `width` ms from `origin`: means weighted by time, extremes, cell bounds. mL/min.

    `flow_max` has length 0 where the unit gives none. `below` / `above`: ends of a reading's cell from the
    reading, in half µL/min, one a log. `even` (see `stretches`) may be empty. For each bin, also: the rows
    [first, last) that touch it, and in `each` how many ms a row lasts if all are equal and fill it, else 0.
    """
    nan: cython.double = NOT_A_NUMBER
    largest: cython.int = LARGEST
    m: cython.Py_ssize_t
    i: cython.Py_ssize_t = 0  # first row that may touch the bin
    j: cython.Py_ssize_t
    q: cython.Py_ssize_t
    k: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(start)
    bins: cython.Py_ssize_t = len(covered)
    runs: cython.Py_ssize_t = len(even)
    run: cython.Py_ssize_t = 0  # the stretch that row j belongs to
    run_end: cython.Py_ssize_t = 0
    length: cython.longlong = 0
    fit: cython.Py_ssize_t = 0  # how many of its rows a whole bin holds
    due_row: cython.Py_ssize_t = -1  # the row after the last whole ones
    due: cython.longlong = 0  # when it starts, if it is of the same stretch
    implied: cython.bint  # the bin is filled by whole rows of one stretch: no time needs looking up
    has_max: cython.bint = len(flow_max) > 0
    a: cython.longlong
    b: cython.longlong
    s: cython.longlong
    e: cython.longlong
    w: cython.longlong
    cov: cython.longlong
    pre: cython.longlong
    total: cython.longlong
    sum_low: cython.longlong
    sum_high: cython.longlong
    x: cython.longlong
    lo2: cython.longlong = 0
    hi2: cython.longlong = 0
    part: cython.longlong
    part_low: cython.longlong
    part_high: cython.longlong
    small: cython.int
    small_above: cython.int
    above_edge: cython.int
    edge: cython.int
    top_low: cython.longlong
    top_high: cython.longlong
    v: cython.int
    vmin: cython.int
    vmax: cython.int
    bmin: cython.int
    bmax: cython.int
    none: cython.int = -2147483647 - 1
    count: cython.int
    same: cython.longlong
    for m in range(bins):
        a = origin + m * width
        b = a + width
        implied = i == due_row and due == a and i + fit <= run_end and fit * length == width
        if not implied:
            while i < n and end[i] <= a:
                i += 1
        j = i
        first[m] = i
        cov = 0
        pre = 0
        total = 0
        sum_low = 0
        sum_high = 0
        top_low = -1
        top_high = -1
        bmin = largest
        bmax = none
        count = 0
        same = 0
        while implied or (j < n and start[j] < b):
            if implied:
                s = a
            else:
                s = start[j]
                lo2 = below[log[j]]
                hi2 = above[log[j]]
            if runs > 0 and s >= a:
                if not implied:
                    while j >= run_end:  # move to the stretch of row j
                        length = end[even[run]] - start[even[run]]
                        fit = width // length
                        run += 1
                        run_end = even[run] if run < runs else n
                k = fit if s == a else (b - s) // length
                if k > run_end - j:
                    k = run_end - j
                if k > 1 or implied:
                    # k whole rows of one length: no need to look at their times
                    w = length
                    if s == a and k * w == width:
                        same = w
                    vmin = largest
                    vmax = none
                    small = 0
                    small_above = 0
                    above_edge = 0
                    edge = -lo2 // 2  # at or below it, the cell begins at zero
                    for q in range(j, j + k):  # in 32 bits the processor takes several at a time
                        v = flow[q]
                        vmin = v if v < vmin else vmin
                        vmax = v if v > vmax else vmax
                        small += v
                        small_above += v if v > edge else 0
                        above_edge += 1 if v > edge else 0
                    pre += k * w
                    if vmin != none:
                        cov += k * w
                        count += k
                        x = vmin
                        if 2 * x + hi2 >= 0 and k * vmax < largest and k * x > -largest:  # no sum overran
                            part = small
                            part_low = small_above
                            part_low = 2 * part_low + above_edge * lo2
                            part_high = 2 * part + k * hi2
                        else:
                            part = 0
                            part_low = 0
                            part_high = 0
                            for q in range(j, j + k):
                                x = flow[q]
                                part += x
                                if 2 * x + lo2 > 0:
                                    part_low += 2 * x + lo2
                                if 2 * x + hi2 > 0:
                                    part_high += 2 * x + hi2
                        total += part * w
                        sum_low += part_low * w
                        sum_high += part_high * w
                    elif vmax != none:
                        vmin = largest
                        for q in range(j, j + k):
                            v = flow[q]
                            if v != none:
                                cov += w
                                count += 1
                                x = v
                                total += x * w
                                if v < vmin:
                                    vmin = v
                                if 2 * x + lo2 > 0:
                                    sum_low += (2 * x + lo2) * w
                                if 2 * x + hi2 > 0:
                                    sum_high += (2 * x + hi2) * w
                    else:
                        vmin = largest
                    if has_max:
                        for q in range(j, j + k):
                            v = flow_max[q]
                            if v > vmax:
                                vmax = v
                    if vmin < bmin:
                        bmin = vmin
                    if vmax != none:
                        if vmax > bmax:
                            bmax = vmax
                        x = vmax
                        if 2 * x + lo2 > top_low:
                            top_low = 2 * x + lo2
                        if 2 * x + hi2 > top_high:
                            top_high = 2 * x + hi2
                    j += k
                    due_row = j
                    due = s + k * w
                    if implied:
                        break
                    continue
            e = end[j]
            w = (e if e < b else b) - (s if s > a else a)
            pre += w
            v = flow[j]
            vmax = v
            if v != none:
                cov += w
                count += 1
                x = v
                total += x * w
                if v < bmin:
                    bmin = v
                if 2 * x + lo2 > 0:
                    sum_low += (2 * x + lo2) * w
                if 2 * x + hi2 > 0:
                    sum_high += (2 * x + hi2) * w
            if has_max and flow_max[j] > vmax:
                vmax = flow_max[j]
            if vmax != none:
                if vmax > bmax:
                    bmax = vmax
                x = vmax
                if 2 * x + lo2 > top_low:
                    top_low = 2 * x + lo2
                if 2 * x + hi2 > top_high:
                    top_high = 2 * x + hi2
            j += 1
        last[m] = j
        each[m] = same
        covered[m] = cov
        present[m] = pre
        readings[m] = count
        if cov > 0:
            mean[m] = total / (cov * 1000.0)
            low[m] = sum_low / (cov * 2000.0)
            high[m] = sum_high / (cov * 2000.0)
            least[m] = bmin / 1000.0
        else:
            mean[m] = nan
            low[m] = nan
            high[m] = nan
            least[m] = nan
        if bmax != none:
            most[m] = bmax / 1000.0
            peak_low[m] = (top_low if top_low > 0 else 0) / 2000.0
            peak_high[m] = (top_high if top_high > 0 else 0) / 2000.0
        else:
            most[m] = nan
            peak_low[m] = nan
            peak_high[m] = nan
        if due_row == j and due == b:
            i = j
        elif j > i:
            i = j - 1  # it may reach into the next bin


def pressure_bins(
    origin: cython.longlong,
    width: cython.longlong,
    start: cython.const[cython.longlong][::1],
    end: cython.const[cython.longlong][::1],
    pressure: cython.const[cython.int][::1],
    lowest: cython.const[cython.int][::1],
    highest: cython.const[cython.int][::1],
    first: cython.const[cython.int][::1],
    last: cython.const[cython.int][::1],
    each: cython.const[cython.int][::1],
    enough: cython.Py_ssize_t,
    room_low: cython.int[::1],
    room_high: cython.int[::1],
    mean: cython.double[::1],
    least: cython.double[::1],
    most: cython.double[::1],
    p05: cython.double[::1],
    p95: cython.double[::1],
    readings: cython.int[::1],
):
    """Pressure in bins, cmH2O: mean weighted by time, extremes, and the 5th and 95th percentile.

    Percentiles are linear between ranks, of the readings that touch the bin, if those are `enough`.
    `lowest` / `highest` have length 0 where the unit gives none. `room_low`, `room_high`: scratch, as
    long as a 20th of the most rows in a bin, plus 3.
    """
    nan: cython.double = NOT_A_NUMBER
    largest: cython.int = LARGEST
    m: cython.Py_ssize_t
    j: cython.Py_ssize_t
    p: cython.Py_ssize_t
    keep: cython.Py_ssize_t
    held: cython.Py_ssize_t
    rank: cython.Py_ssize_t
    bins: cython.Py_ssize_t = len(mean)
    has_low: cython.bint = len(lowest) > 0
    has_high: cython.bint = len(highest) > 0
    a: cython.longlong
    b: cython.longlong
    s: cython.longlong
    e: cython.longlong
    w: cython.longlong
    cov: cython.longlong
    total: cython.longlong
    x: cython.longlong
    v: cython.int
    vmin: cython.int
    vmax: cython.int
    floor: cython.int
    roof: cython.int
    none: cython.int = -2147483647 - 1
    count: cython.Py_ssize_t
    for m in range(bins):
        a = origin + m * width
        b = a + width
        cov = 0
        total = 0
        count = 0
        vmin = largest
        vmax = none
        w = each[m]
        # keep the few smallest and largest, sorted: as many as would be needed if every row has a reading
        keep = 0
        if last[m] - first[m] >= enough:
            keep = (last[m] - first[m] - 1) // 20 + 2
            for p in range(keep):
                room_low[p] = largest
                room_high[p] = none
        floor = none  # the smallest of the largest kept
        roof = largest  # the largest of the smallest kept
        for j in range(first[m], last[m]):
            v = pressure[j]
            if v == none:
                continue
            if each[m] == 0:
                s = start[j]
                e = end[j]
                w = (e if e < b else b) - (s if s > a else a)
            count += 1
            cov += w
            x = v
            total += x * w
            if v < vmin:
                vmin = v
            if v > vmax:
                vmax = v
            if keep > 0:
                if v < roof:
                    p = keep - 1
                    while p > 0 and room_low[p - 1] > v:
                        room_low[p] = room_low[p - 1]
                        p -= 1
                    room_low[p] = v
                    roof = room_low[keep - 1]
                if v > floor:
                    p = keep - 1
                    while p > 0 and room_high[p - 1] < v:
                        room_high[p] = room_high[p - 1]
                        p -= 1
                    room_high[p] = v
                    floor = room_high[keep - 1]
        if has_low:
            for j in range(first[m], last[m]):
                v = lowest[j]
                if v != none and v < vmin:
                    vmin = v
        if has_high:
            for j in range(first[m], last[m]):
                v = highest[j]
                if v > vmax:
                    vmax = v
        readings[m] = count
        mean[m] = total / (cov * 1000.0) if cov > 0 else nan
        least[m] = vmin / 1000.0 if vmin != largest else nan
        most[m] = vmax / 1000.0 if vmax != none else nan
        p05[m] = nan
        p95[m] = nan
        if count >= enough:
            rank = (count - 1) // 20
            held = (count - 1) - 20 * rank  # twentieths of the way to the next rank
            x = room_low[rank]
            x = 20 * x + held * (room_low[rank + 1] - x)
            p05[m] = x / 20000.0
            x = room_high[rank]
            x = 20 * x + held * (room_high[rank + 1] - x)
            p95[m] = x / 20000.0


def last_in_bins(
    values: cython.const[cython.int][::1],
    first: cython.const[cython.int][::1],
    last: cython.const[cython.int][::1],
    scale: cython.double,
    out: cython.double[::1],
):
    """The last value in each bin, divided by `scale`; NaN where the bin has none."""
    nan: cython.double = NOT_A_NUMBER
    m: cython.Py_ssize_t
    j: cython.Py_ssize_t
    none: cython.int = -2147483647 - 1
    for m in range(len(out)):
        out[m] = nan
        j = last[m]
        while j > first[m]:
            j -= 1
            if values[j] != none:
                out[m] = values[j] / scale
                break


def commonest_in_bins(
    origin: cython.longlong,
    width: cython.longlong,
    start: cython.const[cython.longlong][::1],
    end: cython.const[cython.longlong][::1],
    words: cython.const[cython.int][::1],
    first: cython.const[cython.int][::1],
    last: cython.const[cython.int][::1],
    spent: cython.longlong[::1],
    out: cython.int[::1],
):
    """The word (an index of `spent`) that holds most of each bin's time; of equals, the lower index."""
    m: cython.Py_ssize_t
    j: cython.Py_ssize_t
    p: cython.Py_ssize_t
    a: cython.longlong
    b: cython.longlong
    s: cython.longlong
    e: cython.longlong
    kinds: cython.Py_ssize_t = len(spent)
    none: cython.int = -2147483647 - 1
    v: cython.int
    best: cython.int
    for m in range(len(out)):
        best = none
        a = origin + m * width
        b = a + width
        for p in range(kinds):
            spent[p] = 0
        for j in range(first[m], last[m]):
            v = words[j]
            if v >= 0 and v < kinds:
                s = start[j]
                e = end[j]
                spent[v] = spent[v] + (e if e < b else b) - (s if s > a else a)
        for p in range(kinds):
            if spent[p] > 0 and (best == none or spent[p] > spent[best]):
                best = p
        out[m] = best


def extremes(
    origin: cython.longlong,
    width: cython.longlong,
    start: cython.const[cython.longlong][::1],
    end: cython.const[cython.longlong][::1],
    flow: cython.const[cython.int][::1],
    low: cython.int[::1],
    high: cython.int[::1],
    covered: cython.int[::1],
):
    """Smallest and largest flow of each bin, NONE where empty, and the milliseconds that readings cover."""
    largest: cython.int = LARGEST
    m: cython.Py_ssize_t
    i: cython.Py_ssize_t = 0
    j: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(start)
    a: cython.longlong
    b: cython.longlong
    s: cython.longlong
    e: cython.longlong
    cov: cython.longlong
    v: cython.int
    vmin: cython.int
    vmax: cython.int
    none: cython.int = -2147483647 - 1
    for m in range(len(low)):
        a = origin + m * width
        b = a + width
        while i < n and end[i] <= a:
            i += 1
        j = i
        cov = 0
        vmin = largest
        vmax = none
        while j < n and start[j] < b:
            v = flow[j]
            if v != none:
                s = start[j]
                e = end[j]
                cov += (e if e < b else b) - (s if s > a else a)
                if v < vmin:
                    vmin = v
                if v > vmax:
                    vmax = v
            j += 1
        low[m] = vmin if vmax != none else none
        high[m] = vmax
        covered[m] = cov
        if j > i:
            i = j - 1


def runs(
    low: cython.const[cython.double][::1],
    high: cython.const[cython.double][::1],
    unknown: cython.const[cython.uchar][::1],
    limit: cython.double,
    at_most: cython.bint,
    certain: cython.int[::1],
    possible: cython.int[::1],
):
    """Length of the run below `limit` that ends at each minute; doubt ends the certain one only."""
    i: cython.Py_ssize_t
    sure: cython.int = 0
    may: cython.int = 0
    for i in range(len(low)):
        if unknown[i] or low[i] != low[i] or high[i] != high[i]:
            sure = 0
            may += 1
        else:
            if high[i] < limit or (at_most and high[i] == limit):
                sure += 1
            else:
                sure = 0
            if low[i] < limit or (at_most and low[i] == limit):
                may += 1
            else:
                may = 0
        certain[i] = sure
        possible[i] = may


def sliding_means(
    low: cython.const[cython.longlong][::1],
    high: cython.const[cython.longlong][::1],
    width: cython.Py_ssize_t,
    grain: cython.double,
    mean_low: cython.double[::1],
    mean_high: cython.double[::1],
):
    """Bounds of means over the last `width` minutes, in integers of 1/`grain`; a negative `high` is none."""
    infinite: cython.double = UNBOUNDED
    i: cython.Py_ssize_t
    unbounded: cython.Py_ssize_t = width  # before the first minute nothing is known
    sum_low: cython.longlong = 0
    sum_high: cython.longlong = 0
    for i in range(len(low)):
        if i < width:
            unbounded -= 1
        else:
            sum_low -= low[i - width]
            if high[i - width] < 0:
                unbounded -= 1
            else:
                sum_high -= high[i - width]
        sum_low += low[i]
        if high[i] < 0:
            unbounded += 1
        else:
            sum_high += high[i]
        mean_low[i] = sum_low / (width * grain)
        mean_high[i] = infinite if unbounded > 0 else sum_high / (width * grain)


def rolling_max(
    values: cython.const[cython.double][::1],
    width: cython.Py_ssize_t,
    enough: cython.Py_ssize_t,
    queue: cython.int[::1],
    out: cython.double[::1],
):
    """Largest of the last `width` values (NaN passed over); NaN where fewer than `enough` are there."""
    nan: cython.double = NOT_A_NUMBER
    i: cython.Py_ssize_t
    head: cython.Py_ssize_t = 0
    tail: cython.Py_ssize_t = 0
    there: cython.Py_ssize_t = 0
    v: cython.double
    for i in range(len(values)):
        v = values[i]
        if i >= width and values[i - width] == values[i - width]:
            there -= 1
        if head < tail and queue[head] <= i - width:
            head += 1
        if v == v:
            there += 1
            while tail > head and values[queue[tail - 1]] <= v:
                tail -= 1
            queue[tail] = i
            tail += 1
        if there >= enough and there > 0:
            out[i] = values[queue[head]]
        else:
            out[i] = nan


def rolling_median(
    values: cython.const[cython.int][::1],
    smallest: cython.int,
    width: cython.Py_ssize_t,
    enough: cython.Py_ssize_t,
    tally: cython.int[::1],
    out: cython.double[::1],
):
    """Median of the last `width` integers (NONE passed over), exact, in constant time a value.

    `tally`: zeros, one for each integer from `smallest` to the largest value. A pointer stands on the lower
    middle value and walks as values come and go; they are few, so it walks little.
    """
    nan: cython.double = NOT_A_NUMBER
    i: cython.Py_ssize_t
    at: cython.Py_ssize_t = 0  # the pointer, as an index of tally
    next_up: cython.Py_ssize_t
    under: cython.Py_ssize_t = 0  # how many values lie below the pointer
    there: cython.Py_ssize_t = 0
    rank: cython.Py_ssize_t
    p: cython.Py_ssize_t
    v: cython.int
    none: cython.int = -2147483647 - 1
    for i in range(len(values)):
        if i >= width:
            v = values[i - width]
            if v != none:
                p = v - smallest
                tally[p] = tally[p] - 1
                there -= 1
                if p < at:
                    under -= 1
        v = values[i]
        if v != none:
            p = v - smallest
            tally[p] = tally[p] + 1
            there += 1
            if p < at:
                under += 1
        if there < enough or there == 0:
            out[i] = nan
            continue
        rank = (there - 1) // 2
        while under > rank:
            at -= 1
            under -= tally[at]
        while under + tally[at] <= rank:
            under += tally[at]
            at += 1
        if there % 2 == 1 or under + tally[at] > rank + 1:
            out[i] = at + smallest
        else:
            next_up = at + 1
            while tally[next_up] == 0:
                next_up += 1
            out[i] = (at + next_up) / 2.0 + smallest


if not COMPILED:

    def _plain(kernel):
        """Python's own numbers instead of numpy's: quicker one at a time, and they do not overflow."""

        @functools.wraps(kernel)
        def run(*arguments):
            return kernel(*[memoryview(a) if isinstance(a, np.ndarray) else a for a in arguments])

        return run

    survey = _plain(survey)
    lay = _plain(lay)
    stretches = _plain(stretches)
    flow_bins = _plain(flow_bins)
    pressure_bins = _plain(pressure_bins)
    last_in_bins = _plain(last_in_bins)
    commonest_in_bins = _plain(commonest_in_bins)
    extremes = _plain(extremes)
    runs = _plain(runs)
    sliding_means = _plain(sliding_means)
    rolling_max = _plain(rolling_max)
    rolling_median = _plain(rolling_median)
