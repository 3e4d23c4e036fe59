"""What every sheet says of leak, rule and what stands, in the same words; never as of now where the data are too old.

On the handover, the summary and the transfer alike: one source, so that two sheets of one moment cannot disagree.
"""

from __future__ import annotations

from slackwater.report.page import WAITS_FOR_NOTHING
from slackwater.report.round import WAITS
from slackwater.report.sentences import leak_sentence, rule_sentence
from slackwater.report.sheets.material import Material
from slackwater.report.sheets.sheet import Fact
from slackwater.report.times import shown

TOO_OLD = "no longer told: the data are older than the rule takes"


def standing(of: Material) -> tuple[Fact, ...]:
    """What nobody may miss: that it is to be kept, what to act on, whose clock is wrong, what is overdue."""
    line = of.line
    return (
        *(Fact("To be kept", text, "!") for text in line.holds),
        *(Fact("To act on", text, "!") for text in line.items),
        *([Fact("Clock", line.ahead, "!")] if line.ahead else []),
        *(Fact("Overdue", text, "◷") for text in line.overdue),
    )


def leak_words(of: Material) -> str:
    if of.found is None:
        return "Cannot tell: neither a log nor a chart is recorded."
    return f"{of.too_old}." if of.too_old else leak_sentence(of.found, of.zone).removeprefix("Air leak: ")


def rule_words(of: Material) -> str:
    """The rule's own word; what people are waited for beside it, never in its place."""
    found, line = of.found, of.line
    if found is None:
        return "Nothing was judged: neither a log nor a chart is recorded."
    if of.outlived:
        return (
            f"cannot tell: judged as of {shown(found.as_of_ms, of.zone)}, and the data are older than the rule takes."
        )
    text = rule_sentence(found, of.zone).removeprefix("Rule: ")
    if line.rule.word.endswith(WAITS) and not of.out:
        text += f" {WAITS.capitalize()} alone: {line.rule.detail}."
    return text


def waits_words(of: Material) -> str:
    """As on the drain's page."""
    if of.found is None:
        return "Cannot tell: nothing was judged."
    wanted = of.found.waiting_for
    return f"{'; '.join(wanted)}." if wanted else WAITS_FOR_NOTHING[of.found.overall]


def delivered(of: Material) -> str:
    return TOO_OLD if of.too_old else of.line.suction.delivered
