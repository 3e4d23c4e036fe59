"""Live intake over a bad line: what is lost or doubled, how long acknowledgement takes, how far behind the round is.

Invented devices, each paired with a drain and with a key of its own, send a reading a second to `slackwater listen`,
through a proxy of ours that delays, drops, resets, doubles and reorders requests (bench/rough_line.py). Each sends what
was not acknowledged again until it is. Listener, proxy, devices and the ward's server are processes of their own.
Afterwards every reading is looked for in the record: each must be there once, in the words that were sent.

The wait is the listener's own, from the proxy's handing on until the answer. Behind is how long after the first
acknowledged reading of a minute the round shows data until that minute (it shows whole minutes), once it shows any.

    python bench/listen.py [--devices 1000] [--rate 1] [--seconds 60] [--lines 1] [--no-ward] [--record PLACE]

--lines: readings in a request, sent together. --record: an empty place (a folder or postgresql://...).
"""

from __future__ import annotations

import argparse
import asyncio
import http.client
import json
import multiprocessing
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
START_MS = 2_246_000_000_000
MOST_ACK_MS, MOST_BEHIND_S, MOST_GROWTH = 250.0, 5.0, 1.25  # the goals
CONNECTIONS = 2  # of a device: a reading that is held up is overtaken by the next
WATCHED_ON_S = 8  # after the last reading is due, the round is still watched
PASSWORD = "four invented words"


@dataclass
class Pool:
    """A device's connections: those that are free, and room for so many."""

    free: list[tuple[asyncio.StreamReader, asyncio.StreamWriter]]
    room: asyncio.Semaphore


@dataclass
class Run:
    place: str
    folder: Path
    devices: int
    rate: float
    seconds: float
    lines: int

    @property
    def each(self) -> int:
        """Readings of one device."""
        return int(self.seconds * self.rate) * self.lines


def serial(device: int) -> str:
    return f"BENCH-{device:04d}"


# --- the record -----------------------------------------------------------------------------------


def fill(run: Run, now_ms: int) -> list[str]:
    """Patients, drains, pairings and keys; returns the keys by device."""
    from slackwater.feed.keys import hash_of
    from slackwater.store import open_record
    from slackwater.store.accounts import put_account
    from slackwater.store.acts import key_of
    from slackwater.web.passwords import hashed

    keys = [f"bench-key-{device:04d}-{os.urandom(16).hex()}" for device in range(run.devices)]
    with open_record(run.place, create=True) as record:
        if record.head() is not None:
            raise SystemExit(f"{record.place.says} holds a record already: give an empty place")
        with record.act(by="bench", what="entered") as act:
            act.add("person", key_of("person", "bench"), {"name": "Bench", "role": "nurse"})
            many: dict[str, list[tuple[str, dict[str, Any]]]] = {}
            for device, key in enumerate(keys):
                label = f"B-{device:04d}"
                patient, episode = key_of("patient", label), key_of("episode", label)
                drain, space, unit = key_of("drain", label), key_of("space", label), key_of("unit", serial(device))
                for noun, thing, fields in (
                    ("patient", patient, {"label": label}),
                    ("episode", episode, {"patient": patient, "age_years": 60.0, "indication": "pneumothorax"}),
                    ("space", space, {"episode": episode, "kind": "pleural", "side": "left"}),
                    ("drain", drain, {"episode": episode, "space": space, "number": "1",
                                      "connected_ms": now_ms - 60_000}),
                    ("unit", unit, {"serial": serial(device)}),
                    ("unit_key", key_of("unit_key", unit), {"unit": unit, "hash": hash_of(key)}),
                ):  # fmt: skip
                    many.setdefault(noun, []).append((thing, fields))
                many.setdefault("pairing", []).append((key_of("pairing", label), {
                    "patient": patient, "drain": drain, "unit": unit, "from_ms": now_ms - 60_000,
                }))  # fmt: skip
            for noun, things in many.items():
                act.add_all(noun, things)
        put_account(record, key_of("person", "bench"), "bench", hashed(PASSWORD))
    return keys


