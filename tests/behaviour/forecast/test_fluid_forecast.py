"""When will the fluid clause hold: from what was charted, or not at all."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.episode.fluid.record import FluidInterval, record_of
from slackwater.forecast.fluid import Charted, charted_of, fluid_times, why_withheld

SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


def charted(rate_ml_per_h: float, *, fades_per_h: float = 0.0, hours: int = 36, every: int = 4) -> list[Charted]:
    return [
        Charted(-end - every, -end, every * rate_ml_per_h * float(np.exp(fades_per_h * (end + every / 2))))
        for end in range(0, hours, every)
    ]


# --- withheld -------------------------------------------------------------------------------------


def test_too_few_entries_give_no_forecast() -> None:
    assert why_withheld(charted(10.0)[:2]) == "fewer than 3 amounts of fluid are charted"


def test_entries_without_an_amount_do_not_count() -> None:
    blank = [Charted(one.start_h, one.end_h, None) for one in charted(10.0)]
    assert why_withheld([*charted(10.0)[:2], *blank[2:]]) == "fewer than 3 amounts of fluid are charted"


def test_too_short_a_record_gives_no_forecast() -> None:
    short = [Charted(-3.0 + k, -2.0 + k, 10.0) for k in range(3)]
    assert why_withheld(short) == "fluid is charted over less than 6 h"


def test_enough_gives_one() -> None:
    assert why_withheld(charted(10.0)) is None


# --- what is charted ------------------------------------------------------------------------------


def test_amounts_count_in_hours_before_the_end_of_the_data_and_blanks_stay_blank() -> None:
    hour = 3_600_000
    record = record_of(
        [
            FluidInterval(None, 4 * hour, 0.0, 90.0, "unknown"),
            FluidInterval(4 * hour, 8 * hour, 60.0, 60.0, "known"),
            FluidInterval(8 * hour, 12 * hour, 0.0, np.inf, "blank"),
            FluidInterval(12 * hour, 16 * hour, 50.0, 50.0, "known"),
        ],
        drain="1", source="charted",
    )  # fmt: skip
    assert charted_of(record, 14 * hour) == (Charted(-10.0, -6.0, 60.0), Charted(-6.0, -2.0, None))


# --- coherence (M31) ------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [8.0, 14.0, 22.0, 40.0])
@pytest.mark.parametrize("limit", [300.0, 450.0])
def test_m31_chances_never_fall_and_quantiles_never_cross(rate: float, limit: float) -> None:
    times = fluid_times(charted(rate, fades_per_h=0.02), limit, 24.0)
    assert (np.diff(times.chance) >= 0).all()
    assert 0.0 <= times.chance[0] <= times.chance[-1] <= 1.0
    quantiles = [np.inf if (q := times.quantile(share)) is None else q for share in SHARES]
    assert quantiles == sorted(quantiles)


@pytest.mark.parametrize(("rate", "fades"), [(14.0, 0.02), (14.0, 0.05), (20.0, 0.05), (30.0, 0.08)])
def test_a_falling_rate_meets_the_limit_sooner_than_a_flat_one(rate: float, fades: float) -> None:
    """Alike in what drained over the last 24 h, so that only the fall tells them apart."""
    falling = charted(rate, fades_per_h=fades)
    flat = charted(sum(one.ml or 0.0 for one in falling[:6]) / 24.0)
    sooner, later = (fluid_times(one, 300.0, 24.0) for one in (falling, flat))
    assert all(sooner.by(hours * 60.0) >= later.by(hours * 60.0) for hours in (12, 24, 36, 48))
    assert sooner.by(48 * 60.0) > later.by(48 * 60.0) + 0.05


@pytest.mark.parametrize("rate", [16.0, 22.0, 35.0])
def test_m31_more_fluid_charted_never_hastens_the_forecast(rate: float) -> None:
    """More in the last 24 h, the past before it alike."""
    entries = charted(rate)
    for hours in (12, 24, 48):
        chances = [
            fluid_times(
                [Charted(e.start_h, e.end_h, (e.ml or 0.0) * (more if e.start_h >= -24 else 1.0)) for e in entries],
                300.0, 24.0,
            ).by(hours * 60.0)
            for more in (1.0, 1.2, 1.5)
        ]  # fmt: skip
        assert chances == sorted(chances, reverse=True)


@pytest.mark.parametrize("rate", [16.0, 22.0, 35.0])
def test_m31_more_fluid_long_ago_alone_hastens_the_forecast_little(rate: float) -> None:
    """A steeper past may promise a fall; the stated tolerance: half as much again more than a day ago moves the chance
    of any hour by at most 0.2, since the fall is damped and old entries count little."""
    base = charted(rate, hours=48)
    lifted = [Charted(e.start_h, e.end_h, (e.ml or 0.0) * (1.5 if e.end_h <= -24 else 1.0)) for e in base]
    first, second = (fluid_times(one, 300.0, 24.0) for one in (base, lifted))
    assert max(second.by(h * 60.0) - first.by(h * 60.0) for h in range(1, 49)) <= 0.2


def test_a_higher_limit_is_met_no_later() -> None:
    entries = charted(22.0)
    for hours in (6, 12, 24, 48):
        assert fluid_times(entries, 450.0, 24.0).by(hours * 60.0) >= fluid_times(entries, 300.0, 24.0).by(hours * 60.0)


# --- against arithmetic, and against the rule -----------------------------------------------------


def test_a_rate_that_falls_as_charted_meets_the_limit_no_sooner_than_arithmetic_says() -> None:
    """20 mL/h now, halving in 14 h: over (t - 24, t] the total is 20 / 0.05 · e^(-0.05 t) · (e^1.2 - 1). By hand.
    A fall is not trusted to go on for ever, so the middle lies later, by up to half a day."""
    times = fluid_times(charted(20.0, fades_per_h=0.05, hours=48), 300.0, 24.0)
    due_h = np.log(20.0 / 0.05 * (np.exp(1.2) - 1) / 300.0) / 0.05
    median = times.quantile(0.5)
    assert median is not None
    assert due_h <= median / 60.0 <= due_h + 12.0


@pytest.mark.parametrize("every", [2, 4, 6, 12])
def test_it_can_only_hold_with_an_entry_at_this_stays_pace(every: int) -> None:
    times = fluid_times(charted(2.0, every=every, hours=48), 300.0, 24.0)
    assert times.by(every * 60.0 - 1.0) == 0.0
    assert times.by(every * 60.0) > 0.8


def test_an_entry_long_due_is_awaited_at_the_next_time() -> None:
    late = [Charted(one.start_h - 5.0, one.end_h - 5.0, one.ml) for one in charted(2.0)]
    times = fluid_times(late, 300.0, 24.0)
    assert times.by(2.9 * 60.0) == 0.0
    assert times.by(3.0 * 60.0) > 0.8


def test_an_amount_left_blank_is_waited_out() -> None:
    """A window with an unknown amount in it can show no total, however little drains: missing is never zero."""
    entries = charted(2.0)
    entries[1] = Charted(entries[1].start_h, entries[1].end_h, None)
    times = fluid_times(entries, 300.0, 24.0)
    assert times.by(19.9 * 60.0) == 0.0
    assert times.by(20.0 * 60.0) > 0.4


def test_the_window_must_lie_after_the_connection() -> None:
    times = fluid_times(charted(2.0, hours=12), 300.0, 24.0)
    assert times.by(11.9 * 60.0) == 0.0
    assert times.by(12.0 * 60.0) > 0.7


def test_where_entries_are_often_missed_it_comes_later() -> None:
    steady = charted(2.0, hours=48)
    gaps = [one for k, one in enumerate(steady) if k % 3 != 1]
    gaps = [
        Charted(gaps[k + 1].end_h if k + 1 < len(gaps) else one.start_h, one.end_h, 8.0) for k, one in enumerate(gaps)
    ]
    assert fluid_times(gaps, 300.0, 24.0).by(4 * 60.0) < fluid_times(steady, 300.0, 24.0).by(4 * 60.0) - 0.1
