"""Simulated patients, what leaves of them, and an attacker who knows something of each: whom is found alone?

The attack: admission year, age band of ten years, procedure and length of stay, all known exactly. Durations of leaks:
slackwater.simulate.lobectomy (sources there); all else of these patients is invented: ages, procedures, when the
theatre ends, and that a drain comes out by day, a lognormal while after its leak ended.
"""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars

from behaviour.export.given_out import collected, stay_of
from behaviour.store.a_drain import LAYOUT, RULE, chart_text, log_text, ms, row, stamp
from slackwater.assessment.assess import assess
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import OPERATIONS, read_episode
from slackwater.export.material import Material, Removal, of_files
from slackwater.protocol.load import load_protocol
from slackwater.reading.read import read_log
from slackwater.simulate import leak_durations_days

DAY_MIN = 1440
YEARS = 5
SHARES = {
    "lobectomy": 0.45, "wedge": 0.25, "segmentectomy": 0.1, "decortication": 0.04, "bulla": 0.04, "bilobectomy": 0.03,
    "vats_other": 0.03, "sleeve": 0.02, "volume_reduction": 0.02, "thoracotomy_other": 0.02,
}  # fmt: skip


@dataclass(frozen=True)
class Person:
    """One simulated patient. Minutes: from the beginning of the first year; `stay_min`: connection to removal."""

    number: int
    year: int
    age: int
    procedure: str
    connected_min: int
    stay_min: int

    @property
    def known(self) -> tuple[int, int, str, int]:
        """Admission year, age band, procedure, length of stay in whole days."""
        return (self.year, min(self.age, 90) // 10, self.procedure, self.stay_min // DAY_MIN)


def persons(many: int, seed: int = 1) -> list[Person]:
    chance = np.random.default_rng([seed, 5])
    leak_min = leak_durations_days(many, chance) * DAY_MIN
    made = []
    for number in range(many):
        begins = int(np.clip(chance.normal(14 * 60, 150), 8 * 60, 23 * 60))
        day = int(chance.integers(0, YEARS * 365))
        ends = int(begins + leak_min[number] + 14 * 60 * chance.lognormal(0.0, 0.6))
        if not 9 * 60 <= ends % DAY_MIN < 17 * 60:  # in the morning, by day
            ends = (ends - 17 * 60) // DAY_MIN * DAY_MIN + DAY_MIN + 9 * 60 + int(chance.integers(0, 60))
        age = int(np.clip(chance.normal(65, 12), 18, 101))
        procedure = str(chance.choice(list(SHARES), p=list(SHARES.values())))
        made.append(Person(number, day // 365, age, procedure, day * DAY_MIN + begins, max(60, ends - begins)))
    return sorted(made, key=lambda one: one.connected_min)


def stay(one: Person) -> Material:
    """Their drain, logged every ten minutes until it came out."""
    begins, ends = one.connected_min, one.connected_min + one.stay_min
    lines = [
        f"{stamp(at)},{at % 7 * 5},-10.0,-13.0,-7.0,U-{one.number % 40}" for at in range(begins + 10, ends + 1, 10)
    ]
    chart = [row(begins + 30, "fluid_output", "20", "mL"), row(ends - 20, "swing", "present")]
    text = "\n".join(
        ['indication = "lung_resection"', "[patient]", f'id = "P-{one.number}"', f"age_years = {one.age}", "[drain]",
         'number = "1"', 'side = "left"', 'space = "pleural"', "shares_space_with = []",
         f'connected_at = "{stamp(begins)}"', "[operation]", f'kind = "{one.procedure}"',
         f'end = "{stamp(begins - 60)}"']
    )  # fmt: skip
    layout = LAYOUT.from_toml(LAYOUT.to_toml().replace('"1 min"', '"10 min"'), "layout.toml")
    found = assess(
        [read_log(log_text(lines), layout, "log.csv")], chart=read_chart(chart_text(chart), "chart.csv"),
        episode=read_episode(text.encode(), "episode.toml"), protocol=load_protocol(RULE, "rule.toml"), now_ms=ms(ends),
    )  # fmt: skip
    of = of_files(found)
    return Material(of.found, of.patient, of.drain, Removal("planned", found.as_of_ms))


# --- what an attacker sees of an export -------------------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """What one export shows of what the attacker knows; None: nothing. `start`: weekday and minute of the day."""

    days: int
    hours: int
    minutes: int
    start: tuple[int, int]
    procedures: frozenset[str]
    ages: frozenset[str]


def seen(files: Mapping[str, bytes]) -> Seen:
    """Length by the drain's own times, else by the minute table; words for operations, and anything said of age."""
    text = "\n".join(data.decode("utf-8", "replace") for name, data in files.items() if not name.endswith(".parquet"))
    about = json.loads(files["csv/about.json"])
    begins = datetime.fromisoformat(about["drain"]["connected_at"])
    ends = datetime.fromisoformat(about["as_of"])
    minutes = round((ends - begins).total_seconds() / 60)
    assert abs(minutes - polars.read_parquet(io.BytesIO(files["parquet/minutes.parquet"])).height) <= 1
    return Seen(
        minutes // DAY_MIN, minutes // 60, minutes, (begins.weekday(), begins.hour * 60 + begins.minute),
        frozenset(word for word in OPERATIONS if re.search(rf"\b{word}\b", text) and word != "none"),
        frozenset(re.findall(r"\bage[ _a-z\":]*([0-9]+)", text)),
    )  # fmt: skip


def alone(told: Iterable[Hashable]) -> int:
    """How many are the only one of their kind."""
    return sum(count == 1 for count in Counter(told).values())


def found_by_four(people: Sequence[Person], shown: Sequence[Seen]) -> int:
    """Patients whom the attacker finds: one export alone agrees with the four, and it is theirs.

    An export that says a procedure or an age is held against them; words that all exports say tell nothing.
    """
    everywhere = frozenset.intersection(*(one.procedures for one in shown))
    found = 0
    for person, own in zip(people, shown, strict=True):
        agree = [
            one
            for one in shown
            if one.days == own.days
            and (not one.procedures - everywhere or person.procedure in one.procedures - everywhere)
            and (not one.ages or str(person.age) in one.ages or str(person.age // 10) in one.ages)
        ]
        found += len(agree) == 1
    return found


def found_in_cohort(people: Sequence[Person], stays: Sequence[Material], key: bytes) -> dict[str, int]:
    """The same attack on a cohort, which tells age and procedure: with the year (by its order), and without."""
    shelf = collected([stay_of(of, RULE) for of in stays], key)
    frame = polars.read_parquet(io.BytesIO(shelf.files["drains.parquet"])).sort("order")
    assert frame.height == len(people)
    told = [
        (min(int(age), 90) // 10, operation, (removed - connected) // 60_000 // DAY_MIN)
        for age, operation, removed, connected in zip(
            *(frame[name].to_list() for name in ("age_years", "operation", "removed_ms", "connected_ms")), strict=True
        )
    ]
    years = [one.year for one in people]  # the order of connection, and how many there were in each year
    return {"year": alone(zip(years, told, strict=True)), "no year": alone(told)}
