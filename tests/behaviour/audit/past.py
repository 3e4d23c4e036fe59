"""Past drains for the tests of the audit room: simulated, all invented."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.audit.case import About, Case, Outcome, case_of
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.protocol.shipped import shipped_bytes
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log
from slackwater.simulate import scenario, simulate

HOUR_MS = 3_600_000
HOURS = 30.0


@cache
def judged(name: str, seed: int = 3, earlier_h: float | None = 0.0, hours: float = HOURS) -> Assessment:
    """A scenario cut to so many hours. earlier_h: connected, it is said, so long before the log; None: not said."""
    plan = scenario(name)
    made = simulate(replace(plan, hours=hours, faults=tuple(f for f in plan.faults if f.start_s < 3600 * hours)), seed)
    layout = Layout.from_toml(made.layout_toml, "layout.toml")
    logs = [read_log(data, layout, f"log-{n}.csv", 0.05) for n, data in enumerate(made.logs)]
    episode = read_episode(made.episode_toml.encode(), "episode.toml")
    assert episode.connected_at is not None
    at = None if earlier_h is None else episode.connected_at - round(earlier_h * HOUR_MS)
    return assess(
        logs, chart=read_chart(made.chart_csv.encode(), "chart.csv"), episode=replace(episode, connected_at=at)
    )


def a_case(
    name: str, seed: int = 3, earlier_h: float | None = 0.0, out_h: float | None = None, hours: float = HOURS
) -> Case:
    """out_h: taken out as planned so long before the end of the log; None: not known to be out."""
    found = judged(name, seed, earlier_h, hours)
    out = None if out_h is None else found.as_of_ms - round(out_h * HOUR_MS)
    return case_of(found, About("d-1", "p-1"), Outcome(out, None if out is None else "planned"))


def healed(out_h: float | None = None) -> Case:
    """A drain in which the air clause of air-50-8h has held for some hours when the log ends."""
    return a_case("healing", out_h=out_h, hours=60.0)


def rule(name: str) -> Protocol:
    return load_protocol(shipped_bytes(name), f"{name}.toml")
