"""Random rules and random facts, small enough for slow loops and full of edges.

One seed, one episode: a rule written as TOML and read by `load_protocol`, and the facts it is judged on.
Bounds of signals are whole thousandths of mL/min. Instants fall often on a minute, or a whole window apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np

from oracle.slow_evaluator import judge
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.facts import Amounts, Facts, Floats, Sighting, Signal, Times, Try, Veto
from slackwater.protocol.load import load_protocol
from slackwater.protocol.measures import EVENTS, MEASURES, WAYS_OPEN
from slackwater.protocol.rule import Protocol
from slackwater.quantities.spans import MINUTE_MS

BASE_MS = 1_790_000_040_000
NUMERIC = ("below", "at_most", "at_least", "above")
RESTARTS = ("suction_change", "clamp_trial", "reconnection", "unit_exchange", "tube_flushed")
INF = float("inf")

# measure -> limits as written, and the values (internal unit) that a chart may hold
NUMBERS = {
    "air_leak_read": (("20 mL/min", "0.05 L/min"), (0, 10, 20, 30, 50, 60)),
    "surgical_emphysema": (("1", "2"), (0, 1, 2, 3)),
    "emphysema_rise": (("1", "2"), (0, 1, 2, 3)),
    "spo2": (("92 %", "90.5 %"), (88, 90.5, 92, 97)),
    "resp_rate": (("20 /min",), (12, 20, 21)),
    "heart_rate": (("100 /min",), (60, 100, 101)),
    "systolic": (("90 cmH2O",), (60, 90, 91)),
    "temperature": (("37.5 Cel",), (36.9, 37.5, 38.1)),
    "pain_rest": (("3",), (0, 3, 5)),
    "pain_cough": (("3",), (0, 3, 5)),
}
WORDS = tuple(name for name, measure in MEASURES.items() if measure.kind == "word")


def episode(seed: int) -> tuple[Protocol, Facts, str]:
    """The rule, the facts and the rule's text."""
    chance = Random(seed)
    draw = _Draw(chance)
    text = draw.rule_text()
    protocol = load_protocol(text.encode(), f"rule-{seed}")
    return protocol, draw.facts(protocol), text


def differences(seed: int) -> list[str]:
    """What the evaluator and the slow one answer differently; empty where they agree."""
    protocol, facts, _ = episode(seed)
    fast = evaluate(protocol, facts)
    slow = judge(protocol, facts)
    found: list[str] = []

    def hold(name: str, got: object, expected: object) -> None:
        if got != expected:
            found.append(f"seed {seed}: {name}: evaluate {got!s}, slow {expected!s}")

    hold("overall", fast.overall.word, slow["overall"].word)
    hold("timeline", fast.timeline.tolist(), [int(s) for s in slow["timeline"]])
    hold("first_met_ms", fast.first_met_ms, slow["first_met_ms"])
    hold("met_since_ms", fast.met_since_ms, slow["met_since_ms"])
    step_down = None if fast.step_down_overall is None else fast.step_down_overall.word
    hold("step_down", step_down, None if slow["step_down_overall"] is None else slow["step_down_overall"].word)
    for block in ("criteria", "guards", "step_down", "escalation"):
        answered = {one.id: one for one in getattr(fast, block)}
        hold(f"{block} ids", list(answered), list(slow[block]))
        for id_, one in answered.items():
            if id_ in slow[block]:
                hold(f"{block} {id_}", one.status.word, slow[block][id_].word)
                hold(
                    f"{block} {id_} timeline",
                    one.timeline.tolist(),
                    [int(s) for s in slow["timelines"][block][id_]],
                )
    return found


def differing(first_seed: int, number: int) -> list[str]:
    """The differences over `number` episodes in a row; a process of its own may run this."""
    found: list[str] = []
    for seed in range(first_seed, first_seed + number):
        found.extend(differences(seed))
    return found


@dataclass(frozen=True)
class _Interval:
    from_ms: int
    to_ms: int
    amount: float | None  # None: a blank entry


