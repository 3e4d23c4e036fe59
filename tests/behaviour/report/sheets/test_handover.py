"""Handover: short enough to be read aloud, never short of what must be said. SBAR; 15 lines: the job's own measure."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2
import pytest

from behaviour.report.sheets.a_sheet import found, material, pages, set_
from slackwater.report.sheets.handover import GROUPS, LETTERS, MOST_LINES, Said, _said, _to_act, fitted, handover
from slackwater.report.sheets.lately import leak_between
from slackwater.report.sheets.make import print_many
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.sheet import Facts

WORDS = "open the tube and look along it for a kink, then look again; " * 9
BUSY = tuple(
    Said(GROUPS[n % 4], f"Label {n}", f"{n} {WORDS}"[: 40 + 37 * (n % 11)], n % 4, "!" if n % 5 == 0 else "")
    for n in range(30)
)


def test_a_busy_drain_takes_at_most_fifteen_lines_and_says_what_is_left_out() -> None:
    kept = fitted(BUSY)
    assert sum(one.lines for one in kept) <= MOST_LINES
    assert kept[-1].label == "Not on this sheet"
    assert kept[-1].text.startswith(f"{len(BUSY) - len(kept) + 1} more entries")


def test_what_must_be_said_is_said_before_anything_else() -> None:
    first = {one.label for one in BUSY if one.rank == 0}
    kept = [one.label for one in fitted(BUSY)[:-1]]
    assert set(kept) & first
    spare = [label for label in kept if label not in first]
    left = first - set(kept)
    assert not spare or not left


ITEMS = tuple(f"clause number {n} with a longish name reached. Do such and such" for n in range(12))
MUST = (
    Said(GROUPS[0], "To be kept", f"awaiting pleurodesis: {WORDS}", 0, "!"), _to_act(ITEMS),
    *(Said(GROUPS[0], label, WORDS, 0) for label in ("Clock", "Air leak", "Rule")),
    *(Said(GROUPS[3], label, WORDS, 0) for label in ("Overdue", "Waiting for", "Not recorded")),
)  # fmt: skip


def test_no_entry_that_must_be_said_is_lost_and_no_item_goes_without_its_name() -> None:
    kept = fitted((*MUST, *BUSY))
    labels = [one.label for one in kept]
    assert not [one.label for one in MUST if one.label not in labels]
    (acts,) = [one for one in kept if one.label == "To act on"]
    assert all(f"clause number {n} " in acts.text for n in range(12))


def test_one_drains_sheet_grows_for_what_must_be_said_alone_and_says_so() -> None:
    many = (*MUST, *(Said(GROUPS[0], f"Must {n}", WORDS, 0) for n in range(9)))
    kept = fitted((*many, *BUSY))
    assert [one.label for one in kept if one.rank == 0][:-1] and sum(one.lines for one in kept) > MOST_LINES
    assert all(one.rank == 0 for one in kept) and {one.label for one in many} <= {one.label for one in kept}
    assert all(one.lines == 1 for one in kept if one.label.startswith("Must "))
    assert f"Longer than {MOST_LINES} lines: all of this must be said." in kept[-1].text


def test_among_others_it_keeps_its_lines_and_names_what_stands_on_its_own_sheet() -> None:
    many = (*MUST, *(Said(GROUPS[3], f"Must {n}", WORDS, 0) for n in range(9)))
    kept = fitted((*many, *BUSY), firm=True)
    assert sum(one.lines for one in kept) <= MOST_LINES
    lost = {one.label for one in many} - {one.label for one in kept}
    assert lost and "To be kept" not in lost and "MUST BE READ on the drain's own sheet" in kept[-1].text
    assert all(label in kept[-1].text for label in lost)


def test_suction_is_said_before_the_goal() -> None:
    of = material()
    assert of.found is not None
    told = {one.label: one.rank for one in _said(material(replace(of.found, episode=replace(of.episode, goal="g"))))}
    assert told["Suction"] < told["Goal"]


def test_a_quiet_drain_says_all_and_nothing_of_what_is_left_out() -> None:
    some = tuple(one for one in BUSY if one.lines <= 2)[:5]
    assert fitted(some) == some


@pytest.mark.parametrize("letters", ["words of usual width here ", "MMMM WWWW ", "illi tfjr "])
def test_lines_are_counted_as_they_are_printed(letters: str) -> None:
    """The PDF's own lines between the first group's head and the signatures, heads not counted."""
    of = material()
    assert of.found is not None
    goal = replace(of.found, episode=replace(of.found.episode, goal=(letters * 40)[: LETTERS * 2]))
    one = handover(material(goal))
    printed = pypdfium2.PdfDocument(set_("handover", material(goal)).data)[0].get_textpage()
    lines = [line.strip() for line in printed.get_text_bounded().splitlines() if line.strip()]
    between = lines[
        lines.index("Situation") : next(n for n, line in enumerate(lines) if line.startswith("Handed over"))
    ]
    rows = [row for section in one.sections for part in section.parts if isinstance(part, Facts) for row in part.rows]
    labels = {row.label for row in rows}
    body = [line for line in between if line not in GROUPS and line not in labels]
    wide = 2 if "W" in letters else 0  # capitals are wider than words are: a line more, seldom
    assert len(body) <= MOST_LINES + wide


def test_what_changed_is_what_the_trace_and_the_chart_hold_of_the_shift() -> None:
    of = material(found("plateau", 26.0, "strict-local"))
    text = pages(set_("handover", of).data)[0]
    assert leak_between(of, of.from_ms, of.as_of_ms) in text
    assert leak_between(of, of.from_ms, of.as_of_ms).startswith("leaking")


def test_what_is_not_recorded_is_said() -> None:
    of = material()
    assert of.found is not None
    bare = replace(of.found, episode=replace(of.found.episode, goal=None, side=None, site=None, operation_kind=None))
    text = pages(set_("handover", material(bare)).data)[0]
    assert "Not recorded goal of drainage, side, site, operation" in text


def test_without_log_and_chart_it_says_that_nothing_can_be_told() -> None:
    of = replace(material(), found=None)
    text = pages(set_("handover", of).data)[0]
    assert "Cannot tell: neither a log nor a chart is recorded" in text
    assert "Judged by no rule here" in text


def test_many_drains_go_several_to_a_page_each_under_its_own_name_rule_and_time() -> None:
    one = handover(material())
    many = []
    for number in range(30):
        found_ = material().found
        assert found_ is not None
        named = replace(found_, episode=replace(found_.episode, patient_id=f"P-{number:03}"))
        many.append(handover(material(named)))
    of = material()
    texts = pages(pdf(print_many("Handover, Lantern ward", many, of.printed_ms, of.zone)).data)
    whole = " ".join(texts)
    assert len(texts) < 30
    for number in range(30):
        (page,) = [text for text in texts if f"Patient P-{number:03} · drain" in text]  # whole on one page
        assert one.frame.rule in page and "Data until" in page
    assert whole.count("EXAMPLE RULE: NOT APPROVED FOR USE") == 30
    for number, text in enumerate(texts, 1):
        assert f"Page {number} of {len(texts)}" in text and "Confirm name, number, side and site" in text


def test_no_item_to_act_on_is_cut_off_by_another_ones_words() -> None:
    items = tuple(f"item {n}: {n} mL. {WORDS}" for n in range(6))
    one = _to_act(items)
    assert one.lines <= 3 and all(f"item {n}: {n} mL" in one.text for n in range(6))
    assert _to_act(("blood: charted bloody. Own words.",)).text == "blood: charted bloody. Own words."
