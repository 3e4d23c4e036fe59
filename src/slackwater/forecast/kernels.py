"""The exact recursion of the forecast: compiled where a compiler was found, else plain Python with equal results."""

from __future__ import annotations

try:
    import cython
except ImportError:  # Cython is needed to build, not to run
    from slackwater.reading import interpreted as cython

COMPILED = cython.compiled


@cython.cfunc
@cython.exceptval(check=False)
def _steps(
    alive: cython.p_double,
    broken: cython.p_double,
    first: cython.p_double,
    pointer: cython.p_int,
    column: cython.p_int,
    weight: cython.p_double,
    quiet: cython.p_double,
    place: cython.p_int,
    n: cython.Py_ssize_t,
    members: cython.Py_ssize_t,
    rest: cython.p_double,
    lasting: cython.Py_ssize_t,
    left: cython.Py_ssize_t,
    steps: cython.Py_ssize_t,
    arrivals: cython.p_double,
    moved: cython.p_double,
    done: cython.p_double,
):
    t: cython.Py_ssize_t
    i: cython.Py_ssize_t
    j: cython.Py_ssize_t
    k: cython.Py_ssize_t
    slot: cython.Py_ssize_t
    sum: cython.double
    other: cython.double
    total: cython.double
    for t in range(steps):
        slot = (t % lasting) * members
        # one block on: the living, and of the broken those that now begin a run
        for i in range(n):
            sum = 0.0
            for j in range(pointer[i], pointer[i + 1]):
                sum = sum + weight[j] * alive[column[j]]
            moved[i] = sum
        for k in range(members):
            i = place[k]
            other = 0.0
            for j in range(pointer[i], pointer[i + 1]):
                other = other + weight[j] * broken[column[j]]
            arrivals[slot + k] = other * quiet[i]
        for i in range(n):
            broken[i] = moved[i] * (1.0 - quiet[i])
            alive[i] = moved[i]
        total = 0.0
        # the run already under way when the forecast was made
        if t < left:
            for k in range(members):
                i = place[k]
                other = 0.0
                for j in range(pointer[i], pointer[i + 1]):
                    other = other + weight[j] * first[column[j]]
                moved[k] = other * quiet[i]
            for i in range(n):
                first[i] = 0.0
            for k in range(members):
                first[place[k]] = moved[k]
            if t == left - 1:
                for k in range(members):
                    total = total + moved[k]
                    alive[place[k]] = alive[place[k]] - moved[k]
                for i in range(n):
                    first[i] = 0.0
        # runs that began `lasting` - 1 blocks ago and have lasted complete now
        if t >= lasting - 1:
            slot = ((t + 1) % lasting) * members
            for j in range(members):
                moved[j] = 0.0
            for k in range(members):
                other = arrivals[slot + k]
                if other > 1e-15:
                    for j in range(members):
                        moved[j] = moved[j] + other * rest[k * members + j]
            for k in range(members):
                total = total + moved[k]
                other = alive[place[k]] - moved[k]
                alive[place[k]] = other if other > 0.0 else 0.0
        done[t] = total


def first_run(
    alive: cython.double[::1],
    broken: cython.double[::1],
    first: cython.double[::1],
    pointer: cython.int[::1],
    column: cython.int[::1],
    weight: cython.double[::1],
    quiet: cython.double[::1],
    place: cython.int[::1],
    rest: cython.double[::1],
    lasting: cython.Py_ssize_t,
    left: cython.Py_ssize_t,
    arrivals: cython.double[::1],
    moved: cython.double[::1],
    done: cython.double[::1],
):
    """Chance that a run of `lasting` quiet blocks first completes in each coming block (`done`, its length steps).

    alive: chance of each state now, no run completed; broken: the part whose last block broke the clause;
    first: the part in the run under way, which lacks `left` blocks (0: no run). Rows of the sparse matrix say
    how a state is come to. quiet: chance that a block in a state keeps the clause; place: states where that is
    above zero; rest: (quiet sub-chain) to the power lasting - 1, members x members, by row.
    The exact law: m' = m Q + e' - e(t - lasting + 1) Q^(lasting - 1).
    """
    if cython.compiled:
        _steps(
            cython.address(alive[0]),
            cython.address(broken[0]),
            cython.address(first[0]),
            cython.address(pointer[0]),
            cython.address(column[0]),
            cython.address(weight[0]),
            cython.address(quiet[0]),
            cython.address(place[0]),
            len(alive),
            len(place),
            cython.address(rest[0]),
            lasting,
            left,
            len(done),
            cython.address(arrivals[0]),
            cython.address(moved[0]),
            cython.address(done[0]),
        )
    else:
        lists = [a.tolist() for a in (alive, broken, first, pointer, column, weight, quiet, place)]
        filled = done.tolist()
        _steps(
            *lists,
            len(alive),
            len(place),
            rest.tolist(),
            lasting,
            left,
            len(done),
            arrivals.tolist(),
            moved.tolist(),
            filled,
        )
        done[:] = filled
