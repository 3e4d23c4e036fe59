"""A stay assessed and forecast, for tests of the whole; small: a row every ten seconds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import slackwater
from slackwater.assessment.assessment import Assessment
from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.forecast.fluid import Charted, charted_of
from slackwater.forecast.whole import Forecast, forecast
from slackwater.leak.filter.run import Filtered, Seen, run_filter, seen
from slackwater.leak.words import NO_REASON
from slackwater.simulate import scenario, simulate
from slackwater.simulate.unit_types import SANDBAR


@dataclass(frozen=True, eq=False)
class Judged:
    """An assessment with what the forecast is made from."""

    assessment: Assessment
    given: Seen
    filtered: Filtered
    fluid: tuple[Charted, ...]

    def forecast(self, **more: str) -> Forecast:
        assert self.assessment.evaluation is not None
        return forecast(
            self.assessment.evaluation, self.assessment.facts, self.given, self.filtered, fluid=self.fluid, **more
        )


@cache
def judged(name: str, rule: str, hours: float = 30.0, seed: int = 7) -> Judged:
    made = simulate(replace(scenario(name), unit=SANDBAR, hours=hours), seed)
    log = slackwater.read_log(made.logs[0], slackwater.Layout.from_toml(made.layout_toml, "layout.toml"), "log.csv")
    chart = slackwater.read_chart(made.chart_csv.encode(), "chart.csv", None)
    episode = slackwater.read_episode(made.episode_toml.encode(), "episode.toml")
    found = slackwater.assess([log], chart=chart, episode=episode, protocol=slackwater.shipped_protocol(rule))
    leak = found.leak_trace
    assert leak is not None and found.data_until_ms is not None
    step = log.flow_step_ul_per_min / 1000
    given = seen(leak.minutes, leak.doubt.reason == NO_REASON, step, bursts_visible=leak.found.visible)
    filtered = run_filter(given, (leak.limit_ml_per_min,), operation=episode.operation_kind)
    record = fluid_intervals(chart, episode.drain_number, episode.connected_at, ("1",))
    return Judged(found, given, filtered, charted_of(record, found.data_until_ms))
