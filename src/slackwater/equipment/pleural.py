"""What the pleura itself does with air and fluid.

Published rates, for checks and for teaching; no verdict rests on them.
"""

from __future__ import annotations

from slackwater.errors import QuantityError

# Share of the hemithorax resorbed in a day when breathing room air.
# Source: Respiration 1983;44:147-52 for 1.25 % a day (read); 1.25 to 1.8 % as the
# British Thoracic Society quotes it (read second hand).
RESORBED_PERCENT_PER_DAY = (1.25, 1.8)

# Source: Gowing 2015 (read): volume and turnover of fluid in a healthy pleural space.
PLEURAL_FLUID_ML_PER_KG = 0.25
PLEURAL_TURNOVER_ML_PER_KG_H = 0.15


def resorption_days(size_percent: float, percent_per_day: float) -> float:
    """Days until a pneumothorax of so many percent of the hemithorax is resorbed, drain or none. [d]

    Linear, as the sources state it: size / rate. A pneumothorax that is still fed does not follow it.
    Source of the rates: `RESORBED_PERCENT_PER_DAY`.

    >>> resorption_days(15.0, 1.25)
    12.0
    """
    if not (percent_per_day > 0 and 0 <= size_percent <= 100):
        raise QuantityError(
            f"{size_percent:g} % at {percent_per_day:g} % a day does not end",
            mend="Give a size from 0 to 100 % and a rate above 0.",
        )
    return size_percent / percent_per_day


def pleural_fluid_ml(weight_kg: float) -> float:
    """Fluid in a healthy pleural space. [mL]

    0.25 mL/kg. Source: Gowing 2015.

    >>> pleural_fluid_ml(70.0)
    17.5
    """
    return PLEURAL_FLUID_ML_PER_KG * weight_kg


def pleural_turnover_ml_per_day(weight_kg: float) -> float:
    """Fluid that passes through a healthy pleural space in a day. [mL/d]

    0.15 mL/kg/h. Source: Gowing 2015.

    >>> round(pleural_turnover_ml_per_day(70.0), 1)
    252.0
    """
    return PLEURAL_TURNOVER_ML_PER_KG_H * 24 * weight_kg


def differential_pressure_cmh2o(highest_cmh2o: float, lowest_cmh2o: float) -> float:
    """Swing of pleural pressure over a breath or a window, as a positive number. [cmH2O]

    Highest minus lowest; suction is negative. Source: so used in Refai 2012 (read).

    >>> round(differential_pressure_cmh2o(-6.1, -19.5), 1)
    13.4
    """
    return highest_cmh2o - lowest_cmh2o
