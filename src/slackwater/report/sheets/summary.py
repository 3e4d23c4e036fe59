"""The whole course with the picture, day by day, then what it rests on: two pages for most stays."""

from __future__ import annotations

from slackwater.quantities.spans import DAY_MS, HOUR_MS, MINUTE_MS, format_span
from slackwater.report.clauses import blocks
from slackwater.report.doubts import doubt_lines, no_doubts, unsure_sentence
from slackwater.report.extent import minutes_shown
from slackwater.report.outlook import outlook
from slackwater.report.record import record_lines
from slackwater.report.sheets import picture
from slackwater.report.sheets.answer import delivered, leak_words, rule_words, standing, waits_words
from slackwater.report.sheets.frame import frame, moment
from slackwater.report.sheets.lately import leak_between, marks_between
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Bullets, Fact, Facts, Part, Picture, Section, Sheet, Table, Words
from slackwater.report.times import exactly, twice
from slackwater.report.words import NOT_RECORDED, plain

TITLE = "Drain summary"
MOST_EVENTS = 12  # numbered in the picture and listed under it


def summary(of: Material) -> Sheet:
    found = of.found
    if found is None:
        nothing = Words(("Nothing is recorded yet: neither a log nor a chart.",), strong=True)
        known = (nothing, Facts(standing(of)), who(of))
        return Sheet("summary", TITLE, frame(of), (Section("Course", known),), doubtful=True)
    start, count = minutes_shown(found)
    until = start + max(1, count) * MINUTE_MS
    events = [mark for mark in marks_between(of, start, until) if mark.rank == 0]
    told = sorted(sorted(events, key=lambda mark: -mark.at_ms)[:MOST_EVENTS], key=lambda mark: mark.at_ms)
    drawn = Picture(
        picture.drawing(found, of.zone, start, until, [mark.at_ms for mark in told]), picture.says(found, of.zone)
    )
    apart = twice(start, until, of.zone)
    listed = tuple(
        f"{number}  {exactly(mark.at_ms, of.zone, apart)}: {mark.words}" for number, mark in enumerate(told, 1)
    )
    left = len(events) - len(told)
    more = (f"{left} earlier events are not numbered here.",) if left else ()
    answer = Facts(
        (
            *standing(of),
            Fact("Air leak", leak_words(of)),
            Fact("Rule", rule_words(of)),
            *((Fact("Pattern", found.leak.pattern_says),) if found.leak.pattern_says and not of.too_old else ()),
            *(() if of.out else (Fact("Waiting for", waits_words(of)),)),
            *((Fact("Cannot be told", unsure_sentence(found)),) if unsure_sentence(found) else ()),
        )
    )
    return Sheet(
        "summary", TITLE, frame(of),
        (
            Section("Course", (who(of),)),
            Section("Answer", (answer,)),
            Section("Picture", (drawn, Words((KEY, *([" · ".join((*listed, *more))] if listed else []))))),
            Section("Day by day", (_days(of, start, until),)),
            *_evidence(of),
        ),
        doubtful=of.doubtful,
    )  # fmt: skip


KEY = (
    "Thick: mean air flow; thin: largest reading; dashed: the rule's limit. State: solid leaking, empty below limit, "
    "hatched cannot tell. Suction: grey from smallest to largest measured, line its mean, dotted what was ordered."
)


def who(of: Material) -> Facts:
    """What the drain is for, since when, its size, its unit."""
    one, line = of.episode, of.line
    connected = NOT_RECORDED
    if one.connected_at is not None:
        lasted = format_span((of.as_of_ms - one.connected_at) // HOUR_MS * 3600)
        connected = f"{moment(one.connected_at, of)}, {lasted} before this was judged"
    rows = [
        Fact("Goal of drainage", one.goal or NOT_RECORDED),
        Fact("Drain for", f"{plain(one.indication)}; {plain(one.operation_kind)}"),
        Fact("Connected", connected),
        Fact("Size", NOT_RECORDED if one.size_fr is None else f"{one.size_fr:g} Fr"),
        Fact("Unit", units(of)),
        Fact("Suction", f"ordered {line.suction.ordered}; delivered {delivered(of)}"),
        Fact("Fluid", "; ".join(line.fluid) if line.fluid else NOT_RECORDED),
    ]
    if line.removed:
        rows.insert(0, Fact("Drain", line.removed))
    return Facts(tuple(rows))


def units(of: Material) -> str:
    """The suction units by serial number, as paired or as their logs say."""
    if of.facts is not None and of.facts.units:
        return "; ".join(f"{one.what.removeprefix('Unit ')}, {one.more}" for one in of.facts.units[:3])
    trace = None if of.found is None else of.found.trace
    serials = [serial for log in (trace.logs if trace is not None else ()) for serial in log.serials]
    return ", ".join(dict.fromkeys(serials)) or NOT_RECORDED


def _days(of: Material, start: int, until: int) -> Table:
    """Days counted from connection or the first minute, the newest ones where there are many."""
    edges, apart = list(range(start, until, DAY_MS)), twice(start, until, of.zone)
    rows = []
    for begin in edges[-8:]:
        end = min(until, begin + DAY_MS)
        name = f"day {(begin - start) // DAY_MS + 1}, from {exactly(begin, of.zone, apart)}"
        rows.append((name, leak_between(of, begin, end)))
    left = len(edges) - len(rows)
    says = "Days of 24 h from the first minute on." + (f" {left} earlier days are not shown." if left else "")
    return Table(says, ("day", "air leak"), tuple(rows), (3, 8))


def _evidence(of: Material) -> tuple[Section, ...]:
    found = of.found
    assert found is not None
    sections: list[Section] = []
    for block in blocks(found, of.zone):
        rows = tuple(
            (
                part.name, f"{part.shape} {part.status}", part.asks or part.note,
                "; ".join(text for text in (part.found, part.run.words if part.run else "", *part.needs) if text),
                "; ".join(f"{one.when}{f' ({one.rows})' if one.rows else ''}" for one in part.evidence[:3]),
            )
            for part in block.parts
        )  # fmt: skip
        table = Table(block.says or "As the rule's file says.", ("clause", "status", "asks", "found", "rests on"), rows,
                      (5, 5, 9, 12, 12))  # fmt: skip
        parts: tuple[Part, ...] = (table,) if rows else (Words((block.says,)),)
        if block.quiet:  # by name alone, so that the evidence stays on one page; the drain's page has each
            parts = (*parts, Words(("; ".join(f"{one.name} {one.shape} {one.status}" for one in block.quiet) + ".",)))
        sections.append(Section(block.title, parts))
    doubts = tuple(
        (line.minutes, line.says, "; ".join(span.when for span in line.spans)) for line in doubt_lines(found, of.zone)
    )
    head = ("how long", "why", "when")
    said: list[Part] = [Table("Minutes that were distrusted or missing.", head, doubts, (2, 6, 6))]
    if not doubts:
        said = [Words((no_doubts(found),))]
    sections.append(Section("Doubts", tuple(said)))
    forecast = outlook(found)
    if forecast.caution is not None and not of.too_old:
        sections.append(Section("When recorded clauses may hold", (Words((forecast.says, forecast.caution.text)),)))
    sections.append(Section("What it rests on", (Bullets(record_lines(found)),)))
    return tuple(sections)
