"""One frame of HL7 v2: read, kept, and only then answered. Whatever is in it, there is an answer."""

from __future__ import annotations

import asyncio
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from uuid import uuid4

from slackwater.errors import NotWritten, SlackwaterError
from slackwater.feed.hl7_ack import answer, asked_by, batch_answer
from slackwater.feed.hl7_chart import enter
from slackwater.feed.hl7_codes import Codes
from slackwater.feed.hl7_fault import NOBODY, OURS, WORDS, WRONG_TYPE, At, Hl7Error, refusal
from slackwater.feed.hl7_message import batch_of, message_of
from slackwater.feed.hl7_oru import Understood, understand
from slackwater.feed.intake import Intake, told_of
from slackwater.feed.line import message_of as kept_form
from slackwater.store.group import KEPT_BESIDE

MOST_TOLD = 20  # things passed over that one answer tells


class Taker:
    """Takes frames for one intake by one table of codes. `counts`: messages by MSA-1 (AA, AE, AR).

    `tell` gets a line for each refusal: code and place of the first fault, nothing of what was sent.
    """

    def __init__(self, intake: Intake, codes: Codes, tell: Callable[[str], None]) -> None:
        self.intake = intake
        self.codes = codes
        self.tell = tell
        self.counts: Counter[str] = Counter()
        self._charting = asyncio.Lock()  # serves in the order in which it was asked for

    async def take(self, frame: bytes) -> str:
        """The answer to a frame: an ACK, or for a batch a batch of them. A refusal is an answer, too."""
        try:
            batch = batch_of(frame)
        except Hl7Error as error:
            return self.refuse(frame, error.faults)
        if batch.header is None:
            return await self._one(batch.texts[0])
        answers = [await self._one(text) for text in batch.texts]
        return batch_answer(asked_by(frame), answers, now_ms=self._now_ms(), id_=_id())

    def refuse(self, data: bytes | str, faults: Sequence[Hl7Error]) -> str:
        """The answer that says what is wrong."""
        asked = asked_by(data)
        first = faults[0]  # its code and place, and never its words: they quote what was sent, which may name a patient
        id_ = asked.control[:40] or "without a control id"
        self.tell(f"hl7: refused message {id_}: {first.place}: {first.code} {WORDS[first.code]}")
        said = answer(asked, now_ms=self._now_ms(), id_=_id(), faults=faults)
        self.counts[refusal(faults)] += 1
        self.intake.refused()
        return said

    async def _one(self, text: str) -> str:
        try:
            understood = understand(message_of(text), self.codes)
            warned = await self._keep(understood)
        except Hl7Error as error:
            return self.refuse(text, error.faults)
        except NotWritten as error:
            return self.refuse(text, [_ours(error.what)])
        except SlackwaterError as error:
            return self.refuse(text, [Hl7Error(str(error), code=WRONG_TYPE, at=At("MSH"))])
        except Exception as error:  # noqa: BLE001  whatever it is, the sender hears of it, and the next one is tried
            at = traceback.extract_tb(error.__traceback__)[-1]
            # where, and not its words: they may be about a patient
            self.tell(f"hl7: a fault of this program: {type(error).__name__} at {at.filename}:{at.lineno}")
            return self.refuse(text, [_ours("a fault of this program")])
        self.counts["AA"] += 1
        told = understood.passed_over[:MOST_TOLD]
        return answer(asked_by(text), now_ms=self._now_ms(), id_=_id(), told=told, warned=warned)

    async def _keep(self, understood: Understood) -> list[tuple[At, str]]:
        """The results, then the readings; durable when it returns. What the sender should look at.

        Whatever is charted is so in the order in which it came: a correction must not come before what it corrects.
        """
        warned: list[tuple[At, str]] = []
        if understood.label is None:
            await self._check_registered(understood)
        else:
            async with self._charting:
                await self._check_registered(understood)
                made = await asyncio.to_thread(
                    enter, self.intake.record, understood, lambda at, what: warned.append((at, what))
                )
            self.intake.counts["entered in charts"] += made
        became = await asyncio.gather(*(self.intake.offer(kept_form(one.reported)) for one in understood.readings))
        warned += [
            (placed.at, told_of(what))
            for placed, what in zip(understood.readings, became, strict=True)
            if what == KEPT_BESIDE
        ]
        return warned

    async def _check_registered(self, understood: Understood) -> None:
        for placed in understood.readings:
            if not await self.intake.registered(placed.reported.unit):
                what = f"unit {placed.reported.unit} is not registered here"
                raise Hl7Error(what, code=NOBODY, at=placed.at, mend="Pair it with a drain, or make it a key.")

    def _now_ms(self) -> int:
        return self.intake.record.now_ms()


def _ours(what: str) -> Hl7Error:
    return Hl7Error(f"could not be kept: {what}", code=OURS, at=At("MSH"), mend="Send it again later.")


def _id() -> str:
    return uuid4().hex[:20]
