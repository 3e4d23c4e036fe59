"""The exact recursion of the forecast: compiled where a compiler was found, else plain Python with equal results."""

from __future__ import annotations

try:
    import cython
except ImportError:  # Cython is needed to build, not to run
    from slackwater.reading import interpreted as cython

COMPILED = cython.compiled


WIDE = 16  # slots taken together: they stay in registers while a row's sum is gathered


@cython.cfunc
@cython.exceptval(check=False)
def _row(
    out: cython.p_float,
    runs: cython.p_float,
    width: cython.Py_ssize_t,
    column: cython.p_int,
    weight: cython.p_float,
    count: cython.Py_ssize_t,
    keeps: cython.float,
):
    """out = keeps times the weighted sum of `count` rows of runs; width: a multiple of WIDE."""
    kept: cython.float[16]
    values: cython.p_float
    share: cython.float
    tiny: cython.float = 1e-20
    first: cython.Py_ssize_t
    j: cython.Py_ssize_t
    d: cython.Py_ssize_t
    for first in range(0, width, 16):
        for d in range(16):
            kept[d] = 0.0
        for j in range(count):
            values = runs + column[j] * width + first
            share = weight[j]
            for d in range(16):
                kept[d] = kept[d] + share * values[d]
        for d in range(16):  # so that nothing below 1e-27 is left: it would be slow, and moves nothing
            out[first + d] = (keeps * kept[d] + tiny) - tiny


@cython.cfunc
@cython.exceptval(check=False)
def _sum(values: cython.p_float, n: cython.Py_ssize_t) -> cython.double:
    d: cython.Py_ssize_t
    total: cython.double = 0.0
    for d in range(n):
        total = total + values[d]
    return total


def first_run(
    broken: cython.double[::1],
    runs: cython.float[:, ::1],
    pointer: cython.int[::1],
    column: cython.int[::1],
    weight: cython.double[::1],
    place: cython.int[::1],
    pointer_within: cython.int[::1],
    column_within: cython.int[::1],
    weight_within: cython.float[::1],
    quiet: cython.double[:, ::1],
    which: cython.const[cython.char][::1],
    lasting: cython.Py_ssize_t,
    spare: cython.float[:, ::1],
    work: cython.double[:, ::1],
    done: cython.double[::1],
):
    """Chance that a run of `lasting` quiet blocks first completes in each coming block (`done`, its length steps).

    broken: chance of each state now with no run under way. runs: members x slots (`lasting` or more, a multiple of
    WIDE), chance of a state with the run in slot s, which completes at the end of the block t with
    (t + 1) % lasting == s. Rows of the two sparse matrices say how a state is come to: from any state, and among
    members, which stand at `place`. quiet: kinds of block x states, chance that it keeps the clause; which: kind of
    each coming block. spare: as runs; work: 2 x states.
    `broken` and `runs` are used up. Runs are single precision: a chance is right to about 1e-6.
    """
    n: cython.Py_ssize_t = len(broken)
    members: cython.Py_ssize_t = len(place)
    width: cython.Py_ssize_t = runs.shape[1]
    t: cython.Py_ssize_t
    i: cython.Py_ssize_t
    j: cython.Py_ssize_t
    k: cython.Py_ssize_t
    slot: cython.Py_ssize_t
    kind: cython.Py_ssize_t
    came: cython.double
    total: cython.double
    share: cython.float
    for t in range(len(done)):
        kind = which[t]
        for i in range(n):
            work[0, i] = broken[i]
        for k in range(members):  # and all that is in a run, by state
            if cython.compiled:
                work[0, place[k]] = broken[place[k]] + _sum(cython.address(runs[k, 0]), width)
            else:
                work[0, place[k]] = broken[place[k]] + float(runs[k].sum(dtype="float64"))
        for k in range(members):  # what has no run and comes to where one can begin
            i = place[k]
            came = 0.0
            for j in range(pointer[i], pointer[i + 1]):
                came = came + weight[j] * broken[column[j]]
            work[1, k] = came
        for i in range(n):
            came = 0.0
            for j in range(pointer[i], pointer[i + 1]):
                came = came + weight[j] * work[0, column[j]]
            broken[i] = came * (1.0 - quiet[kind, i])
        # runs go on where the block keeps the clause: all slots of a state alike
        for k in range(members):
            if cython.compiled:
                j = pointer_within[k]
                _row(
                    cython.address(spare[k, 0]),
                    cython.address(runs[0, 0]),
                    width,
                    cython.address(column_within[j]),
                    cython.address(weight_within[j]),
                    pointer_within[k + 1] - j,
                    quiet[kind, place[k]],
                )
            else:
                row = slice(pointer_within[k], pointer_within[k + 1])
                spare[k] = quiet[kind, place[k]] * (weight_within[row] @ runs[column_within[row]])
        slot = t % lasting
        for k in range(members):  # and of those without a run, some begin one
            share = work[1, k] * quiet[kind, place[k]]
            spare[k, slot] = spare[k, slot] + share
        slot = (t + 1) % lasting
        total = 0.0
        for k in range(members):
            total = total + spare[k, slot]
            spare[k, slot] = 0.0
        done[t] = total
        runs, spare = spare, runs
