"""Invented stays as a ward would hand them in: log, chart, episode, rule and course."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from slackwater.assessment.document import stamp
from slackwater.episode.episode import read_episode
from slackwater.protocol.shipped import shipped_bytes, shipped_names
from slackwater.reading.layout import Layout
from slackwater.simulate.draw import draw_scenario
from slackwater.simulate.scenario import Scenario
from slackwater.simulate.stay import simulate
from slackwater.store import Record
from slackwater.store.course_text import read_course
from slackwater.store.take_in import Bundle, GivenLog, take_in

HOURS = 10.0
LEFT_MIN = 50  # the drain is out so long before the log ends: a unit runs on


def hand_in(record: Record, number: int) -> str:
    """Record a stay three times: chart and logs, all again with its course, and again with a corrected weight."""
    whole = bundle(number)
    drain = take_in(record, replace(whole, course=()), by="ward").drain
    take_in(record, whole, by="ward")
    heavier = replace(whole.episode, weight_kg=81.25 + number)
    take_in(record, replace(whole, episode=heavier), by="ward", correct="weighed anew")
    return drain


def bundle(number: int) -> Bundle:
    """Stay `number`: the same one, always."""
    chance = np.random.default_rng([number, 7])
    drawn = draw_scenario(chance)
    scenario = replace(drawn, hours=HOURS, exchange=None, faults=(), suction=drawn.suction[:1])
    stay = simulate(scenario, number)
    layout = Layout.from_toml(stay.layout_toml, "layout.toml")
    told = read_episode(stay.episode_toml.encode(), "episode.toml")
    rules = shipped_names()
    rule = rules[number % len(rules)]
    return Bundle(
        f"stay-{number}",
        replace(told, patient_id=f"Ł-{number:04d}"),
        tuple(GivenLog(f"log-{place}.csv", log, layout) for place, log in enumerate(stay.logs)),
        (("chart.csv", stay.chart_csv.encode()),),
        zone=scenario.zone,
        protocol=(f"{rule}.toml", shipped_bytes(rule)),
        course=read_course("\n".join(_course(scenario, number)).encode(), "course.toml"),
    )


def _course(scenario: Scenario, number: int) -> Iterator[str]:
    start_ms = int(scenario.start.timestamp() * 1000)
    hold = stamp(start_ms + 3_600_000)
    out = stamp(start_ms + int(HOURS * 3_600_000) - LEFT_MIN * 60_000)
    yield f'[stay]\nward = "Süd {number % 3}"\nbed = "b{number}"'
    yield f'[[hold]]\nreason = "awaiting_imaging"\nfrom = "{hold}"\nnote = "naïve \\"quoted\\" 😀"'
    yield f'[[task]]\nwhat = "look at the tube"\ndue = "{hold}"'
    yield f'[[order]]\nkind = "imaging"\nfrom = "{hold}"\nreason = "ask: is it dry?"'
    if number % 2:
        yield f'[removal]\nkind = "planned"\ntime = "{out}"\nremoved_by = "Ø"\ntip_intact = true'
        yield f'[[check]]\nwhat = "chest_xray"\ndue = "{out}"'