def looked_for(run: Run) -> tuple[int, int, int]:
    """Readings of the devices in the record: there, lost, doubled."""
    from sqlalchemy import select

    from slackwater.store import open_record
    from slackwater.store.tables import TABLES

    rows = TABLES["message"]
    held: dict[tuple[str, int], list[str]] = {}
    with open_record(run.place) as record, record.reading() as connection:
        for unit, number, body in connection.execute(select(rows.c.unit, rows.c.sequence, rows.c.body)):
            held.setdefault((unit, number), []).append(body)
    sent = [(serial(device), number) for device in range(run.devices) for number in range(run.each)]
    lost = sum(key not in held for key in sent)
    return len(held), lost, sum(len(some) - 1 for some in held.values())


# --- the devices ----------------------------------------------------------------------------------


def devices(run: Run, which: range, keys: list[str], port: int, began: float, file: Path) -> None:
    """In a process of its own."""
    acked: dict[str, dict[int, float]] = {}
    waits: list[float] = []

    async def one(device: int) -> None:
        pool = Pool([], asyncio.Semaphore(CONNECTIONS))
        offset = (device % 997) / 997 / run.rate  # spread over the second
        sending = []
        for round_ in range(int(run.seconds * run.rate)):
            due = began + offset + round_ / run.rate
            await asyncio.sleep(max(0.0, due - time.time()))
            sending.append(asyncio.create_task(_sent(run, device, round_, keys[device], port, pool, due, waits, acked)))
        await asyncio.gather(*sending)
        for _, writer in pool.free:
            writer.close()

    async def all_of_them() -> None:
        await asyncio.gather(*(one(device) for device in which))

    asyncio.run(all_of_them())
    file.write_text(json.dumps({"waits": waits, "acked": acked}))


