"""Lines of one unit as they came through a door: each read, kept or refused by itself, and answered for."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from slackwater.errors import NotWritten, SlackwaterError
from slackwater.feed.intake import Intake, told_of
from slackwater.feed.line import LineError, message_of, read_line

MOST_LINES = 1000  # in one request or message
MOST_BYTES = 512 * 1024
REFUSED, NOT_WRITTEN = "refused", "not written"


@dataclass(frozen=True)
class Answer:
    """What became of a line (from 1): an outcome of `store.group`, REFUSED or NOT_WRITTEN; why, where that is told."""

    line: int
    outcome: str
    why: str = ""


async def take(intake: Intake, data: bytes, serial: str) -> list[Answer]:
    """Keep the readings of unit `serial`, all in one act where that is possible; an answer for each line.

    A bad line stands in nobody's way. NOT_WRITTEN: disk, server or this program failed, so the sender must send it
    again.
    """
    lines = [(at, line) for at, line in enumerate(data.split(b"\n"), start=1) if line.strip()]
    if len(lines) > MOST_LINES or len(data) > MOST_BYTES:
        intake.refused()
        why = f"over {MOST_LINES} lines or {MOST_BYTES // 1024} kB at once: send fewer"
        return [Answer(0, REFUSED, why)]
    if not lines:
        intake.refused()
        return [Answer(0, REFUSED, "there is no line in it")]
    if len(lines) == 1:  # as most come: without a task of its own
        return [await _take(intake, *lines[0], serial)]
    return list(await asyncio.gather(*(_take(intake, at, line, serial) for at, line in lines)))


async def _take(intake: Intake, at: int, line: bytes, serial: str) -> Answer:
    try:
        reported = read_line(line.decode("utf-8").strip())
        if reported.unit != serial:
            raise LineError("is another unit's", where="unit", mend=f"This door is for {serial}.")
    except UnicodeDecodeError:
        intake.refused()
        return Answer(at, REFUSED, "the line: is not UTF-8")
    except LineError as error:
        intake.refused()
        return Answer(at, REFUSED, str(error))
    except Exception as error:  # noqa: BLE001  a line that this program stumbles over must not close the door
        intake.refused()
        return Answer(at, REFUSED, f"the line: is not understood ({type(error).__name__}, a fault of this program)")
    try:
        outcome = await intake.offer(message_of(reported))
    except NotWritten:
        return Answer(at, NOT_WRITTEN, "disk or server failed: send it again")
    except SlackwaterError as error:
        return Answer(at, REFUSED, str(error))
    return Answer(at, outcome, "" if told_of(outcome) == outcome else told_of(outcome))
