"""What is wrong with an HL7 v2 message, and where: segment, which of its name, field, component.

Codes of HL7 table 0357 and the place as ERR-2 has it: HL7 v2.6, chapter 2 (ERR segment), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.errors import RefusedInput

# Table 0357. Those from 200 to 203 say that the message is none that is taken here, 207 that we could not.
SEQUENCE, MISSING, WRONG_TYPE, NO_SUCH_WORD = 100, 101, 102, 103
NOT_THIS_TYPE, NOT_THIS_EVENT, NOT_THIS_USE, NOT_THIS_VERSION = 200, 201, 202, 203
NOBODY, TWICE, OURS = 204, 205, 207

WORDS = {
    SEQUENCE: "Segment sequence error", MISSING: "Required field missing", WRONG_TYPE: "Data type error",
    NO_SUCH_WORD: "Table value not found", NOT_THIS_TYPE: "Unsupported message type",
    NOT_THIS_EVENT: "Unsupported event code", NOT_THIS_USE: "Unsupported processing id",
    NOT_THIS_VERSION: "Unsupported version id", NOBODY: "Unknown key identifier",
    TWICE: "Duplicate key identifier", OURS: "Application internal error",
}  # fmt: skip
REJECTED = frozenset({NOT_THIS_TYPE, NOT_THIS_EVENT, NOT_THIS_USE, NOT_THIS_VERSION, OURS})


@dataclass(frozen=True)
class At:
    """A place in a message; `number` counts segments of one name from 1, and 0 stands for 'the whole'."""

    segment: str
    number: int = 1
    field: int = 0
    component: int = 0

    def __str__(self) -> str:
        parts = [f"{self.segment} {self.number}"]
        parts += [f"field {self.field}"] if self.field else []
        parts += [f"component {self.component}"] if self.component else []
        return ", ".join(parts)

    def of(self, field: int, component: int = 0) -> At:
        """A field of the same segment."""
        return At(self.segment, self.number, field, component)


class Hl7Error(RefusedInput):
    """A message, or a part of it, that is not taken. `code` is of table 0357."""

    def __init__(self, what: str, *, code: int, at: At, mend: str = "") -> None:
        self.code = code
        self.place = at
        super().__init__(what, where=str(at), mend=mend)

    @property
    def faults(self) -> tuple[Hl7Error, ...]:
        return (self,)


class Hl7Errors(Hl7Error):
    """Several faults of one message, in its order."""

    def __init__(self, faults: tuple[Hl7Error, ...]) -> None:
        first = faults[0]
        super().__init__(first.what, code=first.code, at=first.place, mend=first.mend)
        self._faults = faults

    @property
    def faults(self) -> tuple[Hl7Error, ...]:
        return self._faults


def refusal(faults: Sequence[Hl7Error]) -> str:
    """MSA-1: AR where no message of this kind is taken or we could not; AE where its content is at fault."""
    return "AR" if any(fault.code in REJECTED for fault in faults) else "AE"
