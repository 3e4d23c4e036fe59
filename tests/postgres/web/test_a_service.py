"""`slackwater ward` and `demo --ward` over a record on PostgreSQL: they start, let people in, and show the round."""

from __future__ import annotations

import http.client
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest

from slackwater.store import open_record
from ward.a_port import free_port

WITHIN_S = 120.0


@pytest.fixture
def port() -> int:
    return free_port()


@contextmanager
def served(*words: str, folder: Path, until: str) -> Iterator[str]:
    """The command in a process of its own; what it said up to a pattern's group."""
    said = folder / "said"
    command = [sys.executable, "-m", "slackwater", *words]
    with said.open("wb") as out, subprocess.Popen(command, stderr=out, stdout=out) as process:
        try:
            begun = time.monotonic()
            while not (found := re.search(until, said.read_text())):
                assert time.monotonic() - begun < WITHIN_S and process.poll() is None, said.read_text()
                time.sleep(0.1)
            yield found[1]
        finally:
            process.terminate()
            process.wait(WITHIN_S)


def test_the_pages_are_served_over_a_record_on_the_server(database_url: str, port: int, tmp_path: Path) -> None:
    words = ("ward", "--record", database_url, "--port", str(port))
    with served(*words, folder=tmp_path, until=r"enter this code on the page: (\w+)") as code:
        first = {
            "code": code, "name": "Invented Keeper", "login": "keeper", "password": "four invented words",
            "understood": "understood",
        }  # fmt: skip
        cookie = answer(port, "POST", "/first", first)[1].partition(";")[0]
        begun = time.monotonic()
        while "No drain is in." not in (page := answer(port, "GET", "/", cookie=cookie)[2]):
            assert time.monotonic() - begun < WITHIN_S and "has not been read yet" in page
            time.sleep(0.1)
    with open_record(database_url) as record:
        assert [one["name"] for one in record.things("person")] == ["Invented Keeper"]


@pytest.mark.slow
def test_the_demos_ward_lies_on_the_server_too(database_url: str, port: int, tmp_path: Path) -> None:
    words = ("demo", "--ward", "--out", database_url, "--port", str(port))
    with served(*words, folder=tmp_path, until=r"everybody has this password: (.+)") as password:
        cookie = answer(port, "POST", "/login", {"login": "nurse", "password": password})[1].partition(";")[0]
        begun = time.monotonic()
        while "not worked out yet" in (page := answer(port, "GET", "/", cookie=cookie)[2]) or "LW-2060/1" not in page:
            assert time.monotonic() - begun < WITHIN_S
            time.sleep(0.5)
        assert "JW-0430/1" in page
    ran = subprocess.run([sys.executable, "-m", "slackwater", *words], capture_output=True, text=True, check=False)
    assert ran.returncode == 2 and "a record of its own" in ran.stderr


def answer(
    port: int, method: str, path: str, form: dict[str, str] | None = None, cookie: str = ""
) -> tuple[int, str, str]:
    """Status, cookie, body; asked again until the server listens."""
    begun = time.monotonic()
    while True:
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=WITHIN_S)
        try:
            headers = {"content-type": "application/x-www-form-urlencoded", "cookie": cookie}
            link.request(method, path, urlencode(form) if form else None, headers)
            got = link.getresponse()
            return got.status, got.getheader("set-cookie") or "", got.read().decode()
        except ConnectionRefusedError:
            assert time.monotonic() - begun < WITHIN_S
            time.sleep(0.1)
        finally:
            link.close()
