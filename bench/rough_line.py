"""A bad line between devices and the listener: it delays, drops, resets, doubles and lets overtake.

It knows HTTP requests only by their end, so that it can double one whole or cut it in two. Every request that it hands
on is timed until the listener answers: that is the listener's own share of the wait.

    python bench/rough_line.py PORT LISTENER_PORT FILE [SEED]

Until it is ended (SIGTERM); then FILE holds what it did, as JSON.
"""

from __future__ import annotations

import asyncio
import gc
import json
import random
import signal
import sys
from array import array
from collections import Counter
from pathlib import Path

SHARES = {  # of all requests; ours
    "delayed": 0.10, "held back": 0.02, "dropped": 0.01, "answer lost": 0.01, "cut in two": 0.005, "doubled": 0.03,
}  # fmt: skip
ANSWER_S = 30.0


class Line:
    def __init__(self, port: int, seed: int) -> None:
        self.port = port
        self.draw = random.Random(seed)
        self.did: Counter[str] = Counter()
        self.waits = array("d")  # ms
        self.later: set[asyncio.Task[None]] = set()

    async def connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        upstream: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        try:
            while (request := await whole(reader)) is not None:
                self.did["requests"] += 1
                fault = self.fault()
                self.did[fault] += 1
                if fault == "dropped":
                    break
                if fault in ("delayed", "held back"):
                    await asyncio.sleep(self.draw.uniform(*((0, 0.3) if fault == "delayed" else (0.5, 2.5))))
                upstream = upstream or await asyncio.open_connection("127.0.0.1", self.port)
                if fault == "cut in two":
                    upstream[1].write(request[: self.draw.randrange(1, len(request))])
                    await upstream[1].drain()
                    break
                if fault == "doubled":
                    again = asyncio.create_task(self.again(request))
                    self.later.add(again)
                    again.add_done_callback(self.later.discard)
                answer = await self.ask(request, *upstream)
                if answer is None or fault == "answer lost":
                    break
                writer.write(answer)
                await writer.drain()
        except (OSError, asyncio.IncompleteReadError, TimeoutError):
            self.did["broken"] += 1
        finally:
            writer.transport.abort()  # a reset, as a lost network ends
            if upstream is not None:
                upstream[1].transport.abort()

    def fault(self) -> str:
        at = self.draw.random()
        for name, share in SHARES.items():
            at -= share
            if at < 0:
                return name
        return "untouched"

    async def again(self, request: bytes) -> None:
        await asyncio.sleep(self.draw.uniform(0, 3))
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
            await self.ask(request, reader, writer)
            writer.close()
        except (OSError, asyncio.IncompleteReadError, TimeoutError):
            self.did["broken"] += 1

    async def ask(self, request: bytes, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bytes | None:
        loop = asyncio.get_running_loop()
        before = loop.time()
        writer.write(request)
        async with asyncio.timeout(ANSWER_S):
            await writer.drain()
            answer = await whole(reader)
        self.waits.append((loop.time() - before) * 1000)
        return answer


async def whole(reader: asyncio.StreamReader) -> bytes | None:
    """A request or answer with its body; None at the end."""
    try:
        head = await reader.readuntil(b"\r\n\r\n")
    except asyncio.IncompleteReadError:
        return None
    length = head.lower().partition(b"content-length:")[2].split(b"\r\n")[0]
    return head + await reader.readexactly(int(length or 0))


async def main() -> None:
    gc.disable()  # its own pauses are not the listener's, and it does not live long
    port, listener, file = int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    line, stop = Line(listener, int(sys.argv[4]) if len(sys.argv) > 4 else 1), asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    async with await asyncio.start_server(line.connected, "127.0.0.1", port, backlog=4096):
        print("ready", flush=True)
        await stop.wait()
        await asyncio.gather(*line.later, return_exceptions=True)
    waits = sorted(line.waits)
    part = {f"p{share}": waits[min(len(waits) - 1, len(waits) * share // 100)] for share in (50, 99) if waits}
    file.write_text(json.dumps({"did": line.did, "waits_ms": {**part, "longest": waits[-1] if waits else 0}}))


if __name__ == "__main__":
    asyncio.run(main())