async def _sent(
    run: Run, device: int, round_: int, key: str, port: int, pool: Pool, due: float, waits: list[float],
    acked: dict[str, dict[int, float]],
) -> None:  # fmt: skip
    body = "\n".join(_reading(run, device, round_ * run.lines + at, due) for at in range(run.lines)).encode()
    head = (
        f"POST /v1/readings HTTP/1.1\r\nHost: bench\r\nAuthorization: Bearer {key}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    pause = 0.1
    while True:
        async with pool.room:
            said = await _asked(pool, port, head.encode() + body)
        if said is not None:
            break
        await asyncio.sleep(pause)  # not acknowledged: sent again
        pause = min(2.0, 2 * pause)
    if b"refused" in said:
        raise SystemExit(f"refused: {said[:300]!r}")
    now = time.time()
    waits.append((now - due) * 1000)
    minute = int(due) // 60
    seen = acked.setdefault(serial(device), {})
    seen[minute] = min(now, seen.get(minute, now))


async def _asked(pool: Pool, port: int, request: bytes) -> bytes | None:
    """The answer where all was settled; None where that is not known."""
    link = pool.free.pop() if pool.free else None
    try:
        async with asyncio.timeout(20):
            link = link or await asyncio.open_connection("127.0.0.1", port)
            link[1].write(request)
            head = await link[0].readuntil(b"\r\n\r\n")
            said = await link[0].readexactly(int(re.search(rb"content-length: ([0-9]+)", head)[1]))  # type: ignore[index]
    except (OSError, asyncio.IncompleteReadError, TimeoutError):
        if link is not None:
            link[1].close()
        return None
    pool.free.append(link)
    return said if head.startswith(b"HTTP/1.1 200") else None


def _reading(run: Run, device: int, number: int, at_s: float) -> str:
    at_ms = int(at_s * 1000) + number % run.lines
    stamp = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(at_ms // 1000)) + f".{at_ms % 1000:03d}Z"
    flow = 10 * ((device * 7 + number * 3) % 12)
    return (
        f'{{"unit":"{serial(device)}","sequence":{number},"time":"{stamp}","marks":"end","statistic":"mean",'
        f'"every":{{"value":1,"unit":"s"}},"flow":{{"value":{flow},"unit":"mL/min","step":10}},'
        f'"pressure":{{"value":-19.{number % 10},"unit":"cmH2O","suction_is":"negative"}},"mains":true}}'
    )


# --- the round ------------------------------------------------------------------------------------


def watch(port: int, until: float, file: Path) -> None:
    """In a process of its own: asks for the round's lines as its page does, and notes when each minute first shows."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    link.request("GET", "/login")
    link.getresponse().read()
    link.request("POST", "/login", f"login=bench&password={PASSWORD.replace(' ', '+')}",
                 {"Content-Type": "application/x-www-form-urlencoded"})  # fmt: skip
    answer = link.getresponse()
    answer.read()
    cookies = "; ".join(value.split(";")[0] for name, value in answer.getheaders() if name.lower() == "set-cookie")
    tag, seen, took = "", {}, []
    while time.time() < until:
        headers = {"Cookie": cookies, "x-by-itself": "1", **({"If-None-Match": tag} if tag else {})}
        before = time.time()
        link.request("GET", "/round/lines", headers=headers)
        answer = link.getresponse()
        text, now = answer.read().decode(), time.time()
        took.append((now - before) * 1000)
        tag = answer.getheader("etag") or tag
        for patient, until_ms in re.findall(r'data-name="[^"]*?(B-[0-9]{4})/1"[^>]*? data-until="([0-9]+)"', text):
            seen.setdefault(f"{patient} {int(until_ms) // 60_000}", now)
        time.sleep(max(0.0, 0.5 - (now - before)))
    file.write_text(json.dumps({"seen": seen, "took": sorted(took), "until": until}))


def ward(place: str, port: int) -> None:
    import uvicorn

    from slackwater.store.place import place_of
    from slackwater.web.app import create_app
    from slackwater.web.settings import Settings

    app = create_app(Settings(place_of(place), secure=False, judges=1))
    uvicorn.run(app, host="127.0.0.1", port=port, log_level="error")


# --- all together ---------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def memory_mb(pid: int) -> float:
    return int(re.search(r"VmRSS:\s+([0-9]+)", Path(f"/proc/{pid}/status").read_text())[1]) / 1024  # type: ignore[index]


def cpu_s(pid: int) -> float:
    told = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def spawned(target: Callable[..., None], *args: object) -> multiprocessing.process.BaseProcess:
    process = multiprocessing.get_context("spawn").Process(target=target, args=args, daemon=target is not ward)
    process.start()
    return process


def wait_for(port: int) -> None:
    for _ in range(600):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise SystemExit(f"nothing listens at {port}")


def part(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else float("nan")


def measure(run: Run, with_ward: bool) -> bool:
    keys = fill(run, int(time.time() * 1000))
    listen_at, proxy_at, ward_at = free_port(), free_port(), free_port()
    environment = {**os.environ, "SLACKWATER_RECORD": run.place}
    listener = subprocess.Popen(
        [sys.executable, "-m", "slackwater", "listen", "--http", f"127.0.0.1:{listen_at}"],
        env=environment, stderr=(run.folder / "listener.txt").open("w"),
    )  # fmt: skip
    told = run.folder / "line.json"
    proxy = subprocess.Popen([sys.executable, HERE / "rough_line.py", str(proxy_at), str(listen_at), told],
                             stdout=subprocess.DEVNULL)  # fmt: skip
    pages = spawned(ward, run.place, ward_at) if with_ward else None
    try:
        for port in (listen_at, proxy_at, *((ward_at,) if pages else ())):
            wait_for(port)
        time.sleep(5 if pages else 1)  # its first look at the record
        began = time.time() + 2
        ends = began + run.seconds
        seen = run.folder / "seen.json"
        watcher = spawned(watch, ward_at, ends + WATCHED_ON_S, seen) if pages else None
        halves = [range(run.devices // 2), range(run.devices // 2, run.devices)]
        files = [run.folder / f"devices-{at}.json" for at in (0, 1)]
        senders = [spawned(devices, run, which, keys, proxy_at, began, file)
                   for which, file in zip(halves, files, strict=True)]  # fmt: skip
        time.sleep(max(0.0, began + run.seconds / 3 - time.time()))
        early, load, used = memory_mb(listener.pid), os.getloadavg()[0], cpu_s(listener.pid)
        time.sleep(max(0.0, ends - time.time()))
        late, used = memory_mb(listener.pid), (cpu_s(listener.pid) - used) / (ends - began) * 1.5
        for process in (*senders, *((watcher,) if watcher else ())):
            process.join()
        proxy.terminate()
        proxy.wait(30)
    finally:
        proxy.kill()
        listener.terminate()
        listener.wait(30)
        if pages is not None:
            pages.terminate()
            pages.join(10)
    sent = [json.loads(file.read_text()) for file in files]
    line = json.loads(told.read_text())
    return report(run, sent, line, json.loads(seen.read_text()) if pages else None, (early, late, load, used))


def report(
    run: Run, sent: list[dict[str, Any]], line: dict[str, Any], shown: dict[str, Any] | None,
    machine: tuple[float, float, float, float],
) -> bool:  # fmt: skip
    early, late, load, used = machine
    there, lost, doubled = looked_for(run)
    ends = [wait for some in sent for wait in some["waits"]]
    print(
        f"{run.devices} devices, {run.rate:g} a second each of {run.lines} readings, {run.seconds:g} s; load {load:.1f}"
    )
    print(f"  the line: {', '.join(f'{count} {what}' for what, count in line['did'].items())}")
    print(f"  readings sent {run.devices * run.each}, in the record {there}: {lost} lost, {doubled} doubled")
    waits = line["waits_ms"]
    print(f"  the listener's answer {', '.join(f'{name} {wait:.0f} ms' for name, wait in waits.items())}; at the "
          f"devices, bad line and all, p50 {part(ends, 0.5):.0f} ms, p99 {part(ends, 0.99):.0f} ms")  # fmt: skip
    print(
        f"  the listener's memory {early:.0f} MB after a third, {late:.0f} MB at the end; it took {used:.0%} of a core"
    )
    good = not lost and not doubled and waits["p99"] <= MOST_ACK_MS and late <= MOST_GROWTH * early
    if shown is not None:
        acked = {unit: minutes for some in sent for unit, minutes in some["acked"].items()}
        behind, never = [], 0
        for unit, minutes in acked.items():
            first = {minute: shown["seen"].get(f"B-{unit[-4:]} {minute}") for minute in minutes}
            for minute, at in minutes.items():
                if not any(seen is not None and seen < at for seen in first.values()):
                    continue  # nothing was worked out of this drain before
                if at > shown["until"] - MOST_BEHIND_S:
                    continue  # acknowledged so late that nobody looked on for as long as it may take
                seen = first[minute]
                never += seen is None
                behind += [] if seen is None else [max(0.0, seen - at)]
        lines = f"its lines p99 {part(shown['took'], 0.99):.0f} ms"
        if behind or never:
            print(f"  a minute's first reading shows on the round after p50 {part(behind, 0.5):.1f} s, p99 "
                  f"{part(behind, 0.99):.1f} s; {never} of {len(behind) + never} never; {lines}")  # fmt: skip
            good = good and not never and part(behind, 0.99) <= MOST_BEHIND_S
        else:
            print(f"  too short to tell how far the round is behind; {lines}")
    print("  within the goals" if good else "  NOT within the goals")
    return good


def main() -> int:
    asked = argparse.ArgumentParser(description="Live intake over a bad line.")
    asked.add_argument("--devices", type=int, default=1000)
    asked.add_argument("--rate", type=float, default=1.0)
    asked.add_argument("--seconds", type=float, default=60.0)
    asked.add_argument("--lines", type=int, default=1)
    asked.add_argument("--no-ward", action="store_true")
    asked.add_argument("--record")
    told = asked.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # and leave nothing running
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        os.environ.setdefault("SLACKWATER_FILES", str(folder / "files"))
        run = Run(told.record or str(folder / "record"), folder, told.devices, told.rate, told.seconds, told.lines)
        return 0 if measure(run, not told.no_ward) else 1


if __name__ == "__main__":
    sys.exit(main())
