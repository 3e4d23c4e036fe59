"""Words for patients: easy to read, large, from what is really ordered, and never a made-up emergency instruction.

Flesch reading ease (J Appl Psychol 1948;32:221): 206.835 - 1.015 words a sentence - 84.6 syllables a word; 70 or more
is 'fairly easy'. Syllables are counted by groups of vowels, a silent e left out: an approximation, ours.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pypdfium2
import pytest

from behaviour.report.sheets.a_sheet import found, material, pages, set_
from slackwater.report.sheets import patient
from slackwater.report.sheets.frame import YOUR_TEAM, YOURS
from slackwater.report.sheets.material import Beside
from slackwater.store.rows import Thing

FAIRLY_EASY = 70.0


def thing(noun: str, **fields: object) -> Thing:
    return Thing(noun, "key", 1, 1, 0, False, None, fields)


def syllables(word: str) -> int:
    word = word.lower()
    count = len(re.findall(r"[aeiouy]+", word))
    if word.endswith("e") and not word.endswith("le") and count > 1:
        count -= 1
    return max(1, count)


def reading_ease(sentences: tuple[str, ...]) -> float:
    text = " ".join(one if one.endswith((".", "?")) else f"{one}." for one in sentences)
    words = re.findall(r"[A-Za-z]+", text)
    ends = len(re.findall(r"[.?!]", text))
    return 206.835 - 1.015 * len(words) / ends - 84.6 * sum(map(syllables, words)) / len(words)


def test_the_measure_tells_plain_words_from_hard_ones() -> None:
    """Flesch's own scale: monosyllables in short sentences lie near 120, learned prose far below 30."""
    assert reading_ease(("The cat sat on the mat.",)) > 110
    assert reading_ease(("Postoperative pleural drainage necessitates interdisciplinary reconsideration.",)) < 0


@pytest.mark.parametrize("name", ["WHAT_IT_DOES", "WHAT_YOU_CAN_DO", "TELL_US", "OUT_WHEN", "AT_HOME"])
def test_the_fixed_words_are_easy_to_read(name: str) -> None:
    assert reading_ease(getattr(patient, name)) >= FAIRLY_EASY


def test_what_stands_on_every_page_is_easy_too_and_may_be_read() -> None:
    assert reading_ease((YOUR_TEAM, YOURS)) >= FAIRLY_EASY
    page = pypdfium2.PdfDocument(set_("home", material()).data)[0].get_textpage()
    at = page.get_text_range().index("Is this sheet yours")
    assert pypdfium2.raw.FPDFText_GetFontSize(page.raw, at) >= 10  # staff's small print is smaller


def test_whom_to_ring_and_what_for_come_first_on_the_sheet_for_home() -> None:
    text = pages(set_("home", material()).data)[0]
    assert text.index("Who to ring") < text.index("Ring at once if") < text.index("Each day")


@pytest.mark.parametrize("kind", ["explain", "home"])
def test_it_is_large_print(kind: str) -> None:
    """16 points or more; common practice for large print, no source at hand."""
    page = pypdfium2.PdfDocument(set_(kind, material()).data)[0].get_textpage()
    text = page.get_text_range()
    for words in ("Do not pull" if kind == "explain" else "Wash your hands",):
        assert pypdfium2.raw.FPDFText_GetFontSize(page.raw, text.index(words)) >= 16


def test_it_tells_what_is_really_ordered() -> None:
    of = material(found("healing", 30.0))
    text = " ".join(pages(set_("explain", of).data))
    assert f"Ordered: {of.line.suction.ordered}." in text
    assert "You have a drain on your right side beside your lung" in text


def test_what_is_not_recorded_is_asked_for_and_never_made_up() -> None:
    of = material()
    assert of.found is not None
    bare = material(replace(of.found, episode=replace(of.found.episode, goal=None)))
    text = " ".join(pages(set_("home", bare).data))
    assert "We have no note of this. Please ask your nurse." in text
    assert text.count("Not recorded: the team writes it here.") == 3  # whom to call, tube out, next visit


def test_the_units_own_words_and_contact_are_printed_as_written() -> None:
    beside = Beside(
        cards={"fell_out": thing("card", title="Out", text="Own words #1.\nThen ] own.", approved_by="Lead")},
        home=thing("home", from_ms=0, to_ms=None, visit_ms=None, contact="Ward line, invented 00-11-22"),
    )  # fmt: skip
    text = " ".join(pages(set_("home", material(beside=beside)).data))
    assert "Own words #1. Then ] own." in text and "Approved by" not in text  # that is for staff
    assert "Ward line, invented 00-11-22" in text
    ended = replace(beside, home=thing("home", from_ms=0, to_ms=1, visit_ms=None, contact="Ward line"))
    assert "Ward line" not in " ".join(pages(set_("home", material(beside=ended)).data))


@pytest.mark.parametrize(("rule", "asked"), [
    ("air-50-8h", "The air must be low"), ("fluid-450", "The air and the fluid must be low"), (None, None),
])  # fmt: skip
def test_it_tells_of_air_and_fluid_only_what_the_rule_asks(rule: str | None, asked: str | None) -> None:
    text = " ".join(pages(set_("explain", material(found("healing", 30.0, rule))).data))
    assert "Your team has a written rule" in text
    assert (asked is None) == ("must be low" not in text) and (asked or "") in text
    assert reading_ease(patient._out_when(material(found("healing", 30.0, rule)))) >= FAIRLY_EASY
