"""Frames over TCP: whole, half, glued, slow, too long, stray bytes between; each answered, and none ends the listener.

Sources: HL7's minimal lower layer protocol (VT, the message, FS CR), from memory; python-hl7 0.4.5's own MLLP client
as a sender from outside. The limits are ours.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hl7.mllp import open_hl7_connection

from behaviour.feed.a_message import (
    ADT_BATCH,
    CODES,
    GOOD,
    PATIENT,
    TWIN,
    a_record,
    segments,
    unit_message,
    with_field,
)
from slackwater.errors import NotWritten
from slackwater.feed.hl7_message import MOST_BYTES
from slackwater.feed.intake import Intake
from slackwater.feed.mllp import END, START, Framer, Limits, Listener, Sender, listening
from slackwater.store import Record
from ward.until import LONG_S

HASTY = Limits(frame_s=0.2)  # a frame must come at once; a connection may be as idle as it likes
RESTLESS = Limits(frame_s=0.2, idle_s=0.4)
SMALL = Limits(connections=8)
FEW = Limits(of_one=2)


class Line:
    """A connection to the listener, from the sender's side."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    def write(self, data: bytes) -> None:
        self.writer.write(data)

    async def answer(self) -> str:
        async with asyncio.timeout(LONG_S):
            return (await self.reader.readuntil(END))[1:-2].decode()

    async def verdict(self) -> str:
        """MSA-1, and the first fault's reason."""
        said = await self.answer()
        faults = [fault[8] for fault in segments(said, "ERR") if fault[4] == "E"]
        return " ".join([segments(said, "MSA")[0][1], *faults[:1]])

    async def ended(self) -> bool:
        async with asyncio.timeout(LONG_S):
            return await self.reader.read() == b""


@asynccontextmanager
async def a_listener(
    folder: Path, **told: Any
) -> AsyncIterator[tuple[Callable[[], Awaitable[Line]], Listener, Record]]:
    with a_record(folder) as record:
        async with Intake(record) as intake, listening(intake, codes=CODES, **told) as (listener, port):
            writers: list[asyncio.StreamWriter] = []

            async def line() -> Line:
                found = Line(*await asyncio.open_connection("127.0.0.1", port))
                writers.append(found.writer)
                return found

            yield line, listener, record
            for writer in writers:
                writer.close()


async def answered_once_there_is_room(line: Callable[[], Awaitable[Line]]) -> str:
    """The verdict on GOOD, on a new connection: the listener may still be busy ending the one before."""
    while True:
        one = await line()
        one.write(framed(GOOD))
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            return await one.verdict()
        await asyncio.sleep(0.02)


def framed(text: str | bytes) -> bytes:
    return START + (text if isinstance(text, bytes) else text.encode()) + END


def run(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 2 * LONG_S))


# --- answers ---------------------------------------------------------------------------------------


