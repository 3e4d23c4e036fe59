"""A real broker on this machine: amqtt in this process, or mosquitto where it is installed."""

from __future__ import annotations

import asyncio
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from amqtt.broker import Broker
from amqtt.plugins.base import BaseAuthPlugin

from ward.until import LONG_S, until

KINDS = ("amqtt", "mosquitto")


class Anybody(BaseAuthPlugin):
    """Lets everybody in, under any name."""

    async def authenticate(self, *, session: object) -> bool:
        return True


@contextmanager
def running(kind: str, folder: Path, port: int) -> Iterator[None]:
    with _amqtt(port) if kind == "amqtt" else _mosquitto(folder, port):
        yield


@contextmanager
def _amqtt(port: int) -> Iterator[None]:
    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {f"{__name__}.Anybody": {}},  # its sessions that nobody logged in to do not outlast a connection
    }
    loop, began, stop = asyncio.new_event_loop(), threading.Event(), asyncio.Event()

    async def run() -> None:
        broker = Broker(config)
        await broker.start()
        began.set()
        await stop.wait()
        await broker.shutdown()

    thread = threading.Thread(target=lambda: loop.run_until_complete(run()), name="broker", daemon=True)
    thread.start()
    assert began.wait(LONG_S)
    try:
        yield
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join(LONG_S)


@contextmanager
def _mosquitto(folder: Path, port: int) -> Iterator[None]:
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if program is None:
        pytest.skip("mosquitto is not installed")
    settings = folder / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    with subprocess.Popen([program, "-c", str(settings)], stderr=subprocess.DEVNULL) as process:
        try:
            until(lambda: _answers(port), "mosquitto never listened")
            yield
        finally:
            process.terminate()


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
