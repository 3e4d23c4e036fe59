"""The filters' loops: compiled where a compiler was found, else plain Python with equal results.

Only the four operations of arithmetic are used, in a fixed order, so that both give the same bits.
"""

from __future__ import annotations

try:
    import cython
except ImportError:  # Cython is needed to build, not to run
    from slackwater.reading import interpreted as cython

COMPILED = cython.compiled


@cython.cfunc
@cython.exceptval(check=False)
def _power(base: cython.double, fours: cython.int) -> cython.double:
    """base to the power 4 · fours."""
    _: cython.int
    square: cython.double = base * base
    four: cython.double = square * square
    out: cython.double = four
    for _ in range(fours - 1):
        out = out * four
    return out


@cython.cfunc
@cython.exceptval(check=False)
def _minute(
    p: cython.p_double,
    work: cython.p_double,
    conductance: cython.p_double,
    n: cython.Py_ssize_t,
    low: cython.double,
    high: cython.double,
    flow: cython.double,
    drive: cython.double,
    usable: cython.bint,
    how: cython.p_double,
    fours: cython.int,
    widens: cython.int,
):
    """One predict and one update of one drain's size filter, in place.

    work: four times n. p: n chances (cell 0: sealed; n even, at least 4), then
    recent flow, recent drive, last drive, minutes of surprise.
    how: softness, walk, silent, seals, opens, step, keep, burst, surprises (model.py says what each is);
    the sharpness of the error is four times `fours`; after a step of suction the walk is taken `widens` times more.
    """
    i: cython.Py_ssize_t
    softness: cython.double = how[0]
    walk: cython.double = how[1]
    silent: cython.double = how[2]
    seals: cython.double = how[3]
    opens: cython.double = how[4]
    passes: cython.int = 1
    _: cython.int
    up: cython.double
    up_odd: cython.double
    down: cython.double
    down_odd: cython.double
    twice: cython.double
    total: cython.double
    share: cython.double
    above: cython.double
    below: cython.double
    expected: cython.double
    taken: cython.double
    ends: cython.double
    if not usable:
        # Silence is not healing: what is not seen may grow, never shrink, and never seals.
        for i in range(n - 2, 0, -1):
            p[i + 1] = p[i + 1] + silent * p[i]
            p[i] = p[i] - silent * p[i]
        taken = opens * p[0]
        p[0] = p[0] - taken
        p[1] = p[1] + taken
        return
    if p[n + 2] > 0.0 and (drive > how[5] * p[n + 2] or p[n + 2] > how[5] * drive):
        passes = 1 + widens  # a step of suction may open or close a defect
    # Walk over the leaking cells by a two-sided geometric kernel, what falls past an end lumped into it.
    # Sums of columns and products keep a log-concave kernel totally positive: the ground of law M12.
    # up[i] is the sum of walk^(i - j) p[j] over j < i, down[i] the same from above. Each is run as two chains,
    # two cells a step, so that four sums are under way at once.
    ends = 1.0 / (1.0 + walk)
    share = (1.0 - walk) * ends
    twice = walk * walk
    for _ in range(passes):
        for i in range(1, n - 1):
            work[i] = twice * p[i] + walk * p[i + 1]  # what reaches up two cells
            work[n + i] = walk * p[i] + twice * p[i + 1]  # and down, from i + 1
        up = 0.0
        up_odd = walk * p[1]
        down = 0.0
        down_odd = walk * p[n - 1]
        work[2 * n + 1] = up
        work[2 * n + 2] = up_odd
        work[3 * n + n - 1] = down
        work[3 * n + n - 2] = down_odd
        for i in range(1, n - 2, 2):
            up = twice * up + work[i]
            up_odd = twice * up_odd + work[i + 1]
            down = twice * down + work[n + n - 1 - i]
            down_odd = twice * down_odd + work[n + n - 2 - i]
            work[2 * n + i + 2] = up
            work[2 * n + i + 3] = up_odd
            work[3 * n + n - 2 - i] = down
            work[3 * n + n - 3 - i] = down_odd
        above = ends * (p[n - 1] + work[2 * n + n - 1])
        below = ends * (p[1] + work[3 * n + 1])
        for i in range(1, n):
            p[i] = share * (p[i] + work[2 * n + i] + work[3 * n + i])
        p[n - 1] = above
        p[1] = below
    taken = p[0]
    p[0] = taken - opens * taken + seals * p[1]
    p[1] = p[1] - seals * p[1] + opens * taken
    # Update: a logistic error in log(flow + softness), the chance of the whole cell [low, high]:
    # F(high) - F(low) is proportional to E / ((H + E)(L + E)), with E, H, L to the power of the sharpness.
    above = _power((high if high > 0.0 else 0.0) + softness, fours)
    below = _power(low + softness, fours) if low > 0.0 else 0.0  # at or under zero: no lower bound
    total = 0.0
    for i in range(n):
        work[i] = _power(conductance[i] * drive + softness, fours)
    if below > 0.0:
        for i in range(n):
            p[i] = p[i] * (above * work[i] / ((above + work[i]) * (below + work[i])))
    else:
        for i in range(n):
            p[i] = p[i] * (above / (above + work[i]))
    for i in range(n):
        total = total + p[i]
    if total > 1e-290:
        total = 1.0 / total
        for i in range(n):
            p[i] = p[i] * total
    else:  # nothing known explains it: start anew
        for i in range(n):
            p[i] = 1.0 / n
    # Size, where plainly leaking: recent flow over recent drive; a burst counts only so far.
    expected = p[n] / p[n + 1] * drive if p[n + 1] > 0.0 else flow
    taken = how[7] * (expected + softness)
    if passes > 1:
        p[n] = 0.0
        p[n + 1] = 0.0
    if flow > taken or how[7] * flow < expected:
        p[n + 3] = p[n + 3] + 1.0
    else:
        p[n + 3] = 0.0
    if p[n + 3] >= how[8]:  # it was no burst: another level
        p[n] = 0.0
        p[n + 1] = 0.0
        p[n + 3] = 0.0
        taken = flow
    p[n] = how[6] * p[n] + (flow if flow < taken else taken)
    p[n + 1] = how[6] * p[n + 1] + drive
    p[n + 2] = drive


