"""Random rules and random records in the words of a rule's cases: small, and full of edges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from slackwater.protocol import Evaluation, Facts, Protocol, Status, evaluate, load_protocol
from slackwater.protocol.given import facts_of

LAW = settings(max_examples=120, deadline=None, derandomize=True)

WORDS = ("missing", "off", "clamped", "doubt")
flows = st.integers(0, 12).map(lambda tens: tens * 10)
minutes = st.lists(flows | st.sampled_from(WORDS[:1]), min_size=4, max_size=30)
records = st.lists(flows | flows | st.sampled_from(WORDS), min_size=4, max_size=30)

RULE = """
name = "drawn"
version = "1"
status = "draft"
[evidence]
data_age = "20 min"
gaps = "{gaps} min"
restart_on = ["suction_change"]
[guards]
tube_open = {{ within = "6 min", also_at = ["start"], by = ["charted"] }}
effort_seen = {{ within = "10 min" }}
[[removal]]
id = "air"
measure = "air_leak"
{bin}
is = "{how}"
limit = "{limit} mL/min"
lasting = "{lasting} min"
{more}
"""
FLUID = '[[removal]]\nid = "fluid"\nmeasure = "fluid_output"\nis = "{how}"\nlimit = "{limit} mL"\nwithin = "10 min"\n'
OXYGEN = '[[removal]]\nid = "oxygen"\nmeasure = "spo2"\nis = "at_least"\nlimit = "92 %"\nwithin = "10 min"\n'
COLOUR = '[[removal]]\nid = "colour"\nmeasure = "fluid_appearance"\nis = "{}"\nlimit = ["{}"]\nwithin = "10 min"\n'


def rule(
    how: str = "below", limit: float = 50, bin: int | None = 3, lasting: int = 8, gaps: int = 0, more: str = ""
) -> Protocol:
    bin_line = f'bin = "{bin} min"' if bin else ""
    text = RULE.format(how=how, limit=limit, bin=bin_line, lasting=lasting, gaps=gaps, more=more)
    return load_protocol(text.encode(), "drawn.toml")


@st.composite
def air_rules(draw: st.DrawFn, hows: tuple[str, ...] = ("below", "at_most"), gaps: tuple[int, ...] = (0,)) -> Protocol:
    """A rule on air alone; it lasts at least as long as its bin."""
    bin = draw(st.sampled_from((None, 2, 3, 5)))
    lasting = draw(st.integers(bin or 1, 12))
    return rule(draw(st.sampled_from(hows)), draw(st.integers(1, 11)) * 10, bin, lasting, draw(st.sampled_from(gaps)))


@st.composite
def full_rules(draw: st.DrawFn) -> Protocol:
    """A rule with a clause of every kind that carries an age."""
    more = FLUID.format(how=draw(st.sampled_from(("below", "at_most"))), limit=draw(st.integers(1, 6)) * 10)
    more += OXYGEN + COLOUR.format("one_of", "serous")
    return rule(
        draw(st.sampled_from(("below", "at_most"))), draw(st.integers(1, 11)) * 10,
        draw(st.sampled_from((None, 3))), draw(st.integers(3, 12)), 0, more,
    )  # fmt: skip


ages = st.integers(0, 25).map(lambda age: f"{age} min ago")


@st.composite
def scenes(draw: st.DrawFn) -> dict[str, Any]:
    """What was recorded, of every kind."""
    record = draw(records)
    fluid = draw(st.lists(st.tuples(st.integers(1, 8), st.integers(0, 3) | st.none()), min_size=1, max_size=6))
    return {
        "air_leak": stretches(record),
        "step": draw(st.sampled_from(("10 mL/min", "20 mL/min"))),
        "rounding": draw(st.sampled_from(("nearest", "floor", "ceil", "unknown"))),
        "fluid_output": [[f"{span} min", "blank" if n is None else f"{n * 10} mL"] for span, n in fluid],
        "connected": draw(st.sampled_from(("start", "unknown"))),
        "suction_change": draw(st.lists(ages, max_size=2)),
        "tube_open": draw(st.just("shown") | st.lists(ages, max_size=4)),
        "effort": [[age, draw(st.sampled_from(("leak", "no_leak")))] for age in draw(st.lists(ages, max_size=3))],
        "spo2": [[age, f"{draw(st.integers(90, 94))} %"] for age in draw(st.lists(ages, max_size=3, unique=True))],
        "fluid_appearance": [
            [age, draw(st.sampled_from(("serous", "bloody")))] for age in draw(st.lists(ages, max_size=3, unique=True))
        ],
    }


def stretches(record: list[Any]) -> list[list[str]]:
    """One stretch a minute."""
    return [["1 min", value if isinstance(value, str) else f"{value} mL/min"] for value in record]


def judge(protocol: Protocol, given: Mapping[str, Any]) -> Evaluation:
    return evaluate(protocol, facts(protocol, given))


def facts(protocol: Protocol, given: Mapping[str, Any]) -> Facts:
    return facts_of(protocol, given)


def statuses(found: Evaluation) -> dict[str, Status]:
    return {part.id: part.status for part in found.criteria}


def air(protocol: Protocol, record: list[Any], **given: Any) -> np.ndarray:
    """The air clause's status at the end of every minute."""
    return judge(protocol, {"air_leak": stretches(record), "tube_open": "shown", **given}).criteria[0].timeline


def first(codes: np.ndarray) -> float:
    """How many minutes until it was first met; inf if never."""
    met = np.flatnonzero((codes == Status.MET) | (codes == Status.MET_WITH_GAPS))
    return float(met[0]) + 1 if len(met) else float("inf")
