"""Cases beside a rule: 'given this was recorded, expect these answers'.

The language is docs/protocol-cases.md. A case says what was recorded in the words of the rule, never as
a log; so a unit can read and write one, and a rule is tried without any trace.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from slackwater.errors import ProtocolError
from slackwater.protocol import bedside_cases
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.evaluation import Evaluation
from slackwater.protocol.given import facts_of
from slackwater.protocol.rule import Protocol
from slackwater.protocol.status import Status
from slackwater.protocol.table import ago, known, table_at, unknown
from slackwater.quantities.spans import MINUTE_MS

_STATUS_WORDS = tuple(status.word for status in Status)


@dataclass(frozen=True, eq=False)
class CaseResult:
    """One case, run: what differed from what was expected, in words; nothing if it holds."""

    name: str
    differences: tuple[str, ...]
    evaluation: Evaluation

    @property
    def passed(self) -> bool:
        return not self.differences


def run_cases(protocol: Protocol, text: str, name: str) -> tuple[CaseResult, ...]:
    """Run every [[case]] of `text` against the rule; `name` is what errors call the file.

    Raises ProtocolError, naming file, case and key, where a case cannot be read.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProtocolError(f"not valid TOML: {error}", where=name, mend="Mend the line named.") from None
    known(content, ("usual", "case"), name)
    usual = table_at(content.get("usual", {}), f"{name}, usual")
    cases = content.get("case", [])
    if not isinstance(cases, list) or not cases:
        raise ProtocolError("holds no case", where=name, mend="Write [[case]] with given and expect.")
    return tuple(_run(protocol, usual, case, name, number) for number, case in enumerate(cases, start=1))


def _run(protocol: Protocol, usual: Mapping[str, Any], content: Any, name: str, number: int) -> CaseResult:
    where = f"{name}, case {number}"
    case = table_at(content, where)
    known(case, ("name", "given", "expect"), where)
    title = case.get("name")
    if not isinstance(title, str) or not title:
        raise ProtocolError("name: is missing", where=where, mend='Write name = "a sentence".')
    given = {**usual, **table_at(case.get("given"), f"{where}, given")}
    if "patient" in usual and "patient" in given:
        given["patient"] = {
            **table_at(usual["patient"], f"{name}, usual.patient"),
            **table_at(given["patient"], where),
        }
    expect = table_at(case.get("expect"), f"{where}, expect")
    if not expect:
        raise ProtocolError("expect: says nothing", where=where, mend='Write e.g. expect = { overall = "met" }.')
    facts = facts_of(protocol, given, f"{where}, given")
    evaluation = evaluate(protocol, facts)
    found = [
        *_differences(
            evaluation, {k: v for k, v in expect.items() if k not in bedside_cases.EXPECT}, f"{where}, expect"
        ),
        *bedside_cases.differences(protocol, given, expect, facts.events, facts.now_ms, f"{where}, expect"),
    ]
    return CaseResult(title, tuple(found), evaluation)


def _differences(evaluation: Evaluation, expect: Mapping[str, Any], where: str) -> Iterable[str]:
    found: dict[str, Status] = {"overall": evaluation.overall, "population": evaluation.population.status}
    since: dict[str, int | None] = {"overall": evaluation.met_since_ms}
    blocks = (("guard", evaluation.guards), ("removal", evaluation.criteria),
              ("step_down", evaluation.step_down), ("home", evaluation.home),
              ("escalation", evaluation.escalation))  # fmt: skip
    for block, judged in blocks:
        for one in judged:
            for key in (one.id, f"{block}.{one.id}"):
                if key not in found or "." in key:  # a bare id speaks of the first block that has it
                    found[key], since[key] = one.status, one.since_ms
    if evaluation.step_down_overall is not None:
        found["step_down"] = evaluation.step_down_overall
    if evaluation.home_overall is not None:
        found["home"] = evaluation.home_overall
    for key, word in expect.items():
        if key == "since":
            yield from _since_differences(
                since, table_at(word, f"{where}.since"), evaluation.as_of_ms, f"{where}.since"
            )
            continue
        if key not in found:
            raise unknown(key, found, where)
        if word not in _STATUS_WORDS:
            raise ProtocolError(
                f"{key}: {word!r} is not a status",
                where=where,
                mend=f"Write one of: {', '.join(_STATUS_WORDS)}.",
            )
        if found[key].word != word:
            yield f"{key}: expected {word}, is {found[key].word}"


def _since_differences(
    since: Mapping[str, int | None], expect: Mapping[str, Any], now_ms: int, where: str
) -> Iterable[str]:
    for key, age in expect.items():
        if key not in since:
            raise unknown(key, since, where)
        wanted = now_ms - ago(age, f"{where}.{key}")
        at = since[key]
        if at != wanted:
            is_ = "no moment" if at is None else f"{(now_ms - at) / MINUTE_MS:g} min ago"
            yield f"since.{key}: expected {age}, is {is_}"
