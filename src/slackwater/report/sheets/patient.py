"""For the patient, in plain words and large print: why the drain is there, and going home with it.

The reading ease of the fixed words is checked by a test. Words that a unit approved are printed as they are.
"""

from __future__ import annotations

import re

from slackwater.assessment.warnings import CLAMPED_IN_DISTRESS
from slackwater.report.drain_facts import DrainFacts
from slackwater.report.orders import ALLOWED
from slackwater.report.sheets.frame import frame, moment, patient_frame
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Blanks, Bullets, Fact, Facts, Part, Section, Sheet, Words
from slackwater.report.words import NOT_RECORDED

_SPACES = {
    "pleural": "beside your lung", "mediastinal": "in the middle of your chest", "pericardial": "around your heart",
}  # fmt: skip
_SIDES = {"left": "on your left side", "right": "on your right side", "midline": "in the middle"}
_STOP = re.compile(r"\bstop\b", re.IGNORECASE)
_WRITE = "Not recorded: the team writes it here."
_ASK = "We have no note of this. Please ask your nurse."

WHAT_IT_DOES = (
    "A thin tube lets air or fluid out of your chest. This helps you to breathe and heal.",
    "The tube is held in place. It is joined to a box that you can carry.",
    "The staff look at the tube and the box each day and each night.",
)
WHAT_YOU_CAN_DO = (
    "Keep the box below your chest, and keep it upright.",
    "Do not pull, bend or lie on the tube.",
    "Cough and breathe deeply. Hold a pillow to your side when you cough.",
    "Ask for help for pain. You should be able to cough and walk.",
    "Ask before you walk, and ask each time if the box may come off the wall.",
    "You may hear the box hum or see bubbles. If a sound is new, tell your nurse.",
)  # common practice, no source: local policy decides
TELL_US = (
    "it gets harder to breathe, or you have new chest pain",
    "the tube comes out, comes apart, or the box falls over",
    "the skin of your chest, neck or face swells or crackles",
    "you see blood, or much more fluid than before",
    "you feel hot, shake or feel unwell",
)  # common practice, no source: local policy decides
OUT_WHEN = (
    "Your team has a written rule for when the tube may come out.",
    "The team looks at you and decides. A number on a box does not decide.",
)
ASKED = (("air_leak", "the air"), ("fluid_output", "the fluid"))  # measures that a patient can be told of in a word
AT_HOME = (
    "Wash your hands before you touch the tube or the dressing.",
    "Look at the skin around the tube each day. Keep the dressing dry.",
    "Write down each day how much fluid there is and what it looks like.",
    "Sleep with the box below you and the tube free.",
    "Do not fly or dive. Ask before you drive.",
    "If your team tells you something else, do what they say.",
)  # common practice, no source: local policy decides


def explain(of: Material) -> Sheet:
    """For the patient, from what is really ordered for this drain."""
    if why := _not_for_patients(of):
        return _kept_back("explain", "About your chest drain", why, of)
    return Sheet(
        "explain", "About your chest drain", patient_frame(of),
        (
            Section("Why you have it", (Words((_where(of), *WHAT_IT_DOES)), Facts(_ordered(of)))),
            Section("Tell your nurse at once if", (Bullets(TELL_US),)),
            Section("What you can do", (Bullets(WHAT_YOU_CAN_DO),)),
            Section("When will it come out?", (Words(_out_when(of)),)),
            Section("Your questions", (Blanks(("Ask about", "Explained by")),)),
        ),
        large=True,
    )  # fmt: skip


