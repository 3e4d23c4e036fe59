"""Handover in at most fifteen printed lines a drain: situation, background, assessment, what is open (SBAR).

What must be said is never lost: the sheet of one drain grows past them for it; a print of many drains, which keeps
them, says which of it stands on the drain's own sheet.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace

from slackwater.assessment.shift import BY_UNIT, shift_of
from slackwater.episode.space import entries_for
from slackwater.quantities.spans import HOUR_MS, format_span
from slackwater.report.clauses import part
from slackwater.report.round import WAITS
from slackwater.report.round_facts import when
from slackwater.report.sheets.answer import delivered, rule_words
from slackwater.report.sheets.frame import frame
from slackwater.report.sheets.lately import leak_between, marks_between
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Blanks, Fact, Facts, Section, Sheet
from slackwater.report.times import exactly, twice
from slackwater.report.words import NOT_RECORDED

MOST_LINES = 15  # printed lines of a drain
LETTERS = 100  # letters of a printed line: measured on the sheet, and checked there by a test
LONGEST = 3  # printed lines of one entry; what is longer is cut where the reader sees it
GROUPS = ("Situation", "Background", "Assessment", "Open and recommended")
_SITUATION, _BACKGROUND, _ASSESSMENT, _OPEN = GROUPS


@dataclass(frozen=True)
class Said:
    """One entry. rank: 0 must be said; of the others a higher one goes first where there is no room.

    short: what is printed instead where there is no room, uncut: every item's name. '' where the text may be cut.
    """

    group: str
    label: str
    text: str
    rank: int
    mark: str = ""
    short: str = ""

    @property
    def lines(self) -> int:
        return len(_wrapped(self))


def handover(of: Material) -> Sheet:
    said = fitted(tuple(_said(of)), firm=of.many)
    groups = (
        Section(group, (Facts(tuple(Fact(one.label, one.text, one.mark) for one in said if one.group == group)),))
        for group in GROUPS
        if any(one.group == group for one in said)
    )
    signed = Section("", (Blanks(("Handed over by", "Taken over by", "Time"), 0),))
    return Sheet(
        "handover", "Handover", frame(of), (*groups, signed),
        doubtful=of.doubtful,
    )  # fmt: skip


def fitted(said: tuple[Said, ...], most: int = MOST_LINES, *, firm: bool = False) -> tuple[Said, ...]:
    """As many as there is room for, by rank and then as they come; what is left out is counted aloud.

    All that must be said (rank 0) keeps a line before anything has two. firm: never more than `most` lines.
    """
    full = [_cut(one) for one in said]
    if sum(one.lines for one in full) <= most:
        return tuple(full)
    for room in (most - 1, most - 2, most - 3):  # less what is said of the rest
        found = _in_room(full, room, firm)
        if sum(one.lines for one in found) <= most:
            return found
    return found


def _in_room(full: list[Said], room: int, firm: bool) -> tuple[Said, ...]:
    kept, room = _least(full, room, firm)
    grown = room < 0
    for place, one in sorted(enumerate(full), key=lambda pair: (pair[1].rank, pair[0])):
        had = kept[place].lines if place in kept else 0
        if one.rank == 0 and not had:
            continue  # named below
        longest = _cut(one, had + max(0, room)) if had else one
        if longest.lines <= had + max(0, room):
            kept[place], room = longest, room - longest.lines + had
    gone = [one for place, one in enumerate(full) if place not in kept]
    return (*(kept[place] for place in sorted(kept)), *_rest(gone, grown))


def _least(full: list[Said], room: int, firm: bool) -> tuple[dict[int, Said], int]:
    """What must be said as short as it can be, by place; and the lines that are left for more of it."""
    kept = {}
    for place, one in enumerate(full):
        if one.rank:
            continue
        least = _cut(one, 1)
        if firm and least.lines > room:
            least = _cut(replace(one, short=""), 1)
        if least.lines <= room or not firm:
            kept[place], room = least, room - least.lines
    return kept, room


def _rest(gone: list[Said], grown: bool) -> Iterator[Said]:
    """What is not on the sheet: what must be said by name, the rest by number. What was cut says so itself."""
    named = ", ".join(one.label for one in gone if one.rank == 0)
    more = sum(one.rank > 0 for one in gone)
    told = (
        f"MUST BE READ on the drain's own sheet: {named}." if named else "",
        f"{more} more entries, for want of room: look at the drain's own page." if more else "",
        f"Longer than {MOST_LINES} lines: all of this must be said." if grown else "",
    )
    text = " ".join(one for one in told if one)
    if text:
        yield Said(_OPEN, "Not on this sheet" if gone else "This sheet", text, 0, "!" if named else "")


def _wrapped(one: Said) -> list[str]:
    return textwrap.wrap(f"{one.mark} {one.text}".strip(), LETTERS) or [""]


def _cut(one: Said, lines: int = LONGEST) -> Said:
    if one.lines <= lines:
        return one
    if one.short:
        return replace(one, text=one.short)
    mark = len(one.mark) + 1 if one.mark else 0
    for length in range(LETTERS * lines - mark - 20, 0, -8):
        shorter = replace(one, text=one.text[:length].rsplit(" ", 1)[0].rstrip(" ;,") + " … (cut: more on the page)")
        if shorter.lines <= lines:
            return shorter
    return replace(one, text="… (cut)")


def _said(of: Material) -> Iterator[Said]:
    yield from _situation(of)
    yield from _background(of)
    yield from _assessment(of)
    yield from _open(of)


# --- situation ------------------------------------------------------------------------------------


def _situation(of: Material) -> Iterator[Said]:
    line, found = of.line, of.found
    if line.removed:
        yield Said(_SITUATION, "Drain", line.removed, 0)
    if line.holds:
        yield Said(_SITUATION, "To be kept", "; ".join(line.holds) + ".", 0, "!")
    if line.items:
        yield _to_act(line.items)
    if line.ahead:
        yield Said(_SITUATION, "Clock", line.ahead, 0, "!")
    if found is None:
        yield Said(_SITUATION, "Air leak", "Cannot tell: neither a log nor a chart is recorded.", 0)
        return
    leak = line.leak
    air = f"▨ {of.too_old}" if of.too_old else f"{leak.shape} {leak.word}: {leak.detail}"
    yield Said(_SITUATION, "Air leak", f"{air}.", 0)
    yield Said(_SITUATION, "Rule", _rule(of), 0)


def _to_act(items: tuple[str, ...]) -> Said:
    """Every item; where that is too long, each without the unit's words for it, so that none is cut off."""
    names = "; ".join(one.partition(". ")[0].rstrip(".") for one in items)
    short = f"{len(items)} items: {names}. The unit's words for each are on the page."
    return _cut(Said(_SITUATION, "To act on", "; ".join(one.rstrip(".") for one in items) + ".", 0, "!", short))


