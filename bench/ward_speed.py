"""The round under load: how many requests a second, and how long each waits, while messages come in.

60 drains with logs are recorded. The server runs in a process of its own; in it 200 messages a second are kept in the
record by group commit, and every line is worked out again each minute. Clients on the same machine, each with a
session, ask for the page (`/`) and for its lines (`/round/lines`, with the entity tag they hold, as the page's script
does). Closed: as fast as the answers come. Paced: at a given rate, each wait taken from the moment it was due, so a
hold-up of the client counts too. The yardstick is the same framework doing nothing: for the page it gives out bytes of
the same length, for the lines the few of 'nothing new', asked by the same clients in the same run.

    python bench/ward_speed.py [--drains 60] [--clients 32] [--seconds 20] [--rate 500] [--page-share 0.1]
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import os
import random
import socket
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

Server = multiprocessing.process.BaseProcess
PASSWORD = "four invented words"
MESSAGES = 200
BODY = '{"time":"2041-03-04T15:19:01Z","flow":"120 mL/min","pressure":"-19.6 cmH2O"}'


@dataclass
class Waits:
    """How long each answer took [ms], by what was asked, and the answers' length."""

    page: list[float] = field(default_factory=list)
    lines: list[float] = field(default_factory=list)
    unchanged: int = 0
    wrong: int = 0
    length: int = 0
    seconds: float = 1.0
    cpu_s: float = 0.0  # of the server's own process, all its threads: what other work on the machine does not blur

    def says(self, name: str) -> str:
        both = sorted(self.page + self.lines)
        rate = len(both) / self.seconds
        parts = [f"{kind} p50 {part(at, 0.5):.1f} p99 {part(at, 0.99):.1f} ms" for kind, at in (
            ("all", both), ("page", sorted(self.page)), ("lines", sorted(self.lines))) if at]  # fmt: skip
        return (
            f"{name:<22} {rate:7.0f} requests/s  {'; '.join(parts)}; "
            f"{self.unchanged} unchanged, {self.wrong} wrong, page {self.length / 1000:.0f} kB; "
            f"{1000 * self.cpu_s / max(1, len(both)):.2f} ms of the server's CPU each"
        )