@cython.cfunc
@cython.exceptval(check=False)
def _at_least(
    p: cython.p_double, conductance: cython.p_double, n: cython.Py_ssize_t, wanted: cython.double
) -> cython.double:
    """Chance that the conductance is `wanted` or more; a cell's mass lies evenly between its neighbours' middles."""
    i: cython.Py_ssize_t
    low: cython.double
    high: cython.double
    out: cython.double = 0.0
    if wanted <= 0.0:
        return 1.0
    for i in range(n - 1, 0, -1):
        low = 0.5 * (conductance[i] + conductance[i - 1])
        if low >= wanted:
            out = out + p[i]
            continue
        high = 0.5 * (conductance[i] + conductance[i + 1]) if i < n - 1 else 2.0 * conductance[i] - low
        if high > wanted:
            out = out + p[i] * ((high - wanted) / (high - low))
        break
    return out if out < 1.0 else 1.0


@cython.cfunc
@cython.exceptval(check=False)
def _quantiles(
    p: cython.p_double,
    conductance: cython.p_double,
    n: cython.Py_ssize_t,
    drive: cython.double,
    shares: cython.p_double,
    out: cython.p_double,
):
    """Leak below which each of three ascending shares of the chance lies, by the same cells."""
    i: cython.Py_ssize_t = 0
    k: cython.Py_ssize_t
    low: cython.double
    high: cython.double
    before: cython.double = 0.0
    so_far: cython.double = p[0]
    for k in range(3):
        while so_far < shares[k] and i < n - 1:
            i = i + 1
            before = so_far
            so_far = so_far + p[i]
        if i == 0:
            out[k] = 0.0
            continue
        low = 0.5 * (conductance[i] + conductance[i - 1])
        high = 0.5 * (conductance[i] + conductance[i + 1]) if i < n - 1 else 2.0 * conductance[i] - low
        if so_far > shares[k]:
            high = low + (high - low) * ((shares[k] - before) / (so_far - before))
        out[k] = drive * high


