"""The cautions that go with every answer, in the words readers see. Ids are tested for presence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from slackwater.quantities.spans import MINUTE_MS


@dataclass(frozen=True)
class Caution:
    """One caution: its id, and the sentence shown."""

    id: str
    text: str


SUPPORT_ONLY = Caution(
    "cau-C1",
    "This tool arranges what was recorded and compares it with your unit's own rule. It does not decide. "
    "A licensed professional who has seen the patient decides, under local policy.",
)
NOT_AN_ALARM = Caution(
    "cau-C2",
    "Do not rely on this to learn that something is wrong. The drainage device's own alarms and the bedside check "
    "come first.",
)
ABSENCE = Caution(
    "cau-C3", "No reading is not a reading of zero. Where data are missing the answer is 'cannot tell', on purpose."
)
OTHER_CAUSES = Caution(
    "cau-C4",
    "A blocked, kinked, clamped or switched-off drain also shows no flow. Check the tube, the swing and the patient.",
)
RIGHT_DRAIN = Caution("cau-C9", "Confirm name, number, side and site at the bedside.")
OUT_OF_SCOPE = Caution(
    "cau-C10",
    "Not for suction after pneumonectomy, nor for ventilated patients, children or drains that share one unit unless "
    "your protocol says so, nor for emergencies. If the patient is unwell, act; do not consult this tool.",
)
FORECAST = Caution(
    "cau-C7",
    "An estimate with its range, by a model tried only on simulated stays. It says nothing about whether removal "
    "is safe.",
)
STATUS = Caution(
    "cau-C12",
    "Not a certified medical device. In many places software like this is regulated; the organisation using it must "
    "find out, and must complete its own safety case and local testing.",
)
WHEN_DOWN = Caution("cau-C13", "If this tool is down, late or doubtful, use the paper checklist.")
PRIVATE = Caution("cau-C14", "Contains health data: keep it with the patient's notes, or destroy it as they are.")
TESTED = Caution(
    "cau-C15", "Tested with simulated and published data; figures are in its documents. No clinical benefit is claimed."
)
NO_FLOW = Caution("cau-C11", "No flow was measured here, so nothing is known of the steps of its source.")


def freshness(data_until_ms: int | None, now_ms: int, last_reading: bool) -> Caution:
    """How old the data are."""
    if data_until_ms is None:
        return Caution("cau-C5", "No log: this rests on what was charted.")
    age = max(0, (now_ms - data_until_ms) // MINUTE_MS)
    at = datetime.fromtimestamp(data_until_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M UTC")
    if last_reading:
        return Caution(
            "cau-C5", f"Data until {at}; how old that is now was not asked (--at now). Later events are not in here."
        )
    return Caution("cau-C5", f"Data until {at}, {age} min old at the time asked about. Later events are not in here.")


def rule_in_force(name: str, version: str, sha256: str, status: str, approved_by: str, guards_waived: bool) -> Caution:
    """Which rule judged, and who stands behind it."""
    approval = f"approved by {approved_by}" if status == "approved" else f"status {status}: not approved for use"
    waived = " Its guards are waived: nothing here asks whether the tube was open." if guards_waived else ""
    return Caution(
        "cau-C6",
        f"Judged by protocol {name} {version} ({sha256[:12]}), {approval}. The numbers are the rule's; none comes "
        f"from this program.{waived}",
    )


def measurement(step_ml_per_min: float, declared: bool, rounding: str) -> Caution:
    """What the source can tell apart."""
    if step_ml_per_min <= 0:
        text = "The step in which the source reports flow is not known; values are taken as printed."
        return Caution("cau-C11", text)
    how = "declared" if declared else "found from the data"
    return Caution(
        "cau-C11",
        f"The source reports flow in steps of {step_ml_per_min:g} mL/min ({how}, rounding {rounding}); a value whose "
        "step straddles the limit is 'cannot tell'.",
    )
