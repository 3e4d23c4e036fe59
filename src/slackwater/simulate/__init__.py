"""An independent witness: invented stays whose truth is known.

It knows nothing of how leaks are detected. Every number without a published source is an
assumption of ours and says so where it stands.
"""

from slackwater.simulate.bundle import write_bundle
from slackwater.simulate.draw import cohort, draw_lobectomy, draw_scenario
from slackwater.simulate.lobectomy import leak_durations_days
from slackwater.simulate.scenario import Exchange, Scenario
from slackwater.simulate.scenarios import scenario, scenario_names
from slackwater.simulate.stay import Stay, simulate
from slackwater.simulate.truth import Truth
from slackwater.simulate.unit_type import UnitType

__all__ = [
    "Exchange",
    "Scenario",
    "Stay",
    "Truth",
    "UnitType",
    "cohort",
    "draw_lobectomy",
    "draw_scenario",
    "leak_durations_days",
    "scenario",
    "scenario_names",
    "simulate",
    "write_bundle",
]
