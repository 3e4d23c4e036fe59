"""HL7 v2 over MLLP: frames from VT to FS CR, one answer each, in order. Plain TCP: TLS is a proxy's.

HL7 v2.6 implementation support, minimal lower layer protocol: <SB>dddd<EB><CR>, SB 0x0B, EB 0x1C. From memory.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import AsyncIterator, Callable, Collection, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass

from slackwater.feed.hl7_codes import Codes, shipped_codes
from slackwater.feed.hl7_fault import SEQUENCE, At, Hl7Error
from slackwater.feed.hl7_message import MOST_BYTES
from slackwater.feed.hl7_take import Taker
from slackwater.feed.intake import Intake

START, END = b"\x0b", b"\x1c\r"
MOST_CONNECTIONS = 256
MOST_OF_ONE = 128  # of one address: a proxy's, an engine's, a fool's
MOST_STRAY = 4096  # bytes between frames before a connection is given up
FRAME_S = 20.0  # from a frame's first byte to its last
IDLE_S = 900.0  # a connection on which no whole frame comes
LINGER_S = 1.0  # for a refused frame's rest
SEND_S = 20.0  # for the other side to take an answer


@dataclass(frozen=True)
class Piece:
    """What the framing found: a whole `frame`, or one that is broken and `why`; or stray bytes between frames."""

    data: bytes
    why: str = ""
    stray: bool = False


class Framer:
    """Cuts a stream of bytes into frames. Nothing is dropped in silence."""

    def __init__(self, most: int = MOST_BYTES) -> None:
        self._most = most
        self._held = bytearray()
        self._inside = False
        self._looked_at = 0  # so much of what is held has no sign in it: a slow sender costs no second look

    @property
    def inside(self) -> bool:
        """Whether a frame has begun and not ended."""
        return self._inside

    @property
    def too_long(self) -> bool:
        return len(self._held) > (self._most if self._inside else MOST_STRAY)

    def feed(self, data: bytes) -> list[Piece]:
        """The pieces that these bytes complete."""
        self._held += data
        pieces: list[Piece] = []
        while (piece := self._inner() if self._inside else self._between()) is not None:
            if piece.data.strip(b"\r\n") or piece.why:
                pieces.append(piece)
        return pieces

    def rest(self, why: str) -> Piece | None:
        """What is left where no more comes."""
        held, inside = bytes(self._held), self._inside
        self._held.clear()
        self._inside, self._looked_at = False, 0
        if inside:
            return Piece(held, why)
        return Piece(held, stray=True) if held.strip(b"\r\n") else None

    def _between(self) -> Piece | None:
        start = self._held.find(START)
        if start < 0:
            return None
        stray = bytes(self._held[:start])
        del self._held[: start + 1]
        self._inside = True
        return Piece(stray, stray=True)

    def _inner(self) -> Piece | None:
        again, end = (self._held.find(sign, self._looked_at) for sign in (START, END[:1]))
        self._looked_at = len(self._held) if again < 0 and end < 0 else 0
        if again >= 0 and (end < 0 or again < end):
            data = bytes(self._held[:again])
            del self._held[: again + 1]
            return Piece(data, "the next frame begins before this one ends")
        if end < 0 or end + 1 == len(self._held):
            return None
        data, after = bytes(self._held[:end]), self._held[end + 1 : end + 2]
        del self._held[: end + 1]
        self._inside = False
        if after != END[1:]:
            return Piece(data, "the frame ends in FS without CR")
        del self._held[:1]
        if len(data) > self._most:
            return Piece(data, f"the frame is over {self._most} bytes long")
        return Piece(data, "" if data.strip(b"\r\n") else "the frame is empty")


@dataclass(frozen=True)
class Limits:
    """How long is waited, and how many may come. Ours; shorter in tests."""

    frame_s: float = FRAME_S
    idle_s: float = IDLE_S
    connections: int = MOST_CONNECTIONS
    of_one: int = MOST_OF_ONE


class Listener:
    """Answers on every connection it is given. `taker.counts` and `stray` (bytes between frames) tell what came."""

    def __init__(self, taker: Taker, allowed: Collection[str] = (), limits: Limits | None = None) -> None:
        self.taker = taker
        self.stray = 0
        self._allowed = frozenset(allowed)
        self._limits = limits or Limits()
        self._tasks: set[asyncio.Task[None]] = set()
        self._open: Counter[str] = Counter()  # connections that are served, by address

    def connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """A connection came. Its task is ours: asyncio's own complains of one that is cancelled."""
        task = asyncio.get_running_loop().create_task(self._serve(reader, writer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, until it ends; a fault on it is its own."""
        peer = writer.get_extra_info("peername")
        address = str(peer[0]) if peer else ""
        try:
            if self._allowed and address not in self._allowed:
                self.taker.tell(f"mllp: {address} is not allowed here")
            elif self._open.total() >= self._limits.connections or self._open[address] >= self._limits.of_one:
                of_all = f"{self._open[address]} of its own, {self._open.total()} in all"
                self.taker.tell(f"mllp: {address} was turned away: connected are {of_all}")
            else:
                self._open[address] += 1
                try:
                    await self._talk(reader, writer, address)
                finally:
                    self._open[address] -= 1
        except (ConnectionError, TimeoutError) as error:
            self.taker.tell(f"mllp: {address} is gone ({type(error).__name__})")
        finally:
            self._open += Counter()  # addresses with none are forgotten
            writer.close()
            with contextlib.suppress(ConnectionError):
                await writer.wait_closed()

    async def close(self) -> None:
        """End every connection."""
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, address: str) -> None:
        framer = Framer()
        loop = asyncio.get_running_loop()
        idle_at = loop.time() + self._limits.idle_s  # moved by a whole frame alone: other bytes keep no connection open
        frame_at = 0.0
        while True:
            try:
                async with asyncio.timeout_at(
                    min(frame_at, idle_at + self._limits.frame_s) if framer.inside else idle_at
                ):
                    data = await reader.read(65_536)
            except TimeoutError:
                await self._give_up(framer, reader, writer, address, "no more of it came in time")
                return
            if not data:
                await self._give_up(framer, reader, writer, address, "the connection ended in the middle of it")
                return
            was_inside = framer.inside
            pieces = framer.feed(data)
            if framer.inside and (pieces or not was_inside):
                frame_at = loop.time() + self._limits.frame_s
            await self._answer(pieces, writer, address)
            if any(not piece.stray and not piece.why for piece in pieces):
                idle_at = loop.time() + self._limits.idle_s
            if framer.too_long:
                await self._give_up(framer, reader, writer, address, "it has no end")
                return

    async def _answer(self, pieces: Sequence[Piece], writer: asyncio.StreamWriter, address: str) -> None:
        """One after the other, each kept and answered before the next: a correction follows what it corrects."""
        for piece in pieces:
            if said := await self._said(piece, address):
                writer.write(START + said.encode() + END)
                async with asyncio.timeout(SEND_S):
                    await writer.drain()

    async def _said(self, piece: Piece, address: str) -> str:
        if piece.stray:
            self.stray += len(piece.data)
            self.taker.tell(f"mllp: {address} sent {len(piece.data)} bytes between frames")
            return ""
        if piece.why:
            fault = Hl7Error(piece.why, code=SEQUENCE, at=At("MSH"), mend="Send VT, the message, FS and CR.")
            return self.taker.refuse(piece.data, [fault])
        return await self.taker.take(piece.data)

    async def _give_up(
        self, framer: Framer, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, address: str, why: str
    ) -> None:
        """Say what is wrong with what came half, then end the connection: where the next frame begins is not known."""
        inside = framer.inside
        piece = framer.rest(f"the frame is not whole: {why}")
        if piece is None:
            return
        if not inside and len(piece.data) > MOST_STRAY:
            piece = Piece(piece.data, "no frame begins with VT")
        await self._answer([piece], writer, address)
        # What is still on its way is read and dropped, or the answer would be lost with it.
        writer.write_eof()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(LINGER_S):
                while await reader.read(65_536):
                    pass


@asynccontextmanager
async def listening(
    intake: Intake,
    host: str = "127.0.0.1",
    port: int = 0,
    *,
    codes: Codes | None = None,
    allowed: Collection[str] = (),
    tell: Callable[[str], None] | None = None,
    limits: Limits | None = None,
) -> AsyncIterator[tuple[Listener, int]]:
    """Listen for as long as the block runs; yields the listener, and the port where 0 was asked for.

    codes: the table that the engineer settled. allowed: addresses; none: any that reach it. tell: gets a line for each
    refusal.
    """
    taker = Taker(intake, codes or shipped_codes(), tell or (lambda line: None))
    listener = Listener(taker, allowed, limits)
    server = await asyncio.start_server(listener.connected, host, port)
    try:
        yield listener, int(server.sockets[0].getsockname()[1])
    finally:
        server.close()
        await listener.close()


class Sender:
    """A connection that sends messages and awaits each answer."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, wait_s: float = SEND_S) -> None:
        self._reader, self._writer, self._wait_s = reader, writer, wait_s

    @classmethod
    async def to(cls, host: str, port: int) -> Sender:
        return cls(*await asyncio.open_connection(host, port))

    async def send(self, message: str) -> str:
        """The answer to one message. Raises TimeoutError, or ConnectionError where the other side ends."""
        self._writer.write(START + message.encode() + END)
        await self._writer.drain()
        async with asyncio.timeout(self._wait_s):
            try:
                frame = await self._reader.readuntil(END)
            except asyncio.IncompleteReadError as error:
                raise ConnectionResetError("the listener ended the connection") from error
        return frame[1 : -len(END)].decode()

    async def close(self) -> None:
        self._writer.close()
        with contextlib.suppress(ConnectionError):
            await self._writer.wait_closed()
