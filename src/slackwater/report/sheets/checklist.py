"""The blank paper checklist: for when nothing works, and for nobody in particular. Common practice, no source."""

from __future__ import annotations

from slackwater.assessment import cautions
from slackwater.assessment.cautions import Caution
from slackwater.report.sheets.frame import PAPER
from slackwater.report.sheets.sheet import Blanks, Boxes, Frame, Section, Sheet, Table, Words

_HOURS = 7  # rows of the table
_NO_DATA = Caution("cau-C5", "No data are in this form. Write the time beside everything that you write.")
_NO_RULE = Caution("cau-C6", "No rule has judged anything here. Use your unit's own written rule.")


def checklist() -> Sheet:
    frame = Frame(
        "Blank form: patient ____________________   drain number ____   side ________   site ____________", "",
        "No data: everything here is written by hand.", "to be looked up in the unit's own written rule", "",
        (cautions.SUPPORT_ONLY, _NO_DATA, _NO_RULE, cautions.RIGHT_DRAIN),
        (cautions.OTHER_CAUSES, cautions.OUT_OF_SCOPE, cautions.ABSENCE, *PAPER),
    )  # fmt: skip
    observed = Table(
        "A set at each look. Write 'not looked' where you did not: an empty box is not a zero.",
        ("time", "suction ordered, set, read (with unit)", "air leak (mL/min, or bubbles)", "on a cough", "swing",
         "fluid since last (mL), look of it", "tube, joints, site", "breaths, SpO2", "name"),
        tuple(("\n\n",) + ("",) * 8 for _ in range(_HOURS)), (3, 5, 5, 4, 4, 5, 5, 4, 3), form=True,
    )  # fmt: skip
    return Sheet(
        "checklist", "Drain checklist on paper", frame,
        (
            Section("First", (Boxes(_FIRST),)),
            Section("Whose drain", (Blanks(_WHOSE),)),
            Section("Observations", (observed,)),
            Section("Before anyone takes it out", (Boxes(_OUT), Blanks(("Removed by, with", "Time out")))),
            Section("When the program works again", (Words((_BACK,)),)),
        ),
    )  # fmt: skip


_WHOSE = (
    "Patient (2 identifiers)", "Number, side, site", "Goal; unit's rule", "Unit; canister lot",
)  # fmt: skip
_FIRST = (
    "Patient: breathing, colour, pain, conscious. If unwell, act and call for help: local emergency policy.",
    "Tube from skin to unit: no kink, no loop, no clamp left on, joints tight, site dry.",
    "Unit: below the chest, upright, on, on mains or charged; canister not full; suction as ordered.",
    "No flow and no swing: a blocked, kinked, clamped or switched-off drain looks like this too.",
)
_OUT = (
    "Name, number, side and site read back at the bedside by two people.",
    "The unit's written rule looked up, clause by clause; the tube shown open; a cough tried and looked at.",
    "X-ray looked at, blood thinning and pain relief asked about, as local policy says.",
    "A licensed professional who has seen the patient decides.",
)
_BACK = (
    "Enter all of this with the times at which it was so, and say that it was written on paper first. Keep the paper."
)