def size_minutes(
    state: cython.double[::1],
    conductance: cython.double[::1],
    how: cython.double[::1],
    fours: cython.int,
    widens: cython.int,
    low: cython.const[cython.double][::1],
    high: cython.const[cython.double][::1],
    flow: cython.const[cython.double][::1],
    drive: cython.const[cython.double][::1],
    usable: cython.const[cython.char][::1],
    limits: cython.const[cython.double][::1],
    shares: cython.double[::1],
    work: cython.double[::1],
    chance: cython.double[:, ::1],
    size: cython.double[:, ::1],
):
    """The size filter over minutes, one after the other; `state` (cells + 4) is left as after the last.

    Fills chance (minutes x limits) and size (minutes x 5: leak at the three `shares`, conductance, chance sealed).
    """
    k: cython.Py_ssize_t
    j: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(conductance)
    if cython.compiled:
        for k in range(len(flow)):
            _minute(
                cython.address(state[0]),
                cython.address(work[0]),
                cython.address(conductance[0]),
                n,
                low[k],
                high[k],
                flow[k],
                drive[k],
                usable[k] != 0,
                cython.address(how[0]),
                fours,
                widens,
            )
            for j in range(len(limits)):
                chance[k, j] = _at_least(
                    cython.address(state[0]), cython.address(conductance[0]), n, limits[j] / drive[k]
                )
            _quantiles(
                cython.address(state[0]),
                cython.address(conductance[0]),
                n,
                drive[k],
                cython.address(shares[0]),
                cython.address(size[k, 0]),
            )
            size[k, 3] = state[n] / state[n + 1] if state[n + 1] > 0.0 else -1.0
            size[k, 4] = state[0]
    else:
        p, g, h, parts, three = state.tolist(), conductance.tolist(), how.tolist(), shares.tolist(), [0.0] * 3
        spare = [0.0] * (4 * n)
        for k in range(len(flow)):
            d = float(drive[k])
            _minute(p, spare, g, n, float(low[k]), float(high[k]), float(flow[k]), d, bool(usable[k]), h, fours, widens)
            for j in range(len(limits)):
                chance[k, j] = _at_least(p, g, n, float(limits[j]) / d)
            _quantiles(p, g, n, d, parts, three)
            size[k, :3] = three
            size[k, 3] = p[n] / p[n + 1] if p[n + 1] > 0.0 else -1.0
            size[k, 4] = p[0]
        state[:] = p


def size_drains(
    states: cython.double[:, ::1],
    conductance: cython.double[::1],
    how: cython.double[::1],
    fours: cython.int,
    widens: cython.int,
    low: cython.const[cython.double][::1],
    high: cython.const[cython.double][::1],
    flow: cython.const[cython.double][::1],
    drive: cython.const[cython.double][::1],
    usable: cython.const[cython.char][::1],
    limits: cython.const[cython.double][::1],
    work: cython.double[::1],
    chance: cython.double[::1],
):
    """One minute of many drains: states (drains x cells + 4) in place, chance of each drain's own limit."""
    k: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(conductance)
    if cython.compiled:
        for k in range(len(flow)):
            _minute(
                cython.address(states[k, 0]),
                cython.address(work[0]),
                cython.address(conductance[0]),
                n,
                low[k],
                high[k],
                flow[k],
                drive[k],
                usable[k] != 0,
                cython.address(how[0]),
                fours,
                widens,
            )
            chance[k] = _at_least(cython.address(states[k, 0]), cython.address(conductance[0]), n, limits[k] / drive[k])
    else:
        g, h = conductance.tolist(), how.tolist()
        spare = [0.0] * (4 * n)
        for k in range(len(flow)):
            p = states[k].tolist()
            d = float(drive[k])
            _minute(p, spare, g, n, float(low[k]), float(high[k]), float(flow[k]), d, bool(usable[k]), h, fours, widens)
            chance[k] = _at_least(p, g, n, float(limits[k]) / d)
            states[k] = p