def totals_of(intervals: tuple[_Interval, ...]) -> object:
    """Bounds on what was drained inside (end - window, end], from intervals as charted."""

    def totals(ends_ms: Times, window_ms: int) -> tuple[Floats, Floats]:
        lows, highs = [], []
        for end in ends_ms.tolist():
            begin, low, high, covered = end - window_ms, 0.0, 0.0, 0
            for one in intervals:
                shared = min(end, one.to_ms) - max(begin, one.from_ms)
                if shared <= 0:
                    continue
                covered += shared
                if one.amount is None:
                    high = INF
                else:
                    high += one.amount
                    if begin <= one.from_ms and one.to_ms <= end:
                        low += one.amount
            lows.append(low)
            highs.append(high if covered == window_ms else INF)
        return np.array(lows), np.array(highs)

    return totals


class _Draw:
    """Draws one episode; a method a thing drawn."""

    def __init__(self, chance: Random) -> None:
        self.chance = chance
        self.some = chance.random
        self.length = min(chance.randint(5, 90), chance.randint(5, 90))
        self.start_ms = BASE_MS + chance.choice((0, 0, 17_250))
        self.end_ms = self.start_ms + self.length * MINUTE_MS
        self.now_ms = self.end_ms + self.pick(0.6, 0, chance.choice((1, 30_000, 59_999, 300_000, 3_600_000, 9_000_000)))
        self.limits = ["20 mL/min", "50 mL/min", "0.02 L/min", "600 mL/h", "12.345 mL/min"]

    def pick(self, likely: float, one: int, other: int) -> int:
        return one if self.some() < likely else other

    # the rule

    def span(self, low_min: int, high_min: int, *, odd: bool = False) -> str:
        minutes = self.chance.randint(low_min, high_min)
        if odd and self.some() < 0.2:
            return f"{minutes * 60 + self.chance.randint(1, 59)} s"
        return f"{minutes} min"

    def rule_text(self) -> str:
        chance = self.chance
        lines = ['name = "drawn"', 'version = "1"', 'status = "draft"']
        waived = self.some() < 0.25
        if waived:
            lines.append('guards = "none"')
        if self.some() < 0.4:
            lines += ["[applies]", *self.applies()]
        gaps = self.pick(0.5, 0, chance.randint(1, 6))
        restarts = chance.sample(RESTARTS, chance.randint(0, 3))
        lines += ["[evidence]", f'data_age = "{self.span(1, 40, odd=True)}"', f'gaps = "{gaps} min"']
        lines.append(f"restart_on = {_list(restarts)}")
        if self.some() < 0.3:
            lines.append(f'means = "{chance.choice(("refused", "allowed"))}"')
        if not waived:
            ways = chance.sample(WAYS_OPEN, chance.randint(1, 3))
            also = ', also_at = ["start"]' if self.some() < 0.5 else ""
            lines += [
                "[guards]",
                f'tube_open = {{ within = "{self.span(1, 30, odd=True)}"{also}, by = {_list(ways)} }}',
                f'effort_seen = {{ within = "{self.span(1, 60, odd=True)}" }}',
            ]
        removal = self.pick(0.93, chance.randint(1, 4), 0)
        step_down = self.pick(0.6, 0, chance.randint(1, 2))
        escalation = chance.randint(1, 3) if removal + step_down == 0 else chance.randint(0, 3)
        for block, number in (("removal", removal), ("step_down", step_down), ("escalation", escalation)):
            for index in range(number):
                lines += [f"[[{block}]]", f'id = "{block[0]}{index}"', *self.clause(block)]
        return "\n".join(lines) + "\n"

    def applies(self) -> list[str]:
        some = self.some
        lines = []
        if some() < 0.5:
            lines.append('indication = ["lung_resection", "pneumothorax"]')
        if some() < 0.4:
            lines.append('space = ["pleural"]')
        if some() < 0.3:
            lines.append("min_age_years = 16")
        if some() < 0.2:
            lines.append("max_age_years = 80")
        if some() < 0.4:
            lines.append(
                f"excludes = {_list(self.chance.sample(('pneumonectomy', 'invasive'), self.chance.randint(1, 2)))}"
            )
        if some() < 0.3:
            needs = ("operation.end", "operation.kind", "drain.connected_at", "patient.weight_kg", "breathing")
            lines.append(f"needs = {_list(self.chance.sample(needs, self.chance.randint(1, 2)))}")
        return lines

    def clause(self, block: str) -> list[str]:
        chance, some = self.chance, self.some
        kind = chance.choice(("signal", "signal", "signal", "amount", "number", "word", "word", "since"))
        lines = []
        if kind == "signal":
            lines += ['measure = "air_leak"', *self.comparison(tuple(self.limits))]
            bins = 7
            if some() < 0.75:
                minutes = chance.randint(3, 30)
                bins = min(bins, minutes)  # a window longer than `lasting` never fits
                lines.append(f'lasting = "{minutes} min"')
            else:
                lines.append(f'within = "{self.span(1, 30, odd=True)}"')
            if some() < 0.6:
                lines.append(f'bin = "{self.span(1, bins)}"')
            if some() < 0.1:
                lines.append('scope = "drain"')
        elif kind == "amount":
            lines.append('measure = "fluid_output"')
            minutes = chance.randint(3, 40)
            lines.append(f'within = "{minutes} min"')
            if some() < 0.4:
                lines.append(f'lasting = "{minutes * chance.randint(1, 3)} min"')
            if some() < 0.35:
                lines += ['per = "kg"', *self.comparison(("2 mL/kg", "0.5 mL/kg", "6 mL/kg", "1.1 mL/kg"))]
            else:
                lines += self.comparison(("20 mL", "50 mL", "0.1 L"))
        elif kind == "number":
            name = chance.choice(tuple(NUMBERS))
            lines += [f'measure = "{name}"', *self.comparison(NUMBERS[name][0]), *self.charted()]
        elif kind == "word":
            name = chance.choice(WORDS)
            measure = MEASURES[name]
            lines += [f'measure = "{name}"', *self.charted()]
            how = chance.choice(("one_of", "none_of", "shown"))
            if how == "shown" and not measure.shown:
                how = "none_of"
            lines.append(f'is = "{how}"')
            if how != "shown":
                settled = [word for word in measure.words if word not in measure.pending]
                lines.append(f"limit = {_list(chance.sample(settled, chance.randint(1, min(2, len(settled)))))}")
        else:
            lines += [
                'measure = "hours_since"',
                f'of = "{chance.choice(EVENTS)}"',
                *self.comparison(("10 min", "30 min", "1 h", "90 s")),
            ]
        if some() < 0.1:
            lines.append(f'only_until = {{ event = "{chance.choice(EVENTS)}", plus = "{self.span(1, 60)}" }}')
        if some() < 0.15:
            lines.append(f'data_age = "{self.span(1, 60, odd=True)}"')
        if block == "escalation" and some() < 0.2:
            lines.append('say = "Call."')
        return lines

    def comparison(self, limits: tuple[str, ...]) -> list[str]:
        how = self.chance.choice(("below", "below", *NUMERIC))
        return [f'is = "{how}"', f'limit = "{self.chance.choice(limits)}"']

    def charted(self) -> list[str]:
        lines = []
        if self.some() < 0.8:
            lines.append(f'within = "{self.span(1, 90, odd=True)}"')
        if self.some() < 0.3:
            lines.append(f'after = "{self.chance.choice(EVENTS)}"')
        return lines

    # the facts

    def instant(self, early_min: int = 30) -> int:
        """A moment up to now: most on a minute of the grid, some a millisecond beside it."""
        chance = self.chance
        at = self.start_ms + chance.randint(-early_min, self.length) * MINUTE_MS
        draw = self.some()
        if draw < 0.4:
            at += chance.choice((-1, 1, 30_000, 59_999))
        elif draw < 0.5:
            at = self.now_ms - chance.randint(0, 5) * MINUTE_MS
        return min(at, self.now_ms)

    def instants(self, most: int, early_min: int = 30) -> list[int]:
        return sorted({self.instant(early_min) for _ in range(self.chance.randint(0, most))})

    def facts(self, protocol: Protocol) -> Facts:
        chance, some = self.chance, self.some
        connected = chance.choice(
            (None, self.start_ms, self.start_ms, self.start_ms - 5 * MINUTE_MS, self.start_ms - 10 * 3_600_000)
            + ((self.instant(0),) if some() < 0.5 else ())
        )
        events = {name: tuple(self.instants(3, 60)) for name in EVENTS if name != "connected" and some() < 0.3}
        if some() < 0.7:  # most events a rule restarts on should not spoil every run
            events = {name: found[:1] for name, found in events.items()}
        events = {name: found for name, found in events.items() if found}
        if connected is not None:
            events["connected"] = (connected,)
        signals = {}
        if some() < 0.95:
            signals["air_leak", "space"] = self.signal(protocol)
        if some() < 0.6:
            signals["air_leak", "drain"] = self.signal(protocol)
        begun_ms = min(self.now_ms - self.end_ms, MINUTE_MS - 1)  # of the minute after the last whole one
        logged_ms = chance.randint(1, begun_ms) if begun_ms and some() < 0.5 else 0
        data_until = None if not signals else self.end_ms + logged_ms
        unfinished = {}
        for key in signals if logged_ms else ():
            at = float(chance.choice((0, 5, 10, 12.345, 20, 30, 50, 50.001, 60)))
            unfinished[key] = (max(0.0, at - chance.choice((0, 0, 1, 10))), at)
        amounts = {("fluid_output", "space"): self.amounts(connected)} if some() < 0.9 else {}
        vetoes = tuple(
            Veto(at, self.instant() if some() < 0.7 else None, "drawn") for at in self.instants(2) if some() < 0.2
        )
        return Facts(
            now_ms=self.now_ms,
            grid_start_ms=self.start_ms,
            length=self.length,
            data_until_ms=data_until,
            connected_ms=connected,
            signals=signals,
            amounts=amounts,
            sightings=self.sightings(protocol),
            events=events,
            shown_open={way: np.array(self.instants(6, 5), dtype=np.int64) for way in WAYS_OPEN if some() < 0.8},
            shown_shut=np.array(self.instants(1) if some() < 0.2 else [], dtype=np.int64),
            tries=tuple(
                Try(at, chance.choice((True, True, False, False, False, None)), chance.choice(("trace", "charted")))
                for at in self.instants(4)
                if some() < 0.7
            ),
            vetoes=tuple(v for v in vetoes if v.until_ms is None or v.until_ms > v.from_ms),
            weight_kg=chance.choice((None, 3.3, 10.0, 12.5, 70.0)),
            about=self.about(connected),
            unfinished=unfinished,
        )

    def signal(self, protocol: Protocol) -> Signal:
        chance, some = self.chance, self.some
        limits = [
            c.limit
            for c in (*protocol.removal, *protocol.step_down, *protocol.escalation)
            if c.measure_name == "air_leak"
        ]
        limit = round(1000 * float(chance.choice(limits))) if limits and limits[0] is not None else 20_000
        step = chance.choice((1, 100, 1_000, 10_000))
        top_open = some() < 0.5
        bottom_open = some() < 0.2
        width = step if top_open or bottom_open else chance.choice((0, step))
        rows: list[tuple[float, float, float, float, float, float, bool, bool]] = []
        side = -1
        unknown = chance.choice((0.0, 0.0, 0.02, 0.1, 0.4))
        until = self.length if some() < 0.8 else self.length - chance.randint(0, min(8, self.length))
        for minute in range(self.length):
            if some() < 0.05:
                side = chance.choice((-1, -1, 0, 1))
            near = limit + side * step * chance.randint(0, 4) + chance.choice((0, 0, 0, -width, -width // 2))
            mean = max(0, near)
            peak = max(0, mean + step * chance.choice((0, 0, 0, 1)))
            trough = max(0, mean - step * chance.choice((0, 0, 0, 1)))
            if some() >= unknown and minute < until:
                rows.append((mean, mean + width, peak, peak + width, trough, trough + width, True, False))
                continue
            tolerable = some() < 0.7 or minute >= until
            if tolerable and some() < 0.4 and minute < until:  # partly recorded
                part = chance.choice((mean // 4, mean // 2, mean))
                rows.append((part, INF, peak, INF, 0, INF, False, True))
            else:
                rows.append((0, INF, 0, INF, 0, INF, False, tolerable))
        columns = [np.array(column, dtype=np.float64) / 1000 for column in list(zip(*rows, strict=True))[:6]]
        return Signal(
            *columns,
            known=np.array([row[6] for row in rows], dtype=np.bool_),
            tolerable=np.array([row[7] for row in rows], dtype=np.bool_),
            top_open=top_open,
            bottom_open=bottom_open,
            reading_s=chance.choice((1.0, 1.0, 60.0, 600.0)),
            means=some() < 0.6,
        )

    def amounts(self, connected: int | None) -> Amounts:
        chance, some = self.chance, self.some
        begin = self.start_ms - chance.randint(0, 60) * MINUTE_MS if connected is None else connected
        ends = [at for at in self.instants(8, 60) if at > begin]
        intervals = []
        for end in ends:
            amount = None if some() < 0.1 else chance.choice((0, 5, 10, 12.5, 19.8, 20, 50, 3.63))
            if some() > 0.05:  # else: time that no entry covers
                intervals.append(_Interval(begin, end, amount))
            begin = end
        return Amounts(totals_of(tuple(intervals)), np.array([one.to_ms for one in intervals], dtype=np.int64))

    def sightings(self, protocol: Protocol) -> dict[tuple[str, str], tuple[Sighting, ...]]:
        found = {}
        for clause in (*protocol.removal, *protocol.step_down, *protocol.escalation):
            if clause.measure.kind in ("number", "word") and self.some() < 0.95:
                found[clause.measure_name, clause.scope] = tuple(
                    self.sighting(clause.measure_name, at) for at in self.instants(6, 60)
                )
            elif clause.measure_name == "air_leak" and self.some() < 0.3:  # read off the unit, beside a log or alone
                found["air_leak_read", clause.scope] = tuple(
                    self.sighting("air_leak_read", at) for at in self.instants(6, 60)
                )
        return found

    def sighting(self, name: str, at: int) -> Sighting:
        chance, some = self.chance, self.some
        if name in WORDS:
            if some() < 0.08:
                return Sighting(at, conflict=True)
            return Sighting(at, word=chance.choice(MEASURES[name].words))
        value = float(chance.choice(NUMBERS[name][1]))
        high = value if some() < 0.7 else value + chance.choice((0.5, 1, 10))
        return Sighting(at, low=value, high=high, conflict=some() < 0.08)

    def about(self, connected: int | None) -> dict[str, str | float | None]:
        chance, some = self.chance, self.some
        drawn: dict[str, str | float | None] = {
            "indication": chance.choice(("lung_resection", "pneumothorax", "effusion")),
            "drain.space": chance.choice(("pleural", "pleural", "mediastinal")),
            "patient.age_years": chance.choice((15.0, 16.0, 50.0, 80.0, 81.0)),
            "operation.kind": chance.choice(("lobectomy",) * 8 + ("pneumonectomy",)),
            "operation.end": "2026-09-21T10:00:00Z",
            "breathing": chance.choice(("own",) * 5 + ("invasive",)),
            "patient.weight_kg": 70.0,
        }
        about = {name: value for name, value in drawn.items() if some() < 0.85}
        if connected is not None:
            about["drain.connected_at"] = float(connected)
        return about


def _list(words: object) -> str:
    return "[" + ", ".join(f'"{word}"' for word in words) + "]"  # type: ignore[attr-defined]
