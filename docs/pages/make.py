"""Make docs/pages/*.html: the page of five different courses. Every stay is simulated; nobody is a patient.

    python docs/pages/make.py

Which stay, which rule and which moment: the table below. The logs hold a row every 15 s, so that each file stays small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import slackwater
from slackwater.assessment.assessment import Assessment
from slackwater.reading.zones import zone
from slackwater.report.page import page
from slackwater.risk import read_risk_inputs, scores
from slackwater.simulate import Scenario, scenario, simulate
from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import Fault
from slackwater.simulate.fluid import FluidPlan
from slackwater.simulate.nurse import DILIGENT, USUAL
from slackwater.simulate.suction import SuctionStep
from slackwater.simulate.unit_types import SANDBAR

HERE = Path(__file__).resolve().parent
FOREVER = 1e9
QUARTER = replace(SANDBAR, cadence_s=15)  # a row every quarter of a minute, with its largest flow and lowest pressure
RISK = b"""
[patient]
sex = "male"
bmi = 24.5
fev1_percent = 70
dlco_percent = 60
resection = "lobectomy"
side = "right"
lobe = "upper"
adhesions = "no"
"""


@dataclass(frozen=True)
class Example:
    """One page: its stay, the rule that judges it at the end of the record, and what is known for scores."""

    name: str
    stay: Scenario
    rule: str
    seed: int = 1
    risk: bytes = b""


def course(name: str, hours: float, **changes: object) -> Scenario:
    return replace(scenario(name), hours=hours, unit=QUARTER, **changes)  # type: ignore[arg-type]


EXAMPLES = (
    Example(
        "step-down",
        course(
            "demo", 47.0, faults=(),
            course=CoursePlan("healing", 300.0, 45.0, 60.0, effort_lasting_h=46.0, noise=0.16, bend=2.0),
            suction=(SuctionStep(0.0, 18.0, "hPa"), SuctionStep(42.0, 8.0, "hPa")),
        ),
        "air-50-8h", risk=RISK,
    ),
    Example(
        "blocked-overnight",
        course(
            "blocked", 40.0, course=CoursePlan("healing", 180.0, FOREVER, 40.0), nurse=USUAL,
            faults=(Fault("blocked", 32.0, FOREVER),),
        ),
        "air-20-8h",
    ),
    Example("effort-only", course("effort_only", 44.0), "air-50-8h"),
    Example(
        "gaps-and-clock",
        course(
            "healing", 52.0,
            faults=(
                Fault("dropout", 12.0, 14.0), Fault("dropout", 26.0, 29.0, share=0.2),
                Fault("clock_back", 40.0, FOREVER, clock_s=3600.0), Fault("blank", 47.0, 48.0, channel="flow"),
            ),
        ),
        "air-50-8h",
    ),
    Example(
        "waits-on-people",
        course(
            "healing", 66.0, course=CoursePlan("healing", 180.0, 34.0, 40.0),
            nurse=replace(DILIGENT, xray_each_day=False), fluid=FluidPlan(later_ml_per_h=5.0),
        ),
        "strict-local",
    ),
)  # fmt: skip


def judged(example: Example) -> Assessment:
    made = simulate(example.stay, example.seed)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(data, layout, "log.csv") for data in made.logs],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", example.stay.zone),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol(example.rule), zone=example.stay.zone,
    )  # fmt: skip


def html(example: Example) -> str:
    known = scores(read_risk_inputs(example.risk, "risk.toml")) if example.risk else ()
    return page(judged(example), zone(example.stay.zone).rules, scores=known)


def main() -> None:
    for example in EXAMPLES:
        text = html(example)
        (HERE / f"{example.name}.html").write_text(text, "utf-8")
        print(f"{example.name}.html {len(text.encode()) / 1000:.0f} kB")


if __name__ == "__main__":
    main()
