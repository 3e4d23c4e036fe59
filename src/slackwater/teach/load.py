"""An exercise file read, and refused where it does not hold together."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

from slackwater.episode.items import ITEMS
from slackwater.errors import RefusedInput
from slackwater.leak.filter.pattern import PATTERNS
from slackwater.leak.words import REASONS
from slackwater.protocol.shipped import shipped
from slackwater.simulate import Exchange, Scenario, scenario
from slackwater.simulate.chart import ChartEntry
from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import Fault
from slackwater.simulate.nurse import DILIGENT, SPARSE, USUAL, Nurse
from slackwater.simulate.suction import SuctionStep
from slackwater.simulate.unit_types import UNIT_TYPES
from slackwater.teach.exercise import Case, Exercise, Kind, kinds
from slackwater.teach.facts import CONDITIONS, Truth

LONGEST_H = 96.0  # so that a page answers at once
RESERVED = ("next", "bench", "people")  # pages of their own
NURSES = {"diligent": DILIGENT, "usual": USUAL, "sparse": SPARSE}
UNITS = {unit.name: unit for unit in UNIT_TYPES}
_TOP = {"name", "title", "kind", "told", "protocol", "walk_min", "vary", "case", "truth", "check"}
_CASE = {"id", "scenario", "moments_h", "evidence_h", "why", "told", "shows", "traps", "unwritten", "beside", "charted"}
_PLAN = {"hours", "unit", "nurse", "limbs", "course", "suction", "faults", "fluid", "exchange", "patient"}

T = TypeVar("T")


class ExerciseError(RefusedInput):
    """An exercise file that cannot be used."""


def load_exercise(data: bytes, name: str) -> Exercise:
    """Read one exercise. Raises ExerciseError, which says where and what to write instead."""
    try:
        found = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ExerciseError(f"not TOML: {error}", where=name, mend="See docs/practice.md.") from error
    return _Reader(name).exercise(found, hashlib.sha256(data).hexdigest())


class _Reader:
    def __init__(self, name: str) -> None:
        self.name = name

    def wrong(self, what: str, mend: str, part: str = "") -> ExerciseError:
        return ExerciseError(what, where=f"{self.name}{', ' if part else ''}{part}", mend=mend)

    def exercise(self, found: Mapping[str, Any], sha256: str) -> Exercise:
        self._known(found, _TOP, "")
        for key in ("name", "title", "kind", "told"):
            if not isinstance(found.get(key), str) or not found[key].strip():
                raise self.wrong(f"{key} is missing", f'Write {key} = "..." at the top.')
        if not re.fullmatch(r"[a-z0-9][a-z0-9-]{1,39}", found["name"]) or found["name"] in RESERVED:
            raise self.wrong(f"{found['name']!r} is no name", 'Small letters, digits and "-", e.g. "no-swing".', "name")
        kind = kinds().get(found["kind"])
        if kind is None:
            raise self.wrong(f"no kind of question {found['kind']!r}", f"Kinds: {', '.join(kinds())}.", "kind")
        rule = None if found.get("protocol") is None else shipped(found["protocol"])
        missing = set(kind.asks) - {clause.measure_name for clause in (() if rule is None else rule.removal)}
        if missing:
            raise self.wrong(
                f"no clause on {', '.join(sorted(missing))} to ask about",
                'Write protocol = "...": a rule that has it.', "protocol",
            )  # fmt: skip
        vary = found.get("vary", {})
        self._known(vary, {"shift_h", "flow"}, "vary")
        cases = tuple(self._case(one) for one in found.get("case", ()))
        if not cases or len({case.id for case in cases}) != len(cases):
            raise self.wrong("no [[case]], or two of one id", "Give at least one [[case]], each with its own id.")
        check = {int(number): str(answer) for number, answer in found.get("check", {}).items()}
        for answer in check.values():
            self._answer(answer, kind, "check")
        if not check:
            raise self.wrong("no [check]", 'Say what is true of some draws: 1 = "..." under [check].')
        walk = found.get("walk_min")
        margin = None if walk is None or rule is None else rule.trip
        if walk is not None and margin is None:
            raise self.wrong(
                "walk_min without a rule's margin", 'Write protocol = "...": a rule that has [trip].', "walk_min"
            )
        return Exercise(
            found["name"], found["title"], kind, found["told"], cases, self._truth(found.get("truth", {}), kind), check,
            None if walk is not None else rule, float(vary.get("shift_h", 0.0)),
            self._pair(vary.get("flow", (1.0, 1.0)), "vary.flow"), None if walk is None else float(walk), margin,
            sha256,
        )  # fmt: skip

    def _truth(self, found: Mapping[str, Any], kind: Kind) -> Truth:
        if not found:
            raise self.wrong("no [truth]", "Say by which facts each answer is the true one.")
        truth = {answer: tuple(ways) if isinstance(ways, list) else (ways,) for answer, ways in found.items()}
        for answer, ways in truth.items():
            self._answer(answer, kind, "truth")
            for name in (name for way in ways for name in way):
                if name not in CONDITIONS:
                    raise self.wrong(f"no fact {name!r}", f"Facts: {', '.join(CONDITIONS)}.", f"truth.{answer}")
        return truth

    def _answer(self, answer: str, kind: Kind, part: str) -> None:
        if answer not in kind.answers:
            raise self.wrong(f"no answer {answer!r}", f"Answers of {kind.name}: {', '.join(kind.answers)}.", part)

    def _case(self, found: Mapping[str, Any]) -> Case:
        where = f"case {found.get('id', '?')}"
        self._known(found, _CASE | _PLAN, where)
        for key in ("id", "scenario", "why"):
            if not isinstance(found.get(key), str):
                raise self.wrong(f"{key} is missing", f'Write {key} = "...".', where)
        moments = tuple(float(hours) for hours in found.get("moments_h", ()))
        if not moments or list(moments) != sorted(set(moments)):
            raise self.wrong("no moments, or not in order", "Write moments_h = [18.5, 20.0].", where)
        told = tuple(found.get("told", ()))
        if told and len(told) != len(moments):
            raise self.wrong("told says not something for every moment", 'One text a moment; "" for nothing.', where)
        shows, allowed = tuple(found.get("shows", ())), {*REASONS[1:], *PATTERNS}
        for word in shows:
            if word not in allowed:
                raise self.wrong(f"no doubt or pattern {word!r}", f"Known: {', '.join(sorted(allowed))}.", where)
        plan = self._plan(found, where)
        evidence = self._pair(found.get("evidence_h", ()), f"{where}, evidence_h")
        if max(moments) > plan.hours or not evidence[0] < evidence[1] <= max(moments):
            raise self.wrong(
                "a moment or its evidence lies outside the stay", "Evidence ends by the last moment, within `hours`.",
                where,
            )  # fmt: skip
        return Case(
            found["id"], plan, moments, evidence, found["why"], told, shows, tuple(found.get("traps", ())),
            self._unwritten(found.get("unwritten", {}), where), str(found.get("beside", "")),
            self._charted(found.get("charted", ()), str(found.get("beside", "")), where),
        )  # fmt: skip

    def _unwritten(self, found: Mapping[str, float], where: str) -> Mapping[str, float]:
        self._known(found, set(ITEMS), f"{where}, unwritten")
        return {item: float(from_h) for item, from_h in found.items()}

    def _charted(self, found: Sequence[Mapping[str, Any]], beside: str, where: str) -> tuple[ChartEntry, ...]:
        """Rows of the drain beside this one."""
        if found and not beside:
            raise self.wrong("rows of no other drain", 'Write beside = "2": whose rows they are.', f"{where}, charted")
        rows = []
        for one in found:
            self._known(one, {"at_h", "item", "value", "unit"}, f"{where}, charted")
            if one.get("item") not in ITEMS or "value" not in one:
                raise self.wrong(
                    f"no row of a chart: {dict(one)}",
                    'Write { at_h = 8, item = "fluid_output", value = "60", unit = "mL" }.', f"{where}, charted",
                )  # fmt: skip
            at_s = 3600.0 * float(one.get("at_h", 0.0))
            rows.append(ChartEntry(at_s, one["item"], str(one["value"]), one.get("unit", ""), drain=beside))
        return tuple(rows)

    def _plan(self, found: Mapping[str, Any], where: str) -> Scenario:
        """The named scenario with what the file says otherwise."""
        base = scenario(found["scenario"])
        unit = found.get("unit", base.unit.name)
        if unit not in UNITS:
            raise self.wrong(f"no such unit: {unit}", f"{', '.join(UNITS)}.", where)
        exchange = found.get("exchange")
        plan = replace(
            base, hours=float(found.get("hours", base.hours)), unit=UNITS[unit],
            limbs=int(found.get("limbs", base.limbs)),
            nurse=self._nurse(base.nurse, found.get("nurse", {}), where),
            course=self._made(CoursePlan, found["course"], where) if "course" in found else base.course,
            patient=self._changed(base.patient, found.get("patient", {}), where),
            fluid=self._changed(base.fluid, found.get("fluid", {}), where),
            faults=self._every(Fault, found["faults"], where) if "faults" in found else base.faults,
            suction=self._steps(found["suction"], where) if "suction" in found else base.suction,
            exchange=base.exchange if exchange is None else self._made(Exchange, exchange, where),
        )  # fmt: skip
        if not 1.0 <= plan.hours <= LONGEST_H:
            raise self.wrong(f"a stay of {plan.hours:g} h", f"Give hours from 1 to {LONGEST_H:g}.", where)
        return plan

    def _nurse(self, base: Nurse, found: str | Mapping[str, Any], where: str) -> Nurse:
        """A style by its name, or the scenario's with what is said otherwise."""
        if not isinstance(found, str):
            return self._changed(base, found, where)
        if found not in NURSES:
            raise self.wrong(f"no such nurse: {found}", f"{', '.join(NURSES)}.", where)
        return NURSES[found]

    def _steps(self, found: Sequence[Mapping[str, Any]], where: str) -> tuple[SuctionStep, ...]:
        """`level` left out is no added suction."""
        return self._every(SuctionStep, [{"level": None, **one} for one in found], where)

    def _every(self, made: Callable[..., T], found: Sequence[Mapping[str, Any]], where: str) -> tuple[T, ...]:
        return tuple(self._made(made, one, where) for one in found)

    def _made(self, made: Callable[..., T], found: Mapping[str, Any], where: str) -> T:
        known = {field.name for field in fields(made)}  # type: ignore[arg-type]  # all of them are dataclasses
        self._known(found, known, where)
        return made(**found)

    def _changed(self, base: T, found: Mapping[str, Any], where: str) -> T:
        self._known(found, {field.name for field in fields(base)}, where)  # type: ignore[arg-type]
        return replace(base, **found)  # type: ignore[type-var]

    def _known(self, found: Mapping[str, Any], known: set[str], where: str) -> None:
        for key in found:
            if key not in known:
                raise self.wrong(f"{key!r} is not known here", f"Known: {', '.join(sorted(known))}.", where)

    def _pair(self, found: Sequence[float], where: str) -> tuple[float, float]:
        if len(found) != 2 or not 0 <= found[0] <= found[1]:
            raise self.wrong("not a pair that rises", "Write two numbers, the smaller first.", where)
        return float(found[0]), float(found[1])
