"""How the ward charts: what is looked at, how often, how late, and what is left out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Nurse:
    """A style of charting. Hours are the usual distance between entries.

    fluid_first_h: for the first `first_day_h` hours. night_checks: whether the drain is
    looked at between 23 and 6 too. skips: share of entries never made; blanks: share made
    without a value; late: share written down later, by about `late_min` minutes.
    looks_at_cough: share of checks in which a cough is asked for. misreads: share of air and
    cough readings that are wrong.
    """

    fluid_first_h: float = 1.0
    fluid_h: float = 4.0
    first_day_h: float = 8.0
    check_h: float = 4.0
    observe_h: float = 4.0
    night_checks: bool = True
    skips: float = 0.0
    blanks: float = 0.0
    late: float = 0.0
    late_min: float = 90.0
    looks_at_cough: float = 1.0
    misreads: float = 0.0
    xray_each_day: bool = True


DILIGENT = Nurse()
USUAL = Nurse(
    fluid_first_h=2.0,
    fluid_h=6.0,
    check_h=6.0,
    observe_h=6.0,
    night_checks=False,
    skips=0.08,
    blanks=0.03,
    late=0.2,
    looks_at_cough=0.7,
    misreads=0.05,
)
SPARSE = Nurse(
    fluid_first_h=6.0,
    fluid_h=12.0,
    check_h=12.0,
    observe_h=8.0,
    night_checks=False,
    skips=0.25,
    blanks=0.12,
    late=0.5,
    late_min=200.0,
    looks_at_cough=0.3,
    misreads=0.12,
    xray_each_day=False,
)
