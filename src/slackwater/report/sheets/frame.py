"""What stands on every page of a sheet: whose drain, until when, by which rule, and the cautions; on a patient's own
sheet, whose it is and when it was printed, with the same cautions in a patient's words."""

from __future__ import annotations

from dataclasses import replace

from slackwater.assessment import cautions
from slackwater.assessment.cautions import Caution
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.line import STANDS_MS
from slackwater.report.sentences import drain_words
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.others import others
from slackwater.report.sheets.sheet import Frame
from slackwater.report.times import dated

LABEL, HEADER = 24, 150  # letters: what a label keeps at least, and what the head of a page has room for
HASH = 12  # letters of the rule's hash that are printed
YOUR_TEAM = "Your team decides about your drain. This sheet does not. If you feel unwell, ring at once."
YOURS = "Is this sheet yours? Check the name, the drain's number and the side."
PAPER = (cautions.WHEN_DOWN, cautions.PRIVATE, cautions.TESTED)  # what a print says beside what a screen says


def frame(of: Material) -> Frame:
    """Every page carries C1, C5, C6, C9; the first one C4, C10, C11, C13, C14 and C15 too."""
    rule, status = _rule(of)
    data = _data(of)
    held = {} if of.found is None else {one.id: one for one in of.found.cautions}
    judged = held.get("cau-C6") or Caution("cau-C6", f"Judged by no rule here: {rule}.")
    fresh = Caution("cau-C5", data)
    return Frame(
        whose(of), _place(of), data, rule, status,
        (cautions.SUPPORT_ONLY, fresh, judged, cautions.RIGHT_DRAIN),
        (cautions.OTHER_CAUSES, cautions.OUT_OF_SCOPE, held.get("cau-C11", cautions.NO_FLOW), *PAPER),
        _short(of), others(of),
    )  # fmt: skip


def patient_frame(of: Material) -> Frame:
    """For a sheet that the patient keeps: as `frame`, with the day of its print in place of when it expires, and what
    it is not in a patient's words."""
    told = f"As it was recorded on {day(of.as_of_ms, of)}; printed" if of.back else "Printed"
    until = None if of.found is None else of.found.data_until_ms
    known = "no log" if until is None else f"recorded until {moment(until, of)}"
    data = f"{told} on {day(of.printed_ms, of)}, {known}. If something changes, ask your team for a new sheet."
    words = {"cau-C1": YOUR_TEAM, "cau-C5": data, "cau-C9": YOURS}
    base = frame(of)
    every = tuple(Caution(one.id, words.get(one.id, one.text)) for one in base.every)
    return replace(base, data=data, every=every)


def whose(of: Material) -> str:
    """The words of every answer; a site that nobody recorded is said to be so."""
    return drain_words(of.episode) + ("" if of.episode.site else " · site not recorded")


def _short(of: Material) -> str:
    """The same with a long label shortened in its middle, so that number, side and site keep their room."""
    whole, label = whose(of), of.episode.patient_id or ""
    room = max(LABEL, HEADER - len(whole) + len(label))
    if len(label) <= room:
        return whole
    named = replace(of.episode, patient_id=f"{label[: room - 9]}…{label[-8:]}")
    return drain_words(named) + whole[len(drain_words(of.episode)) :]


def day(ms: int, of: Material) -> str:
    return dated(ms, of.zone)[:15]


def moment(ms: int, of: Material) -> str:
    return dated(ms, of.zone)


def _place(of: Material) -> str:
    if of.course is None:
        return ""
    stay = of.course.episode
    told = (stay["ward"], f"bed {stay['bed']}" if stay["bed"] else None, stay["initials"])
    return ", ".join(one for one in told if one)


def _rule(of: Material) -> tuple[str, str]:
    """The rule by name, version and hash; and what is to be said of its status."""
    judged = None if of.found is None else of.found.evaluation
    if judged is not None:
        rule = judged.protocol
        status = "" if rule.status == "approved" else f"{rule.status} rule: not approved for use"
        return f"{rule.name} {rule.version or 'without a version'} ({rule.sha256[:HASH]})", status
    return ("none: no rule was given" if of.facts is None else of.facts.rule.rstrip(".")), ""


def _data(of: Material) -> str:
    """Until when the data go, how old that was at printing, and from when on this paper is out of date."""
    found = of.found
    if found is None or found.data_until_ms is None:
        until = "No log: this rests on what was charted."
        return f"{until} Judged as of {moment(of.as_of_ms, of)}.{_out_of_date(of)}"
    until_ms = found.data_until_ms
    age = (of.printed_ms - until_ms) // MINUTE_MS
    told = f"{format_span(60.0 * age) if age else 'under 1 min'} old when printed"
    text = f"Data until {moment(until_ms, of)}, {told if age >= 0 else 'later than this print: one clock is wrong'}."
    if of.out and of.moment_ms is None:
        return f"{text} The drain is out: judged as of {moment(of.as_of_ms, of)}."
    if of.back or of.moment_ms is not None:
        return f"{text} Looking back to {moment(of.as_of_ms, of)}: nothing later is in here."
    rule = None if found.evaluation is None else found.evaluation.protocol
    if rule is None or rule.data_age_s is None:
        return f"{text} Later events are not in here.{_out_of_date(of)}"
    old_ms = until_ms + round(1000 * rule.data_age_s)
    if old_ms <= of.printed_ms:
        return f"{text} OUT OF DATE by its rule since {moment(old_ms, of)}."
    return f"{text} After {moment(old_ms, of)} this print is out of date."


def _out_of_date(of: Material) -> str:
    """Where no rule says how old data may be, a print stands as long as the drain's page and the round's line do."""
    if of.back or of.out or of.moment_ms is not None:
        return ""
    return f" After {moment(of.printed_ms + STANDS_MS, of)} this print is out of date."