def test_a_message_is_answered_after_it_is_in_the_record(tmp_path: Path) -> None:
    """HL7 v2.6 chapter 2: MSA-2 is the message's own control id; sender and receiver change places."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            one.write(framed(GOOD))
            said = await one.answer()
            (entry,) = record.things("entry")
            assert (entry["item"], entry["value"], entry["unit"]) == ("heart_rate", "60", "/min")
            assert segments(said, "MSA") == [["MSA", "AA", "MSG0425230332.872NBR488"]]
            (msh,) = segments(said, "MSH")
            assert msh[2:6] == ["ReceivingApplication", "ReceivingFacility", "SendingApplication", "SendingFacility"]
            assert msh[8] == "ACK^R01^ACK" and msh[11] == "2.6"
            told = segments(said, "ERR")
            assert [err[2] for err in told] == ["OBX^5", "OBX^6", "OBX^7"] and {err[4] for err in told} == {"I"}
            one.write(framed(unit_message()))
            assert await one.verdict() == "AA"
            (message,) = record.things("message")
            assert (message["unit"], message["sequence"]) == ("SN-41", 17)

    run(test)


def test_the_same_again_is_accepted_and_nothing_is_doubled(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            lines = [await line() for _ in range(4)]
            for one in lines:  # four connections at once, five times each
                one.write(framed(GOOD) * 5 + framed(unit_message()) * 5)
            for one in lines:
                assert [await one.verdict() for _ in range(10)] == ["AA"] * 10
            assert len(record.things("entry")) == 1 and len(record.things("message")) == 1

    run(test)


def test_other_words_under_a_count_that_was_used_are_kept_beside_and_told(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            one.write(framed(unit_message()) + framed(with_field(unit_message(), "OBX", 4, 5, "41")))
            assert await one.verdict() == "AA"
            said = await one.answer()
            assert segments(said, "MSA")[0][1] == "AA" and "both are doubtful" in segments(said, "ERR")[0][8]
            assert len(record.things("message")) == 2

    run(test)


def test_the_malformed_twin_is_refused_with_all_three_places(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, _record):
            one = await line()
            one.write(framed(TWIN))
            said = await one.answer()
            assert segments(said, "MSA")[0][1] == "AE"
            assert [err[2] for err in segments(said, "ERR")] == ["OBR^2^3^1^3", "OBX^7^5^1^12", "OBX^7^11"]

    run(test)


def test_a_batch_is_answered_by_a_batch(tmp_path: Path) -> None:
    """HL7 v2.6 chapter 2 (batch): each message is answered; ADT is understood as such and is not ours."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            one.write(framed(ADT_BATCH))
            said = await one.answer()
            assert segments(said, "BHS")[0][11] == "abchs20070101123401-1" and segments(said, "BTS") == [["BTS", "2"]]
            assert [msa[1:3] for msa in segments(said, "MSA")] == [["AR", "12334456778890"], ["AR", "12334456778891"]]
            assert {err[3].split("^")[0] for err in segments(said, "ERR")} == {"200"}
            mixed = f"BHS|^~\\&|X||||||||B-7\r{GOOD}\r{ADT_BATCH.decode().split(chr(13), 1)[1]}".replace(
                "BTS|2", "BTS|3"
            )
            one.write(framed(mixed))
            assert [msa[1] for msa in segments(await one.answer(), "MSA")] == ["AA", "AR", "AR"]
            assert len(record.things("entry")) == 1

    run(test)


