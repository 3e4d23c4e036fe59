"""The answer to an HL7 v2 message: MSA, and an ERR for each fault that says where it is.

HL7 v2.6 chapter 2 (original mode; MSA, ERR with ERR-2 as segment^which^field^repetition^component, table 0357). From
memory.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.episode.types import Instant
from slackwater.feed.hl7_fault import WORDS, At, Hl7Error, refusal
from slackwater.feed.hl7_message import escaped
from slackwater.feed.hl7_time import written

_KNOWN_VERSIONS = re.compile(r"2\.(?:[5-8])(?:\.[12])?", re.ASCII)  # those whose ERR is this one
LONGEST = 600  # characters of what is told


@dataclass(frozen=True)
class Asked:
    """What an answer must repeat of a message, as far as its bytes tell it; read without judging them."""

    control: str = ""
    application: str = ""
    facility: str = ""
    to_application: str = ""
    to_facility: str = ""
    event: str = ""
    use: str = ""
    version: str = ""


def asked_by(data: bytes | str) -> Asked:
    """From the first header in it: even a message that cannot be read is answered by its own control id."""
    text = data.decode("latin-1") if isinstance(data, bytes) else data
    start = re.search(r"(?:MSH|BHS|FHS)[^\w\s]", text)
    if start is None:
        return Asked()
    line = re.split(r"[\r\n]", text[start.start() : start.start() + 4096], maxsplit=1)[0]
    cells = line.split(line[3])
    cells += [""] * (18 - len(cells))
    component = cells[1][:1] or "^"
    is_message = line[:3] == "MSH"
    return Asked(
        control=cells[9 if is_message else 10], application=cells[2], facility=cells[3], to_application=cells[4],
        to_facility=cells[5], event=cells[8].partition(component)[2].split(component)[0] if is_message else "",
        use=cells[10] if is_message else "", version=cells[11].split(component)[0] if is_message else "",
    )  # fmt: skip


def answer(
    asked: Asked, *, now_ms: Instant, id_: str, faults: Sequence[Hl7Error] = (), told: Sequence[tuple[At, str]] = (),
    warned: Sequence[tuple[At, str]] = (),
) -> str:  # fmt: skip
    """One ACK, segments ended by CR. faults: why it is not taken; none: it is taken. told: what of it was not used;
    warned: what the sender should look at. Severities E, I and W of ERR-4 (table 0516)."""
    code = refusal(faults) if faults else "AA"
    version = asked.version if _KNOWN_VERSIONS.fullmatch(asked.version) else "2.5"
    event = asked.event if re.fullmatch(r"[A-Z0-9]{3}", asked.event, re.ASCII) else "R01"
    use = asked.use if asked.use in ("P", "T", "D") else "P"
    from_, to = (asked.to_application, asked.to_facility), (asked.application, asked.facility)
    names = "|".join(_brief(name) for name in (from_[0] or "slackwater", from_[1], *to))
    lines = [
        f"MSH|^~\\&|{names}|{written(now_ms)}||ACK^{event}^ACK|{id_}|{use}|{version}||||||UNICODE UTF-8",
        f"MSA|{code}|{_brief(asked.control)}",
    ]
    lines += [
        f"ERR||{_place(fault.place)}|{fault.code}^{WORDS[fault.code]}^HL70357|E||||{_shown(str(fault))}"
        for fault in faults
    ]
    lines += [
        f"ERR||{_place(at)}|0^Message accepted^HL70357|{severity}||||{_shown(f'{at}: {what}')}"
        for severity, some in (("W", warned), ("I", told)) for at, what in some
    ]  # fmt: skip
    return "".join(f"{line}\r" for line in lines)


def batch_answer(asked: Asked, answers: Sequence[str], *, now_ms: Instant, id_: str) -> str:
    """The answers to a batch, as a batch; BHS-12 is the control id of the one that is answered."""
    head = "|".join(
        _brief(name)
        for name in (asked.to_application or "slackwater", asked.to_facility, asked.application, asked.facility)
    )
    return (
        f"BHS|^~\\&|{head}|{written(now_ms)}||||{id_}|{_brief(asked.control)}\r{''.join(answers)}BTS|{len(answers)}\r"
    )


def _place(at: At) -> str:
    parts = [at.segment, str(at.number), str(at.field or ""), "1" if at.component else "", str(at.component or "")]
    return "^".join(parts).rstrip("^")


def _brief(text: str) -> str:
    """As it came, without what does not print or is no part of one field."""
    return "".join(sign for sign in text[:227] if sign.isprintable() and sign != "|")


def _shown(text: str) -> str:
    return escaped("".join(sign if sign.isprintable() else "·" for sign in text[:LONGEST]))