def part(ordered: list[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


# --- the ward -------------------------------------------------------------------------------------


def fill(folder: Path, drains: int) -> None:
    from slackwater.cli.demo_ward import Stay, simulated
    from slackwater.store import open_record
    from slackwater.store.accounts import put_account
    from slackwater.store.acts import key_of
    from slackwater.store.take_in import take_in
    from slackwater.web.passwords import hashed

    now = datetime.now(UTC)
    kinds = ("healing", "plateau", "stepwise", "effort_only", "usual_chart", "near_limit")
    made = [simulated(Stay(kind, "ESTUARY", 30.0 + n, "B-0", "0", "A.B."), now, "UTC") for n, kind in enumerate(kinds)]
    with open_record(folder, create=True) as record:
        for number in range(drains):
            bundle = made[number % len(made)]
            patient = f"B-{number + 1:03d}"
            episode = replace(bundle.episode, patient_id=patient, connected_at=_shifted(bundle.episode, number))
            logs = tuple(replace(one, data=one.data + b"\n" * (number // len(made))) for one in bundle.logs)
            take_in(record, replace(bundle, name=patient, episode=episode, logs=logs), by="bench")
        with record.act(by="bench", what="entered") as act:
            act.add("person", key_of("person", "bench"), {"name": "Bench", "role": "nurse"})
        put_account(record, key_of("person", "bench"), "bench", hashed(PASSWORD))


def _shifted(episode: object, number: int) -> int:
    return int(getattr(episode, "connected_at")) + 1000 * number  # noqa: B009  # no two stays are the same file


def serve(folder: str, port: int, bare: int) -> None:
    """In a process of its own. `bare`: the yardstick, a page of so many bytes and nothing else."""
    import uvicorn

    if bare:
        from fastapi import FastAPI
        from fastapi.responses import HTMLResponse, Response

        app, text = FastAPI(openapi_url=None), "x" * bare

        @app.get("/")
        async def page() -> HTMLResponse:
            return HTMLResponse(text)

        @app.get("/round/lines")
        async def lines() -> Response:
            return Response(status_code=304, headers={"etag": '"same"'})

        uvicorn.run(app, host="127.0.0.1", port=port, log_level="error")
        return
    from slackwater.store.group import GroupCommit
    from slackwater.store.place import place_of
    from slackwater.web.app import create_app
    from slackwater.web.settings import Settings

    ward = create_app(Settings(place_of(folder), secure=False))
    intake = GroupCommit(ward.state.record, "bench")
    threading.Thread(target=_messages, args=(intake,), daemon=True).start()
    uvicorn.run(ward, host="127.0.0.1", port=port, log_level="error")


def _messages(intake: object) -> None:
    from slackwater.store.group import GroupCommit, Message

    assert isinstance(intake, GroupCommit)
    begun, sent = time.perf_counter(), int(time.time()) * 100_000
    first = sent
    while True:
        while sent - first < MESSAGES * (time.perf_counter() - begun):
            intake.send(Message(f"BENCH-{sent % 60:02d}", sent, BODY))
            sent += 1
        time.sleep(0.005)


# --- the clients ----------------------------------------------------------------------------------


async def ask(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, path: str, more: str) -> tuple[int, str, int]:
    """One request on an open connection: status, entity tag, length of the body."""
    writer.write(f"GET {path} HTTP/1.1\r\nhost: 127.0.0.1\r\n{more}\r\n".encode())
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    fields = dict(line.lower().split(": ", 1) for line in head.split("\r\n")[1:] if ": " in line)
    length = int(fields.get("content-length", "0"))
    if length:
        await reader.readexactly(length)
    return int(head[9:12]), fields.get("etag", ""), length


async def client(port: int, cookie: str, until: float, share: float, every: float, waits: Waits) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 22)
    tag, due = "", time.perf_counter() + random.random() * every
    while (now := time.perf_counter()) < until:
        if every:
            await asyncio.sleep(max(0.0, due - now))
        begun = due if every else now
        due += every
        page = random.random() < share
        more = f"cookie: {cookie}\r\n" + ("" if page else f"x-by-itself: 1\r\nif-none-match: {tag}\r\n")
        status, seen, length = await ask(reader, writer, "/" if page else "/round/lines", more)
        (waits.page if page else waits.lines).append(1000 * (time.perf_counter() - begun))
        waits.unchanged += status == 304
        waits.wrong += status not in (200, 304)
        waits.length = max(waits.length, length if page else 0)
        tag = tag if page else seen
    writer.close()


def cpu_of(server: Server) -> float:
    """Seconds of CPU that the process has used."""
    fields = Path(f"/proc/{server.pid}/stat").read_text().rpartition(") ")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def load(server: Server, port: int, cookie: str, args: argparse.Namespace, rate: float = 0.0) -> Waits:
    """`rate` 0: closed loop."""
    waits, cpu_before = Waits(), cpu_of(server)

    async def all_of() -> None:
        until = time.perf_counter() + args.seconds
        every = args.clients / rate if rate else 0.0
        share = args.page_share
        await asyncio.gather(*(client(port, cookie, until, share, every, waits) for _ in range(args.clients)))

    begun = time.perf_counter()
    asyncio.run(all_of())
    waits.seconds = time.perf_counter() - begun
    waits.cpu_s = cpu_of(server) - cpu_before
    return waits


def log_in(port: int) -> str:
    import http.client

    link = http.client.HTTPConnection("127.0.0.1", port)
    link.request("POST", "/login", f"login=bench&password={PASSWORD.replace(' ', '+')}",
                 {"content-type": "application/x-www-form-urlencoded"})  # fmt: skip
    answer = link.getresponse()
    return str(answer.getheader("set-cookie")).partition(";")[0]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def started(folder: str, bare: int = 0) -> tuple[Server, int]:
    port = free_port()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(folder, port, bare))
    process.start()
    for _ in range(600):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return process, port
        except OSError:
            time.sleep(0.1)
    raise SystemExit("the server did not start")


def wait_for_lines(port: int, cookie: str) -> float:
    """Seconds until every line is worked out."""
    import http.client

    begun = time.perf_counter()
    while True:
        link = http.client.HTTPConnection("127.0.0.1", port)
        link.request("GET", "/round/lines", headers={"cookie": cookie, "x-by-itself": "1"})
        text = link.getresponse().read().decode()
        if 'class="tile"' in text and "not worked out yet" not in text:
            return time.perf_counter() - begun
        time.sleep(0.5)


def main() -> None:
    command = argparse.ArgumentParser(description=__doc__)
    command.add_argument("--drains", type=int, default=60)
    command.add_argument("--clients", type=int, default=32)
    command.add_argument("--seconds", type=float, default=20.0)
    command.add_argument("--rate", type=float, default=500.0)
    command.add_argument("--page-share", type=float, default=0.1)
    args = command.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        fill(Path(folder) / "record", args.drains)
        process, port = started(str(Path(folder) / "record"))
        try:
            cookie = log_in(port)
            worked = wait_for_lines(port, cookie)
            print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; {args.drains} drains, {MESSAGES} messages/s")
            print(f"{args.clients} clients; every line was worked out {worked:.1f} s after the start", flush=True)
            closed = load(process, port, cookie, args)
            print(closed.says("the round, closed"), flush=True)
            print(load(process, port, cookie, args, args.rate).says(f"the round, {args.rate:.0f}/s"), flush=True)
        finally:
            process.terminate()
            process.join()
        bare, port = started("", max(1, closed.length))
        try:
            plain = load(bare, port, "", args)
        finally:
            bare.terminate()
            bare.join()
    print(plain.says("bare pages, closed"))
    ratio = len(closed.page + closed.lines) / closed.seconds / (len(plain.page + plain.lines) / plain.seconds)
    print(f"the round serves {ratio:.2f} of the bare pages' requests/s")


if __name__ == "__main__":
    sys.exit(main())
