"""One invented drain as it is told: three hours of minutes with a gap, a rule, a chart with names in odd places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from behaviour.store.a_drain import LAYOUT, ROWS, RULE, START_MS, chart_text, episode, log_rows, log_text, row
from end_to_end.a_stay import stay
from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.export.bundle import bundle, bundle_json
from slackwater.export.material import Material, Removal, of_files
from slackwater.protocol.load import load_protocol
from slackwater.protocol.shipped import shipped
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log

GAP = range(60, 90)  # minutes of which the log has no row
KEY = bytes(range(16))
ZONE = "Europe/Vienna"
MADE_MS = START_MS + 200 * 60_000
# Invented canaries, one for each place that a person can type into (tgt-P1): none may leave without --identified.
CANARIES = ("Zwirnbach", "Quendel-77", "SN-CANARY-9", "0664-555-0199", "ward Krähenfeld", "nurse Ödön", "=cmd|'x'!A1")
NAMED_ROWS = (
    *ROWS,
    row(5, "suction_ordered", "-10", "cmH2O", note="for Zwirnbach 0664-555-0199", by="nurse Ödön"),
    row(40, "note", "=cmd|'x'!A1", by="nurse Ödön"),
    row(41, "site", "ward Krähenfeld"),
    row(42, "Quendel-77", "1"),
    row(130, "cough", "no_leak", note="Zwirnbach coughed"),
)


def rows(gap: range = GAP, serial: str = "SN-CANARY-9", leak: int = 0) -> list[str]:
    return [one for minute, one in enumerate(log_rows(serial=serial, leak=leak), start=1) if minute not in gap]


def found(
    log: Sequence[str] | None = None, chart: Sequence[str] = NAMED_ROWS, rule: bytes | None = RULE, **told: Any
) -> Assessment:
    """The drain, judged. `told`: of its episode."""
    said: Mapping[str, Any] = {
        "patient": "Zwirnbach",
        "site": "ward Krähenfeld",
        "age_years": 93,
        "goal": "Zwirnbach",
        **told,
    }
    lines = rows() if log is None else log
    return assess(
        [read_log(log_text(lines), LAYOUT, "Zwirnbach.csv", 0.05)] if lines else [],
        chart=read_chart(chart_text(chart), "Zwirnbach-chart.csv"), episode=episode(**said),
        protocol=None if rule is None else load_protocol(rule, "small-50.toml"),
    )  # fmt: skip


@cache
def material() -> Material:
    """The drain with its removal."""
    of = of_files(found())
    return Material(of.found, of.patient, of.drain, Removal("planned", of.found.as_of_ms, "nurse Ödön"))


@cache
def simulated(name: str, rule: str = "air-50-8h", hours: float = 30.0) -> Material:
    """A simulated stay, cut."""
    made = stay(name, hours)
    layout = Layout.from_toml(made.layout_toml, "layout.toml")
    logs = [read_log(data, layout, f"log-{n}.csv", 0.05) for n, data in enumerate(made.logs)]
    return of_files(
        assess(
            logs, chart=read_chart(made.chart_csv.encode(), "chart.csv"),
            episode=read_episode(made.episode_toml.encode(), "episode.toml"), protocol=shipped(rule), zone=ZONE,
        )
    )  # fmt: skip


def drain(name: str) -> Material:
    """`small`, the drain above; or a simulated stay."""
    return material() if name == "small" else simulated(name)


@cache
def told(of: Material | None = None) -> dict[str, Any]:
    return bundle(of or material(), MADE_MS)


def text(of: Material) -> str:
    return bundle_json(bundle(of, MADE_MS)).decode()


def of_type(made: Mapping[str, Any], kind: str) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in made["entry"] if entry["resource"]["resourceType"] == kind]


def observation(made: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The Observation that our own code names."""
    (one,) = [
        resource
        for resource in of_type(made, "Observation")
        if name in [coding["code"] for coding in resource["code"]["coding"]]
    ]
    return one