def test_a_record_that_cannot_be_written_is_no_acknowledgement(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """AR with 207: the fault is ours, and sending again is of use."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):

            def full(**_: object) -> None:
                raise NotWritten("the disk is full")

            one = await line()
            with monkeypatch.context() as patched:
                patched.setattr(record, "act", full)
                one.write(framed(GOOD) + framed(unit_message()))
                for _ in range(2):
                    assert "AR" in await one.verdict()
            assert not record.things("entry") and not record.things("message")
            one.write(framed(GOOD) + framed(unit_message()))
            assert [await one.verdict() for _ in range(2)] == ["AA", "AA"]

    run(test)


def test_a_fault_of_ours_is_answered_and_the_next_message_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def test() -> None:
        told: list[str] = []
        async with a_listener(tmp_path, tell=told.append) as (line, _, _record):
            one = await line()
            with monkeypatch.context() as patched:
                patched.setattr("slackwater.feed.hl7_take.understand", lambda *_: 1 / 0)
                one.write(framed(GOOD))
                assert (await one.verdict()).startswith("AR")
            assert "ZeroDivisionError" in told[0] and PATIENT not in "".join(told)
            one.write(framed(GOOD))
            assert await one.verdict() == "AA"

    run(test)


# --- frames ----------------------------------------------------------------------------------------


def test_frames_may_come_in_any_pieces(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, _record):
            one = await line()
            stream = framed(GOOD) + b"\r\n" + framed(unit_message())
            for at in range(0, len(stream), 97):
                one.write(stream[at : at + 97])
                await one.writer.drain()
                await asyncio.sleep(0)
            assert [await one.verdict() for _ in range(2)] == ["AA", "AA"]

    run(test)


@pytest.mark.parametrize(
    ("stream", "says"),
    [
        (START + GOOD.encode() + framed(GOOD), "the next frame begins before this one ends"),
        (START + GOOD.encode() + b"\x1c" + framed(GOOD), "ends in FS without CR"),
        (START + GOOD[:700].encode() + b"\x1c" + GOOD[700:].encode() + END, "ends in FS without CR"),
        (START + END, "the frame is empty"),
        (START + b"\r\r" + END, "the frame is empty"),
        (START * 3 + GOOD.encode() + END, "the next frame begins before this one ends"),
    ],
)
def test_a_broken_frame_is_refused_and_the_next_is_taken(tmp_path: Path, stream: bytes, says: str) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, _record):
            one = await line()
            one.write(stream + framed(GOOD))
            assert says in await one.verdict()
            last = ""
            while last != "AA":
                last = await one.verdict()

    run(test)


def test_bytes_between_frames_are_told_and_passed_over(tmp_path: Path) -> None:
    async def test() -> None:
        told: list[str] = []
        async with a_listener(tmp_path, tell=told.append) as (line, listener, _record):
            one = await line()
            one.write(b"GET / HTTP/1.1\r\n\r\n" + framed(GOOD) + b"?" * 7 + framed(GOOD))
            assert [await one.verdict() for _ in range(2)] == ["AA", "AA"]
            assert listener.stray == 25 and told == [
                "mllp: 127.0.0.1 sent 18 bytes between frames", "mllp: 127.0.0.1 sent 7 bytes between frames",
            ]  # fmt: skip

    run(test)


@pytest.mark.parametrize(
    "half", [START, START + GOOD[:300].encode(), START + GOOD.encode(), START + GOOD.encode() + b"\x1c"]
)
def test_a_half_frame_is_refused_in_time_and_others_are_served_meanwhile(tmp_path: Path, half: bytes) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, limits=HASTY) as (line, _, record):
            slow, other = await line(), await line()
            slow.write(half)
            other.write(framed(GOOD))
            assert await other.verdict() == "AA"
            assert "no more of it came in time" in await slow.verdict()
            slow.writer.close()
            assert len(record.things("entry")) == 1

    run(test)


def test_a_frame_that_drips_is_ended_all_the_same(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, limits=HASTY) as (line, _, _record):
            slow = await line()
            slow.write(START)

            async def drip() -> None:
                while True:
                    slow.write(b"M")
                    await asyncio.sleep(0.02)

            dripping = asyncio.create_task(drip())
            assert "no more of it came in time" in await slow.verdict()
            dripping.cancel()

    run(test)


def test_a_frame_that_is_cut_by_the_end_of_the_connection_is_refused(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            one.write(START + GOOD.encode())
            one.writer.write_eof()
            assert "the connection ended in the middle of it" in await one.verdict()
            assert not record.things("entry")

    run(test)


@pytest.mark.parametrize("stream", [START + b"M" * (MOST_BYTES + 70_000), b"M" * 300_000])
def test_what_has_no_end_is_refused_and_the_connection_ended(tmp_path: Path, stream: bytes) -> None:
    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, _record):
            one, other = await line(), await line()
            one.write(stream)
            assert (await one.verdict()).startswith("AE MSH 1: ")
            assert await one.ended()
            other.write(framed(GOOD))
            assert await other.verdict() == "AA"

    run(test)


def test_too_many_connections_are_turned_away(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, limits=SMALL) as (line, _, _record):
            lines = [await line() for _ in range(SMALL.connections)]
            lines[0].write(framed(GOOD))
            assert await lines[0].verdict() == "AA"
            assert await (await line()).ended()
            lines[1].writer.close()
            assert await answered_once_there_is_room(line) == "AA"

    run(test)


def test_an_idle_connection_ends_and_leaves_its_place(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, limits=replace(RESTLESS, connections=1)) as (line, _, _record):
            assert await (await line()).ended()
            assert await answered_once_there_is_room(line) == "AA"

    run(test)


@pytest.mark.parametrize("drip", [b"x", START, START + END])
def test_bytes_that_are_no_frame_keep_no_connection_open(tmp_path: Path, drip: bytes) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, limits=RESTLESS) as (line, _, _record):
            one = await line()

            async def dripping() -> None:
                with contextlib.suppress(ConnectionError):
                    while True:
                        one.write(drip)
                        await one.writer.drain()
                        await asyncio.sleep(0.05)

            task = asyncio.create_task(dripping())
            async with asyncio.timeout(LONG_S):
                with contextlib.suppress(ConnectionError):
                    while await one.reader.read(65_536):
                        pass
            task.cancel()

    run(test)


def test_one_address_does_not_take_every_connection(tmp_path: Path) -> None:
    async def test() -> None:
        told: list[str] = []
        async with a_listener(tmp_path, limits=FEW, tell=told.append) as (line, _, _record):
            held = [await line() for _ in range(FEW.of_one)]
            for one in held:
                one.write(framed(GOOD))
                assert await one.verdict() == "AA"
            assert await (await line()).ended()
            assert told == ["mllp: 127.0.0.1 was turned away: connected are 2 of its own, 2 in all"]
            held[0].writer.close()
            assert await answered_once_there_is_room(line) == "AA"

    run(test)


def test_a_listener_that_closes_says_nothing_of_connections_that_are_open(tmp_path: Path) -> None:
    async def test() -> None:
        complaints: list[dict[str, Any]] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: complaints.append(context))
        async with a_listener(tmp_path) as (line, _, _record):
            one = await line()
            one.write(framed(GOOD))
            assert await one.verdict() == "AA"
        await asyncio.sleep(0.05)
        assert complaints == []

    run(test)


def test_only_allowed_addresses_are_heard(tmp_path: Path) -> None:
    async def test() -> None:
        async with a_listener(tmp_path, allowed=("192.0.2.7",)) as (line, _, _record):
            assert await (await line()).ended()

    run(test)


def test_a_client_from_outside_and_our_own_are_answered(tmp_path: Path) -> None:
    async def test() -> None:
        with a_record(tmp_path) as record:
            async with Intake(record) as intake, listening(intake, codes=CODES) as (_, port):
                reader, writer = await open_hl7_connection("127.0.0.1", port)
                writer.writemessage(__import__("hl7").parse(GOOD))
                await writer.drain()
                said = await reader.readmessage()
                assert str(said.segment("MSA")[1]) == "AA" and str(said.segment("MSA")[2]).startswith("MSG0425")
                writer.close()
                sender = await Sender.to("127.0.0.1", port)
                assert segments(await sender.send(unit_message()), "MSA")[0][1] == "AA"
                await sender.close()

    run(test)


def test_however_a_stream_is_cut_the_frames_are_the_same() -> None:
    """The framing alone, cut at every place."""
    stream = b"junk" + framed("one") + framed("two") + START + b"thr" + framed("four") + START + b"x\x1cy" + END
    whole = Framer().feed(stream)
    for at in range(len(stream) + 1):
        framer = Framer()
        assert framer.feed(stream[:at]) + framer.feed(stream[at:]) == whole
    assert [piece.data for piece in whole if not piece.stray and not piece.why] == [b"one", b"two", b"four"]


def test_what_comes_at_once_is_charted_in_its_order(tmp_path: Path) -> None:
    """A correction, and the correction of it, pipelined behind what they correct, among a unit's readings."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            stream = [GOOD]
            for value in range(61, 80):
                stream.append(with_field(with_field(GOOD, "OBX", 4, 5, str(value)), "OBX", 4, 11, "C"))
                stream.append(unit_message(sequence=value))
            one.write(b"".join(map(framed, stream)))
            assert [await one.verdict() for _ in stream] == ["AA"] * len(stream)
            (entry,) = record.things("entry")
            assert (entry["value"], entry.version) == ("79", 20)
            assert len(record.things("message")) == 19

    run(test)


def test_a_frame_waits_for_the_batch_before_it(tmp_path: Path) -> None:
    """A batch whose last message is taken back by the frame behind it."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            hours = [with_field(GOOD, "OBX", 4, 14, f"202104260{hour}0000+0000") for hour in range(1, 6)]
            batch = "\r".join(["BHS|^~\\&|X", *hours, GOOD, "BTS|6"])
            one.write(framed(batch) + framed(with_field(with_field(GOOD, "OBX", 4, 11, "D"), "MSH", 1, 10, "D-1")))
            assert [msa[1] for msa in segments(await one.answer(), "MSA")] == ["AA"] * 6
            assert await one.verdict() == "AA"
            assert len(record.things("entry")) == 5 and len(record.things("entry", gone=True)) == 6

    run(test)


def test_what_was_done_otherwise_is_a_warning_to_the_sender(tmp_path: Path) -> None:
    """HL7 table 0516, from memory: W in ERR-4 of a message that is accepted."""

    async def test() -> None:
        async with a_listener(tmp_path) as (line, _, record):
            one = await line()
            empty = with_field(with_field(GOOD, "OBX", 4, 5, ""), "OBX", 4, 11, "C")
            one.write(framed(GOOD) + framed(with_field(empty, "MSH", 1, 10, "C-1")))
            assert await one.verdict() == "AA"
            said = await one.answer()
            assert segments(said, "MSA")[0][1] == "AA"
            (warned,) = [err for err in segments(said, "ERR") if err[4] == "W"]
            assert warned[2] == "OBX^4" and "the earlier one is taken back" in warned[8]
            assert not record.things("entry")

    run(test)


def test_what_is_told_on_the_console_names_nobody(tmp_path: Path) -> None:
    async def test() -> None:
        told: list[str] = []
        async with a_listener(tmp_path, tell=told.append) as (line, _, _record):
            one = await line()
            for ids in ("12345 ^^^Hospital^MR", "77777^^^Hospital^MR", ' O\'Hara "Jane" X^^^Hospital^MR'):
                one.write(framed(with_field(GOOD, "PID", 1, 3, ids)))
                assert (await one.verdict()).startswith("AE")
            one.write(framed(with_field(GOOD, "OBX", 4, 5, 'O\'Hara "Jane" HIV')))
            assert (await one.verdict()).startswith("AE")
        assert not any(word in line for line in told for word in ("Hara", "Jane", "HIV"))
        assert told[3].endswith("OBX 4, field 5: 102 Data type error")
        assert len(told) == 4 and "MSG0425230332.872NBR488" in told[0] and "PID 1, field 3" in told[0]
        assert "12345" not in told[0] and "77777" not in told[1]

    run(test)


@pytest.mark.slow  # starts the command
def test_the_command_listens_tells_and_counts(tmp_path: Path) -> None:
    """From a table of codes in a file to the entry in the record."""
    with a_record(tmp_path):
        pass
    shipped = files("slackwater.feed").joinpath("hl7_codes.toml").read_text("utf-8")
    (tmp_path / "codes.toml").write_text(shipped.replace('["P"]', '["P", "D"]'), "utf-8")
    command = [sys.executable, "-m", "slackwater", "listen", "--record", str(tmp_path / "record")]
    command += ["--mllp", "127.0.0.1:0", "--codes", str(tmp_path / "codes.toml")]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as listener:
        assert listener.stderr is not None
        said = ""
        while (found := re.search(r"MLLP: 127\.0\.0\.1:(\d+)", said)) is None:
            said = listener.stderr.readline()
            assert said

        async def send() -> list[str]:
            sender = await Sender.to("127.0.0.1", int(found[1]))
            answers = [await sender.send(text) for text in (GOOD, GOOD, TWIN.decode(), unit_message())]
            await sender.close()
            return [segments(answer, "MSA")[0][1] for answer in answers]

        assert asyncio.run(send()) == ["AA", "AA", "AE", "AA"]
        listener.send_signal(signal.SIGINT)
        told = listener.stderr.read()
    assert "refused message MSG0425230332.872NBR488: OBR 2, field 3, component 3" in told
    assert told.splitlines()[-1].endswith("1 entered in charts, 1 kept, 1 refused")