def _rule(of: Material) -> str:
    line, found = of.line, of.found
    assert found is not None
    if found.evaluation is None:
        return "No rule was given; only the leak is answered."
    if of.outlived:
        return f"▨ {rule_words(of)}"
    past = line.rule.word.endswith(WAITS)  # then it is said already since when
    run = "" if line.below is None or of.too_old or past else f" Run {line.below.words}."
    return f"{line.rule.shape} {rule_words(of)}{run}"


# --- background -----------------------------------------------------------------------------------


def _background(of: Material) -> Iterator[Said]:
    one = of.episode
    operation = (one.operation_kind or NOT_RECORDED).replace("_", " ")
    indication = (one.indication or NOT_RECORDED).replace("_", " ")
    since = "since when is not recorded" if one.connected_at is None else (
        f"in for {format_span((of.as_of_ms - one.connected_at) // HOUR_MS * 3600)}, since "
        f"{when(one.connected_at, of.as_of_ms, of.zone)}"
    )  # fmt: skip
    if one.goal:
        yield Said(_BACKGROUND, "Goal", one.goal, 2)
    yield Said(_BACKGROUND, "Drain for", f"{indication}; operation {operation}; {since}.", 1)
    if of.facts is not None and of.facts.units:
        unit = of.facts.units[0]
        yield Said(_BACKGROUND, "Unit", f"{unit.what}, {unit.more}" + (f"; {unit.mark}" if unit.mark else ""), 4)


# --- assessment -----------------------------------------------------------------------------------


def _assessment(of: Material) -> Iterator[Said]:
    found, line = of.found, of.line
    if found is None:
        return
    hours = format_span(of.shift_ms / 1000)
    yield Said(_ASSESSMENT, f"Last {hours}", leak_between(of, of.from_ms, of.as_of_ms) + _handled(of), 1)
    yield Said(_ASSESSMENT, "Fluid", _fluid(line.fluid) + ".", 1)
    suction = line.suction
    told = f"ordered {suction.ordered}; delivered {delivered(of)}; {line.may_be_off}"
    yield Said(_ASSESSMENT, "Suction", told + (f"; {suction.note}" if suction.note else "") + ".", 1)
    yield Said(_ASSESSMENT, "Tube", _tube(of), 1)
    yield Said(
        _ASSESSMENT, "Beside it", f"canister {line.canister}; charge {line.charge}; pain on cough {line.pain}.", 3
    )