@cython.cfunc
@cython.exceptval(check=False)
def _block(
    state: cython.p_double,
    work: cython.p_double,
    pointer: cython.p_int,
    column: cython.p_int,
    weight: cython.p_double,
    conductance: cython.p_double,
    bursts: cython.p_double,
    n: cython.Py_ssize_t,
    softness: cython.double,
    stray: cython.double,
    fours: cython.int,
    low: cython.double,
    high: cython.double,
    drive: cython.double,
    burst: cython.int,
) -> cython.double:
    """One predict and one update of the trend filter, in place; returns the chance of what was seen."""
    i: cython.Py_ssize_t
    j: cython.Py_ssize_t
    level: cython.double
    total: cython.double = 0.0
    above: cython.double = _power((high if high > 0.0 else 0.0) + softness, fours)
    below: cython.double = _power(low + softness, fours) if low > 0.0 else 0.0
    for i in range(n):
        level = 0.0
        for j in range(pointer[i], pointer[i + 1]):
            level = level + weight[j] * state[column[j]]
        work[i] = level
    for i in range(n):
        level = _power(conductance[i] * drive + softness, fours)
        if below > 0.0:
            level = above / (above + level) * (level / (below + level)) + stray
        else:
            level = above / (above + level) + stray
        if burst == 1:
            level = level * bursts[i]
        elif burst == 0:
            level = level * (1.0 - bursts[i])
        work[i] = work[i] * level
        total = total + work[i]
    for i in range(n):
        state[i] = work[i] / total
    return total


def trend_blocks(
    state: cython.double[::1],
    pointer: cython.int[::1],
    column: cython.int[::1],
    weight: cython.double[::1],
    conductance: cython.double[::1],
    bursts: cython.double[::1],
    softness: cython.double,
    stray: cython.double,
    fours: cython.int,
    low: cython.const[cython.double][::1],
    high: cython.const[cython.double][::1],
    drive: cython.const[cython.double][::1],
    burst: cython.const[cython.char][::1],
    usable: cython.const[cython.char][::1],
    work: cython.double[::1],
    chance: cython.double[::1],
):
    """The trend filter over blocks of ten minutes: predict by a sparse matrix, update by the whole cell.

    Row i of (pointer, column, weight) holds the chances of coming to state i, by where from. `bursts`: chance of
    a burst in a block, per state; burst is 1 seen, 0 looked for and not seen, -1 could not be seen.
    A block that is not usable changes nothing: no healing is credited to silence. `chance` gets how likely each
    block was (in units that do not depend on the state), 1 where it was not usable.
    """
    k: cython.Py_ssize_t
    n: cython.Py_ssize_t = len(state)
    if cython.compiled:
        for k in range(len(low)):
            chance[k] = 1.0
            if usable[k]:
                chance[k] = _block(
                    cython.address(state[0]),
                    cython.address(work[0]),
                    cython.address(pointer[0]),
                    cython.address(column[0]),
                    cython.address(weight[0]),
                    cython.address(conductance[0]),
                    cython.address(bursts[0]),
                    n,
                    softness,
                    stray,
                    fours,
                    low[k],
                    high[k],
                    drive[k],
                    burst[k],
                )
    else:
        p, spare, lists = (
            state.tolist(),
            [0.0] * n,
            [a.tolist() for a in (pointer, column, weight, conductance, bursts)],
        )
        for k in range(len(low)):
            chance[k] = 1.0
            if usable[k]:
                chance[k] = _block(
                    p,
                    spare,
                    *lists,
                    n,
                    softness,
                    stray,
                    fours,
                    float(low[k]),
                    float(high[k]),
                    float(drive[k]),
                    int(burst[k]),
                )
        state[:] = p
