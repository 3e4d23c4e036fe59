"""What each figure of the pack is, in words: nothing is shown that is not defined here."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files

from slackwater.audit.borne_out import draws_of, fewest_of
from slackwater.audit.charting import GRACE_S
from slackwater.audit.differ import FEWEST
from slackwater.audit.figures import Rules
from slackwater.audit.forecasts import EVERY_MS
from slackwater.audit.handling import APART_MIN
from slackwater.audit.measures import Asked
from slackwater.audit.over_time import BLOCK
from slackwater.audit.statistics.special_cause import SEVEN_FIVE
from slackwater.leak.filter.model import shipped_model
from slackwater.quantities.spans import format_span

NO_TOLERANCE = "Not asked: give a tolerance (--suction-within)."
NO_RISKS = "Not asked: give each drain's risk (--risks)."
EVERYTHING_SHOWN = "Everything is shown: the smallest number was set to 0, for this house alone."


@dataclass(frozen=True)
class Definition:
    key: str
    name: str
    text: str


def definitions(asked: Asked, rules: Rules, risks: str = NO_RISKS) -> tuple[Definition, ...]:
    """With the limits and hours that were asked for, which are the caller's."""
    begin, end = asked.day
    within = asked.suction_within_cmh2o
    words = {
        "day": f"{begin:02d}:00 and {end:02d}:00", "apart": APART_MIN, "grace": GRACE_S // 60, "seed": rules.seed,
        "draws": rules.draws,
        "leaks": "; or ".join(one.told for one in asked.leaks), "block": max(rules.fewest, BLOCK), "risks": risks,
        "rule_set": f"{SEVEN_FIVE.name} ({SEVEN_FIVE.source})",
        "suction": NO_TOLERANCE if within is None else (
            "Share of minutes with an order for suction in which the mean pressure lay within "
            f"{within:g} cmH2O of it. Off or disconnected is outside. Clamped, unrecorded, or a sensor or clock in "
            "doubt: cannot tell."
        ),
        "small": _small(rules), "every": format_span(EVERY_MS / 1000), "forecast_fewest": fewest_of(rules),
        "forecast_draws": draws_of(rules),
        "differ_fewest": max(rules.fewest, FEWEST),
        "horizon": f"{shipped_model().calibration.horizon_h:g} h",
    }  # fmt: skip
    table = tomllib.loads(files("slackwater.audit").joinpath("definitions.toml").read_text("utf-8"))
    return tuple(Definition(key, one["name"], one["text"].format(**words)) for key, one in table.items())


def _small(rules: Rules) -> str:
    if not rules.fewest:
        return EVERYTHING_SHOWN
    return (
        f"A number of drains below {rules.fewest}, and whatever would give it away by subtraction, is kept back; parts "
        "of hours with fewer drains stand together with the next smallest. A point of a chart rests on "
        f"{max(rules.fewest, BLOCK)} drains, or a mean on at least {rules.fewest}; few of them may have the event. "
        "Counts of what is missing are shown. An older pack, or another table of the same patients, may still give a "
        "number away: keep groups the same."
    )