def _fluid(lines: tuple[str, ...]) -> str:
    """Without the words on where the amounts come from; that some were not told stays."""
    *first, last = lines or (NOT_RECORDED,)
    if not last.startswith("told until"):
        return "; ".join((*first, last))
    silent = last.partition("; ")[2]
    return "; ".join((*first, silent) if " h" in silent else first)  # minutes are told by its own moment


def _handled(of: Material) -> str:
    """What was done and seen in the shift, what changes the trace's meaning first; the rest is counted."""
    seen = [mark for mark in marks_between(of, of.from_ms, of.as_of_ms) if mark.rank < 2]
    if not seen:
        return "; nothing charted as handled or newly seen."
    first = sorted(seen, key=lambda mark: (mark.rank, -mark.at_ms))[:4]
    apart = twice(of.from_ms, of.as_of_ms, of.zone)
    at = {
        mark: exactly(mark.at_ms, of.zone, apart) if apart else when(mark.at_ms, of.as_of_ms, of.zone)
        for mark in first
    }  # fmt: skip
    words = [f"{at[mark]} {mark.words}" for mark in sorted(first, key=lambda m: m.at_ms)]
    rest = f"; and {len(seen) - len(first)} more" if len(seen) > len(first) else ""
    return f". {'; '.join(words)}{rest}."


def _tube(of: Material) -> str:
    """Swing as charted, and the guards as the rule judged them."""
    assert of.found is not None
    own = entries_for(of.found.chart, "drain", of.found.episode).of("swing")
    swing = NOT_RECORDED
    if own:
        swing = "two entries disagree" if own[-1].conflict else own[-1].text.replace("_", " ") or "left blank"
        swing += f" at {when(own[-1].time, of.as_of_ms, of.zone)}"
    guards = () if of.found.evaluation is None else of.found.evaluation.guards
    told = [part(one, of.found, of.zone) for one in guards]
    return "; ".join([f"swing {swing}", *(f"{one.name} {one.shape} {one.status}" for one in told)]) + "."


# --- what is open ---------------------------------------------------------------------------------


def _open(of: Material) -> Iterator[Said]:
    line, facts = of.line, of.facts
    if line.overdue:
        yield Said(_OPEN, "Overdue", "; ".join(line.overdue) + ".", 0, "◷")
    if line.waiting:
        yield Said(_OPEN, "Waiting for", "; ".join(line.waiting) + ".", 0)
    tasks = list(line.tasks)
    if facts is not None:
        tasks += [f"chest X-ray of {one.what} {one.mark}" for one in facts.xrays if one.mark]
    if tasks:
        yield Said(_OPEN, "Tasks", "; ".join(tasks) + ".", 1)
    if not (line.overdue or line.waiting or line.holds or tasks):
        yield Said(_OPEN, "Open", "No task, hold or overdue item is recorded.", 2)
    missing = not_recorded(of)
    yield Said(_OPEN, "Not recorded", ", ".join(missing) + "." if missing else "Nothing of what this sheet asks.", 0)
    if line.unseen:
        yield Said(_OPEN, "Never told", f"so nothing is known of: {', '.join(line.unseen)}.", 3)


def not_recorded(of: Material) -> tuple[str, ...]:
    """What this sheet would say if anybody or anything had recorded it."""
    one, line = of.episode, of.line
    asked = {
        "goal of drainage": one.goal, "side": one.side, "space": one.space, "site": one.site,
        "operation": one.operation_kind, "indication": one.indication, "connection time": one.connected_at,
    }  # fmt: skip
    missing = [name for name, value in asked.items() if value in (None, "")]
    if of.found is None or line.removed:
        return tuple(missing)
    missing += [
        name
        for name, value in (
            ("suction order", line.suction.ordered), ("delivered suction", line.suction.delivered),
            ("charge", line.charge), ("canister level", line.canister), ("pain on cough", line.pain),
        )
        if value == NOT_RECORDED
    ]  # fmt: skip
    if line.fluid and line.fluid[-1].startswith(NOT_RECORDED):
        missing.append("fluid")
    still = shift_of(of.found, of.from_ms, of.as_of_ms + 1).open
    told = {"pain_cough"} if line.pain == NOT_RECORDED else set()
    lacking = [item.replace("_", " ") for item in still if item not in BY_UNIT and item not in told]
    if lacking:
        missing.append(f"in the last {format_span(of.shift_ms / 1000)}: {', '.join(lacking)}")
    return tuple(missing)
