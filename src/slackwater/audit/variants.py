"""Rules that differ from one another in a few numbers: the grid that a replay tries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise, product

from slackwater.errors import ProtocolError, UsageError
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.windows import SCALE
from slackwater.quantities.spans import format_span


@dataclass(frozen=True)
class Variant:
    """The numbers in which a rule differs from the one it was made from. None: as in that one.

    bin_min: minutes of the sliding mean, 0 for every reading. gaps_s: tolerated gaps.
    """

    limit_ml_per_min: float
    lasting_s: float
    bin_min: int | None = None
    fluid_ml: float | None = None
    gaps_s: float | None = None

    @property
    def told(self) -> str:
        parts = [f"below {self.limit_ml_per_min:g} mL/min for {format_span(self.lasting_s)}"]
        if self.bin_min is not None:
            parts.append("every reading" if self.bin_min == 0 else f"means of {self.bin_min} min")
        if self.fluid_ml is not None:
            parts.append(f"fluid {self.fluid_ml:g} mL")
        if self.gaps_s is not None:
            parts.append(f"gaps to {format_span(self.gaps_s)}" if self.gaps_s else "no gaps")
        return ", ".join(parts)


@dataclass(frozen=True)
class Grid:
    """Every combination of these numbers; each list increases. An empty one: as in the rule that is varied."""

    limits_ml_per_min: tuple[float, ...]
    lasting_s: tuple[float, ...]
    bins_min: tuple[int, ...] = ()
    fluids_ml: tuple[float, ...] = ()
    gaps_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for name, numbers in vars(self).items():
            if any(after <= before for before, after in pairwise(numbers)):
                what = f"{name.replace('_', ' ')}: the numbers do not increase"
                raise UsageError(what, mend="Give each once, the smallest first.")
        if not self.limits_ml_per_min or not self.lasting_s:
            raise UsageError("the grid has no limit or no length", mend="Give both, e.g. --limits 20,50 --hours 6,8.")

    def outer(self) -> Iterator[tuple[int | None, float | None, float | None]]:
        """Averaging, fluid limit and tolerated gaps: what is tried one by one, not in one pass."""
        yield from product(self.bins_min or (None,), self.fluids_ml or (None,), self.gaps_s or (None,))

    def variants(self) -> Iterator[Variant]:
        """All of them: the outer ones first, then limit by limit, each length."""
        for bin_min, fluid, gaps in self.outer():
            for limit, lasting in product(self.limits_ml_per_min, self.lasting_s):
                yield Variant(limit, lasting, bin_min, fluid, gaps)

    def __len__(self) -> int:
        return len(self.limits_ml_per_min) * len(self.lasting_s) * len(list(self.outer()))


def varied(rule: Protocol, variant: Variant) -> Protocol:
    """The rule with these numbers instead of its own. Raises ProtocolError where it has no such clause."""
    air = air_of(rule)
    bin_min = air.bin_min if variant.bin_min is None else (variant.bin_min or None)
    if round(variant.limit_ml_per_min * SCALE) != variant.limit_ml_per_min * SCALE or variant.lasting_s % 60:
        what = f"{variant.told} is finer than a rule can be"
        raise UsageError(what, mend="Give whole minutes and thousandths of mL/min.")
    changed = {
        air.id: replace(
            air, limit=variant.limit_ml_per_min, limit_text=f"{variant.limit_ml_per_min:g} mL/min", bin_min=bin_min,
            lasting_s=variant.lasting_s,
        )
    }  # fmt: skip
    if variant.fluid_ml is not None:
        fluid = fluid_of(rule)
        changed[fluid.id] = replace(fluid, limit=variant.fluid_ml, limit_text=f"{variant.fluid_ml:g} mL")
    removal = tuple(changed.get(clause.id, clause) for clause in rule.removal)
    return replace(rule, removal=removal, gaps_s=rule.gaps_s if variant.gaps_s is None else variant.gaps_s)


def air_of(rule: Protocol) -> Clause:
    """The clause whose limit and length are varied."""
    air = rule.air_clause
    if air is None or air.lasting_s is None or air.comparison not in ("below", "at_most"):
        raise ProtocolError(
            "has no removal clause on air leak below a limit for a time: there is nothing to vary", where=rule.name,
            mend="Take a rule that has one, e.g. air-50-8h.",
        )  # fmt: skip
    return air


def fluid_of(rule: Protocol) -> Clause:
    """The clause whose fluid limit is varied: the only one on an amount."""
    found = [clause for clause in rule.removal if clause.measure_name == "fluid_output" and not clause.per_kg]
    if len(found) != 1:
        raise ProtocolError(
            f"has {len(found)} removal clauses on an amount of fluid: which is to be varied?", where=rule.name,
            mend="Take a rule that has one, or leave --fluids out.",
        )  # fmt: skip
    return found[0]
