"""What flow costs in a tube, and what fluid in a tube does to pressure.

These are models of a smooth, straight, round tube; drains have side holes, bends and joints, and how far
the laminar law holds in chest tubes is disputed (scoping review, doi 10.22024/UniKent/03/ajpp.1293). At the
flows at which a rule on air is met a tube costs next to nothing, so a real pressure gap along it means fluid
or a blockage.
"""

from __future__ import annotations

import math

# Air at 37 °C and about 1013 hPa. Source: derived from standard tables of dry air, from memory.
AIR_VISCOSITY_PA_S = 1.85e-5
AIR_DENSITY_KG_PER_M3 = 1.15

# Below 2000 a flow stays laminar, above 3000 it is turbulent; between them it may be either.
# Source: anaesthesia physics notes (read); other books say 2300 and 4000 (from memory).
LAMINAR_BELOW_REYNOLDS = 2000.0
TURBULENT_ABOVE_REYNOLDS = 3000.0

_M3_PER_S_PER_ML_PER_MIN = 1e-6 / 60


def mean_speed_m_per_s(flow_ml_per_min: float, bore_mm: float) -> float:
    """Mean speed of a flow through a round bore. [m/s]

    v = Q / (π·r²).

    >>> round(mean_speed_m_per_s(50.0, 6.0), 4)
    0.0295
    """
    radius_m = bore_mm / 2000
    return flow_ml_per_min * _M3_PER_S_PER_ML_PER_MIN / (math.pi * radius_m**2)


def reynolds_number(
    flow_ml_per_min: float,
    bore_mm: float,
    *,
    density_kg_per_m3: float = AIR_DENSITY_KG_PER_M3,
    viscosity_pa_s: float = AIR_VISCOSITY_PA_S,
) -> float:
    """Reynolds number of a flow through a round bore. [1]

    Re = ρ·v·d / μ. Source: textbook definition.
    Check: 50 mL/min of air in 6 mm gives about 11; 16 L/min in 5.3 mm about 3980 (both derived).

    >>> round(reynolds_number(50.0, 6.0))
    11
    """
    speed = mean_speed_m_per_s(flow_ml_per_min, bore_mm)
    return density_kg_per_m3 * speed * bore_mm / 1000 / viscosity_pa_s


def laminar_loss_pa(
    flow_ml_per_min: float, bore_mm: float, length_m: float, *, viscosity_pa_s: float = AIR_VISCOSITY_PA_S
) -> float:
    """Pressure lost along a smooth round tube in laminar flow. [Pa]

    Δp = 8·μ·L·Q / (π·r⁴), below Reynolds numbers of about 2000 and away from the tube's entry.
    Source: Sutera and Skalak, Annu. Rev. Fluid Mech. 25 (1993) 1.
    Check: 50 mL/min of air through 2 m of 6 mm costs about 0.97 Pa, a hundredth of a cmH2O (derived).

    >>> round(laminar_loss_pa(50.0, 6.0, 2.0), 2)
    0.97
    """
    radius_m = bore_mm / 2000
    flow_m3_per_s = flow_ml_per_min * _M3_PER_S_PER_ML_PER_MIN
    return 8 * viscosity_pa_s * length_m * flow_m3_per_s / (math.pi * radius_m**4)


def laminar_flow_ml_per_min(
    loss_pa: float, bore_mm: float, length_m: float, *, viscosity_pa_s: float = AIR_VISCOSITY_PA_S
) -> float:
    """Laminar flow that a pressure difference drives through a smooth round tube. [mL/min]

    The law of `laminar_loss_pa` solved for the flow: twice the radius, sixteen times the flow.

    >>> round(laminar_flow_ml_per_min(laminar_loss_pa(50.0, 6.0, 2.0), 6.0, 2.0), 9)
    50.0
    """
    return loss_pa / laminar_loss_pa(1.0, bore_mm, length_m, viscosity_pa_s=viscosity_pa_s)


def turbulent_flow_ml_per_min(
    loss_pa: float,
    bore_mm: float,
    length_m: float,
    friction_factor: float,
    *,
    density_kg_per_m3: float = AIR_DENSITY_KG_PER_M3,
) -> float:
    """Turbulent flow through a round tube at a given Fanning friction factor. [mL/min]

    Δp = 4·f·(L/d)·ρ·v²/2, so Q = π·r²·sqrt(Δp·d / (2·f·L·ρ)): at fixed f, twice the radius gives 2^2.5
    times the flow, and twice the pressure 2^0.5 times. Source: Fanning's equation, anaesthesia physics notes
    (read); the factor itself depends on Reynolds number and roughness and has to be given.

    >>> at_once, at_twice = (turbulent_flow_ml_per_min(loss, 10.0, 2.0, 0.01) for loss in (500.0, 1000.0))
    >>> round(at_twice / at_once, 3)
    1.414
    """
    bore_m = bore_mm / 1000
    speed = math.sqrt(loss_pa * bore_m / (2 * friction_factor * length_m * density_kg_per_m3))
    return math.pi * (bore_m / 2) ** 2 * speed / _M3_PER_S_PER_ML_PER_MIN


def fluid_column_cmh2o(height_cm: float) -> float:
    """Pressure of a column of drained fluid in the tube, taken as water. [cmH2O]

    One centimetre of height is one centimetre of water, by the unit's definition; blood is about 5 % heavier
    (from memory). A loop filled so far opposes the suction by this much; a column that falls towards the
    unit adds to it. Source: derived.

    >>> fluid_column_cmh2o(25.0)
    25.0
    """
    return height_cm


def through_loop_cmh2o(level_cmh2o: float, standing_cm: float) -> float:
    """What reaches the patient's end through a loop in which fluid stands higher by `standing_cm` on the way to the
    unit, suction negative. [cmH2O]

    A negative `standing_cm`, fluid that falls away towards the unit, adds to the suction (a siphon). A column as high
    as the suction lets none through, a higher one would press. Source: derived from `fluid_column_cmh2o`; that a loop
    with fluid raises the pressure at the patient's end was measured by Schmelz, Am J Crit Care 1999;8:319 (read).

    >>> through_loop_cmh2o(-20.0, 12.0), through_loop_cmh2o(-20.0, -10.0)
    (-8.0, -30.0)
    """
    return level_cmh2o + fluid_column_cmh2o(standing_cm)


def standing_column_cm(gap_cmh2o: float) -> float:
    """How high fluid must stand in a loop to explain such a gap; negative: fall away towards the unit. [cm]

    >>> standing_column_cm(12.0)
    12.0
    """
    return gap_cmh2o / fluid_column_cmh2o(1.0)


def short_of(level_cmh2o: float, delivered_cmh2o: float) -> float:
    """By which share of the level too little suction arrives; below zero: too much. [1]

    Check: -16.9 of -20 is 15.5 % short, the largest error that Baumann saw (Chest 2003;123:1878-86, read).

    >>> round(100 * short_of(-20.0, -16.9), 1)
    15.5
    """
    return 1.0 - delivered_cmh2o / level_cmh2o


def drained_air_ml(flow_ml_per_min: float, hours: float) -> float:
    """Air that a steady flow carries off in so many hours. [mL]

    Below a limit is not 'nothing': 20 mL/min for 8 h are 9.6 L. Source: arithmetic.

    >>> drained_air_ml(20.0, 8.0)
    9600.0
    """
    return flow_ml_per_min * 60 * hours
