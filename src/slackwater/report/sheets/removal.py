"""How the drain came out, field by field. What was not recorded is said to be so, with room to write it."""

from __future__ import annotations

from dataclasses import replace

from slackwater.report.sheets.answer import leak_words, rule_words, standing
from slackwater.report.sheets.frame import frame, moment
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Blanks, Bullets, Fact, Facts, Section, Sheet, Words
from slackwater.report.sheets.summary import who
from slackwater.report.words import NOT_RECORDED, plain
from slackwater.store.removing import ANALGESIA

_FIELDS = (
    "Kind of removal", "Time out", "Removed by", "Second person", "Number, side and site read back", "Moment of breath",
    "Analgesia", "Tip", "Suture out", "Otherwise than the rule, because",
)  # fmt: skip


_BY_HAND = "Beside 'not recorded' write only what you saw or did yourself, then enter it in the record."


def removal(of: Material) -> Sheet:
    out = None if of.course is None else of.course.removal
    if not of.out:
        out = None
    rows = tuple(_fact(name, NOT_RECORDED) for name in _FIELDS) if out is None else _rows(of)
    sections = [
        Section("Drain", (who(of),)),
        Section("The rule then", (_rule(of),)),
        Section("Removal", (Words((_BY_HAND,)), Facts(rows))),
    ]
    if out is None:
        sections[2] = Section(
            "Removal", (Words(("No removal of this drain is recorded.", _BY_HAND), strong=True), Facts(rows)),
        )  # fmt: skip
    sections.append(Section("Checks owed after it", (_checks(of),)))
    sections.append(Section("", (Blanks(("Signed", "Time"), 0),)))
    return Sheet(
        "removal",
        "Removal record",
        frame(of),
        tuple(sections),
        doubtful=out is None or NOT_RECORDED in {r.text for r in rows},
    )


def _rule(of: Material) -> Facts:
    then = replace(of, asked_ms=None)  # what stood as it came out, not what is owed since
    return Facts((*standing(then), Fact("Rule", rule_words(of)), Fact("Air leak", leak_words(of))))


def _rows(of: Material) -> tuple[Fact, ...]:
    assert of.course is not None and of.course.removal is not None
    out = of.course.removal
    without = next((one["because"] for one in of.beside.decisions if one["what"] == ANALGESIA), NOT_RECORDED)
    tip = {True: "whole", False: "not whole", None: NOT_RECORDED}[out["tip_intact"]]
    seen = (out["overall"] or "").replace("_", " ")
    told = {
        "Kind of removal": plain(out["kind"]),
        "Time out": moment(out["time_ms"], of),
        "Removed by": out["removed_by"] or NOT_RECORDED,
        "Second person": out["second_person"] or NOT_RECORDED,
        # The form asks for the read-back and refuses another drain's; what was read is no field of the record.
        "Number, side and site read back": NOT_RECORDED,
        "Moment of breath": plain(out["breath_phase"]),
        "Analgesia": without if out["analgesia_ms"] is None else moment(out["analgesia_ms"], of),
        "Tip": tip,
        "Suture out": NOT_RECORDED if out["suture_out_ms"] is None else f"due {moment(out['suture_out_ms'], of)}",
        "The rule's answer as it was seen": seen or NOT_RECORDED,
        "Otherwise than the rule, because": out["against_rule_because"] or (
            "it was met" if seen == "met" else NOT_RECORDED
        ),
    }  # fmt: skip
    return tuple(_fact(name, text) for name, text in told.items())


def _fact(name: str, text: str) -> Fact:
    return Fact(name, text, blank=text == NOT_RECORDED)


def _checks(of: Material) -> Bullets | Words:
    if of.facts is None or not of.out or not of.facts.checks:
        return Words(("No check after removal is recorded as owed or done. Local policy says which are.",))
    told = []
    for one in of.facts.checks:
        mark = f" ({one.mark})" if one.mark else ""
        told.append(f"{one.what.replace('xray', 'X-ray')}{mark}: {one.more}")
    return Bullets(tuple(told))
