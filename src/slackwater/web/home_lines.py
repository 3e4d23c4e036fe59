"""A drain at home, in words: may the patient go by the rule, what was told from there, what is a red flag.

Red flags are the rule's own items to act on, and words of the chart; no limit is invented here. `home_told` runs with
the judges.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.episode.instants import read_zone
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.status import Status
from slackwater.quantities.spans import DAY_MS, HOUR_MS
from slackwater.report.clauses import Part, part
from slackwater.report.round_facts import when
from slackwater.report.words import SHAPES
from slackwater.store.course import Course
from slackwater.store.home import of_diary
from slackwater.web.charted import Last, last_of_each
from slackwater.web.judges import Asked

# Words that are told as they are: whoever reads them looks at the patient first.
FLAGS = {
    ("distress", "yes"): "short of breath", ("tubing", "apart"): "a joint came apart",
    ("tubing", "kinked"): "kink or loop",
    ("fluid_appearance", "bloody"): "fluid bloody", ("fluid_appearance", "clotted"): "fluid clotted",
    ("fluid_appearance", "purulent"): "fluid purulent", ("fluid_appearance", "turbid"): "fluid turbid",
    ("fluid_appearance", "chylous"): "fluid chylous", ("fluid_appearance", "bilious"): "fluid bilious",
    ("fluid_appearance", "feed"): "fluid like feed", ("site", "red or swollen"): "site red or swollen",
    ("site", "loose"): "dressing loose", ("site", "anchor loose"): "anchor loose",
}  # fmt: skip
ASKED = {
    "fluid_output": "fluid", "fluid_appearance": "its look", "temperature": "temperature", "site": "site",
    "distress": "breath",
}  # fmt: skip
NO_RULE = "The rule of this drain says nothing of going home with it: that is the clinicians' and the local policy's."
EMPYEMA = (
    "No source that was read gives a risk of empyema by the day at home. One series: 4.8 % of 62 patients (Monaldi "
    "Arch Chest Dis 2023, abstract)."
)


@dataclass(frozen=True)
class HomeTold:
    """One drain. status: the five; '' without a rule on it. day: of the drain, from 1; None: not known."""

    shape: str
    word: str
    status: str
    protocol: str
    parts: tuple[Part, ...]
    says: str
    day: int | None
    flags: tuple[str, ...]
    cannot_tell: int  # of the rule's items to act on
    missing: tuple[str, ...]  # never told since home, of what the diary asks
    last_ms: int | None  # the last diary entry
    last: str
    temperature: str


@dataclass(frozen=True)
class HomeAsked(Asked):
    """from_ms: since when at home; None: not at home yet."""

    from_ms: int | None = None


def home_told(course: Course, found: Assessment | None, asked: Asked) -> HomeTold:
    """Everything that the pages say of it."""
    assert isinstance(asked, HomeAsked)
    zone = read_zone(asked.zone_name)
    shape, word, status, says, parts, protocol = _eligible(found, zone)
    since = asked.now_ms if asked.from_ms is None else asked.from_ms
    diary = of_diary(course, since, asked.now_ms)
    told = {one["item"] for one in diary if one["value"] is not None}
    last = last_of_each(course, asked.now_ms, zone)
    connected = course.drain["connected_ms"]
    fever = last.get("temperature")
    flags, untold = _flags(found, last)
    day = None if connected is None else (asked.now_ms - connected) // DAY_MS + 1
    return HomeTold(
        shape, word, status, protocol, parts, says, day, flags, untold,
        tuple(words for item, words in ASKED.items() if item not in told),
        diary[-1]["time_ms"] if diary else None, _ago(diary[-1]["time_ms"], asked.now_ms, zone) if diary else "never",
        "" if fever is None else f"{fever.text}, {fever.when}",
    )  # fmt: skip


def _eligible(
    found: Assessment | None, zone: tzinfo
) -> tuple[str, str, str, str, tuple[Part, ...], str]:  # fmt: skip
    judged = None if found is None else found.evaluation
    if found is None or judged is None or judged.home_overall is None:
        return SHAPES[Status.CANNOT_TELL], "no rule on it", "", NO_RULE, (), ""
    overall = judged.home_overall
    says = "; ".join(judged.population.reasons) if overall is Status.NOT_APPLICABLE else ""
    rule = judged.protocol
    name = f"{rule.name} {rule.version}, status {rule.status}"
    parts = tuple(part(one, found, zone) for one in judged.home)
    return SHAPES[overall], overall.said, overall.word, says, parts, name


def _flags(found: Assessment | None, last: dict[str, Last]) -> tuple[tuple[str, ...], int]:
    """The rule's items that are met, and the chart's last words that are flags; and how many items cannot be told."""
    judged = () if found is None or found.evaluation is None else found.evaluation.escalation
    met = [
        ": ".join(text for text in (one.id.replace("-", " ").replace("_", " "), _say(one)) if text)
        for one in judged
        if one.status in (Status.MET, Status.MET_WITH_GAPS)
    ]
    words = [f"{FLAGS[item, one.value]}, {one.when}" for item, one in last.items() if (item, one.value) in FLAGS]
    return (*met, *words), sum(one.status is Status.CANNOT_TELL for one in judged)


def _say(one: Judged) -> str:
    """The unit's own words for an item."""
    return one.clause.say.rstrip(". ") if one.clause is not None else ""


def _ago(at_ms: int, now_ms: int, zone: tzinfo) -> str:
    hours = (now_ms - at_ms) // HOUR_MS
    age = "under an hour" if not hours else f"{hours} h" if hours < 48 else f"{hours // 24} days"
    return f"{when(at_ms, now_ms, zone)}, {age} ago"