def home(of: Material) -> Sheet:
    """Going home with a drain: who to ring, what to look for, when to come back."""
    if why := _not_for_patients(of):
        return _kept_back("home", "Home with a chest drain", why, of)
    held = of.beside.home
    if held is not None and (
        held["from_ms"] > of.as_of_ms or (held["to_ms"] is not None and held["to_ms"] <= of.as_of_ms)
    ):
        held = None
    contact = None if held is None else held["contact"]
    visit = None if held is None else held["visit_ms"]
    call: tuple[Part, ...] = (Words((_WRITE,)), Blanks(("Day", "Night")))
    if contact:
        call = (Words((str(contact),), strong=True),)
    seen: tuple[Part, ...] = (Words((_WRITE,)), Blanks(("Date and place",)))
    if visit is not None:
        seen = (Words((moment(visit, of),)),)
    return Sheet(
        "home", "Home with a chest drain", patient_frame(of),
        (
            Section("Who to ring", call),
            Section("Ring at once if", (Bullets(TELL_US),)),
            Section("If the tube comes out", _own(of, "fell_out") or (Words((_WRITE,)), Blanks(("Do this",), 2))),
            *(Section("If the tube comes apart", own) for own in (_own(of, "came_apart"),) if own),
            Section("Each day", (Bullets(AT_HOME),)),
            Section("Your drain", (Facts(_ordered(of)),)),
            Section("Your next visit", seen),
        ),
        large=True,
    )  # fmt: skip


def _out_when(of: Material) -> tuple[str, ...]:
    """What this drain's own rule asks, as far as a word says it."""
    judged = None if of.found is None else of.found.evaluation
    asks = {clause.measure_name for clause in judged.protocol.removal} if judged is not None else set()
    told = [word for name, word in ASKED if name in asks]
    if not told:
        return OUT_WHEN
    rule, decides = OUT_WHEN
    return f"{rule} {' and '.join(told).capitalize()} must be low for a set time.", decides


def _not_for_patients(of: Material) -> str:
    """Why these plain words would say otherwise than what staff must act on; '' where they do not."""
    line = of.line
    if line.removed:
        return f"this drain is out ({line.removed})."
    stops = [text for text in line.items if _STOP.search(text) or text == CLAMPED_IN_DISTRESS]
    if stops:
        return " ".join(stops)
    suction = line.suction
    sucked = not suction.none_ordered and not suction.ordered == suction.delivered == NOT_RECORDED
    if of.episode.operation_kind == "pneumonectomy" and sucked:
        return "suction is recorded after pneumonectomy. Check the order first, as local policy says."
    return ""


def _kept_back(name: str, title: str, why: str, of: Material) -> Sheet:
    """Nothing but a note for staff."""
    note = Words((f"Do not hand out: {why}", "Look at the patient and the drain; print it again then."), strong=True)
    staff = (Section("For staff", (note,)),)
    return Sheet(name, f"Not for the patient: {title}", frame(of), staff, large=True, doubtful=True)


def _own(of: Material, name: str) -> tuple[Part, ...]:
    """The unit's own approved words, as written."""
    card = of.beside.cards.get(name)
    if card is None:
        return ()
    return (Words(tuple(str(card["text"]).splitlines()), strong=True),)


def _where(of: Material) -> str:
    one = of.episode
    side, space = _SIDES.get(one.side or ""), _SPACES.get(one.space or "")
    if side is None and space is None:
        return "You have a drain in your chest."
    return f"You have a drain {' '.join(word for word in (side, space) if word)}."


def _ordered(of: Material) -> tuple[Fact, ...]:
    """What was really ordered, in plain words with its number."""
    line, facts = of.line, of.facts
    level = line.suction.ordered
    if line.suction.none_ordered:
        pull = "None. The drain works on its own."
    elif level == "not recorded":
        pull = _ASK
    else:
        pull = f"The box pulls gently all the time. Ordered: {level}."
    off = _ASK
    if line.suction.none_ordered:
        off = "There is no suction to take off. Ask before you walk."
    elif line.may_be_off.startswith(ALLOWED):
        span = line.may_be_off.removeprefix(ALLOWED).removesuffix(", as ordered").strip()
        off = f"Yes, for {span} at a time. Tell your nurse first."
    return (
        Fact("Suction", pull), Fact("May it be off?", off), Fact("What it is for", of.episode.goal or _ASK),
        *_next(facts),
    )  # fmt: skip


def _next(facts: DrainFacts | None) -> tuple[Fact, ...]:
    if facts is None or not facts.holds:
        return ()
    return (Fact("It stays in for now", "Ask your team why, and for how long."),)
