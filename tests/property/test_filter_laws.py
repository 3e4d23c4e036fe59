"""Laws of the leak filter for any data, at the level of minutes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.leak.filter.grid import chance_at_least, first_state
from slackwater.leak.filter.model import shipped_model
from slackwater.leak.filter.run import Live, Seen, run_filter
from slackwater.leak.filter.trend import SEALED, chain

LIMITS = (1.0, 20.0, 55.0, 300.0)
SIZE = shipped_model().size


@st.composite
def minutes_seen(draw: st.DrawFn, longest: int = 60) -> Seen:
    """Printed flows in whole steps, suction that may step, minutes that may be unusable."""
    n = draw(st.integers(2, longest))
    step = draw(st.sampled_from((1.0, 5.0, 20.0, 100.0)))
    counts = draw(st.lists(st.integers(0, 60), min_size=n, max_size=n))
    flow = np.array(counts) * step
    suction = draw(st.lists(st.sampled_from((1.5, 8.0, 8.1, 20.0)), min_size=n, max_size=n))
    usable = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n))) | (np.arange(n) < 2)
    bursts = np.full(n, -1, dtype=np.int8)
    return Seen(flow, np.maximum(flow - step / 2, 0.0), flow + step / 2, np.array(suction), usable, bursts)


def raised(given_: Seen, by: np.ndarray) -> Seen:
    return replace(given_, flow=given_.flow + by, low=given_.low + by, high=given_.high + by)


@settings(max_examples=150, deadline=None)
@given(minutes_seen(), st.data())
def test_m12_more_flow_never_makes_a_smaller_leak_likelier(seen: Seen, data: st.DataObject) -> None:
    """With the mask and the suction held fixed, at every minute and for every limit; and never sealed likelier."""
    more = st.lists(st.sampled_from((0.0, 0.0, 0.0, 5.0, 40.0)), min_size=len(seen), max_size=len(seen))
    by = np.array(data.draw(more))
    before, after = run_filter(seen, LIMITS), run_filter(raised(seen, by), LIMITS)
    told = seen.usable
    assert (after.p_at_least[told] >= before.p_at_least[told] - 1e-9).all()
    assert (after.p_sealed[told] <= before.p_sealed[told] + 1e-9).all()
    for low, high in ((before.low_ml_per_min, after.low_ml_per_min), (before.mid_ml_per_min, after.mid_ml_per_min)):
        assert (high[told] >= low[told] - 1e-6 * (1.0 + np.abs(low[told]))).all()


@settings(max_examples=60, deadline=None)
@given(minutes_seen(), st.integers(1, 600))
def test_m13_silence_is_not_healing(seen: Seen, silent_min: int) -> None:
    """However long nothing is seen, no limit becomes less likely to be reached, nor sealed more likely."""
    n = len(seen)
    off = np.zeros(silent_min, dtype=np.bool_)
    nothing = np.full(silent_min, np.nan)
    longer = Seen(
        *(np.concatenate((getattr(seen, name), nothing)) for name in ("flow", "low", "high", "drive_cmh2o")),
        np.concatenate((seen.usable, off)), np.concatenate((seen.burst, np.full(silent_min, -1, dtype=np.int8))),
    )  # fmt: skip
    before, after = run_filter(seen, LIMITS), run_filter(longer, LIMITS)
    assert np.isnan(after.p_at_least[n:]).all()
    for limit in LIMITS:
        was = chance_at_least(before.size_state, SIZE, limit, 20.0)
        assert chance_at_least(after.size_state, SIZE, limit, 20.0) >= was - 1e-12
    assert after.size_state[0] <= before.size_state[0]
    links = chain(before.trend_model)
    whole = len(seen) // 10
    if n % 10 == 0:  # a block that silence fills only in part may still speak for its usable part
        sealed = links.kind == SEALED
        assert after.trend_state[sealed].sum() <= before.trend_state[sealed].sum() + 1e-12
        assert whole == len(before.block_chance)


@settings(max_examples=60, deadline=None)
@given(minutes_seen())
def test_m26_any_prefix_is_what_was_known_then(seen: Seen) -> None:
    whole = run_filter(seen, LIMITS)
    part = run_filter(seen.until(len(seen) // 2), LIMITS)
    half = len(seen) // 2
    assert np.array_equal(whole.p_at_least[:half], part.p_at_least, equal_nan=True)
    assert np.array_equal(whole.conductance[:half], part.conductance, equal_nan=True)


@settings(max_examples=40, deadline=None)
@given(minutes_seen())
def test_m8_live_is_batch_bit_for_bit(seen: Seen) -> None:
    batch = run_filter(seen, (20.0,))
    live = Live(1)
    for k in range(len(seen)):
        ok = bool(seen.usable[k])
        given_now = [np.array([value]) for value in (
            (seen.low[k], seen.high[k], seen.flow[k], seen.drive_cmh2o[k]) if ok else (0.0, 0.0, 0.0, 1.0)
        )]  # fmt: skip
        chance = live.minute(*given_now, np.array([ok], dtype=np.int8), np.array([20.0]))
        assert np.array_equal(chance, batch.p_at_least[k], equal_nan=True)
    assert np.array_equal(live.states[0], batch.size_state)


@settings(max_examples=60, deadline=None)
@given(minutes_seen())
def test_chances_are_chances_and_quantiles_never_cross(seen: Seen) -> None:
    found = run_filter(seen, LIMITS)
    told = seen.usable
    chance = found.p_at_least[told]
    assert ((chance >= 0) & (chance <= 1)).all()
    assert (np.diff(chance, axis=1) <= 1e-12).all()  # a higher limit is never likelier reached
    assert (found.low_ml_per_min[told] <= found.mid_ml_per_min[told]).all()
    assert (found.mid_ml_per_min[told] <= found.high_ml_per_min[told]).all()
    assert found.size_state[: SIZE.cells].sum() - 1 < 1e-9
    assert abs(found.trend_state.sum() - 1) < 1e-9


def test_m32_before_anything_was_seen_the_state_is_the_documented_start() -> None:
    unknown, unseen = np.full(90, np.nan), np.full(90, -1, dtype=np.int8)
    nothing = Seen(unknown, unknown, unknown, unknown, np.zeros(90, dtype=np.bool_), unseen)
    found = run_filter(nothing, LIMITS)
    assert np.array_equal(found.trend_state, chain(shipped_model().trend).first)
    assert found.size_state[0] <= first_state(SIZE)[0]
    assert np.isnan(found.p_at_least).all()
