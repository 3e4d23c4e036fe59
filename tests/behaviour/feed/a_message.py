"""HL7 v2 messages to try the reader with, a record with two invented patients, and a way to damage one field.

`pcd01_*.hl7` and `adt_batch.hl7` come from outside: tests/data/hl7/NOTICE says from where. Everything else is invented.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from slackwater.episode.episode import read_episode
from slackwater.feed.hl7_codes import Codes, shipped_codes
from slackwater.feed.hl7_message import batch_of, message_of
from slackwater.feed.hl7_oru import Understood, understand
from slackwater.feed.hl7_write import oru_of
from slackwater.feed.line import Amount, Reported
from slackwater.store import Record, open_record
from slackwater.store.acts import key_of
from slackwater.store.take_in import Bundle, take_in

DATA = Path(__file__).parents[2] / "data" / "hl7"
GOOD = (DATA / "pcd01_vitals_and_waveform.hl7").read_bytes().decode("ascii").rstrip("\r")
TWIN = (DATA / "pcd01_as_published_malformed.hl7").read_bytes()
ADT_BATCH = (DATA / "adt_batch.hl7").read_bytes()

PATIENT, OTHER = "12345", "6789"  # the second is the first's visit number in GOOD, and somebody else's label here
NOW = datetime(2021, 4, 26, 12, 0, tzinfo=UTC)
NOW_MS = int(NOW.timestamp()) * 1000
SERIAL = "SN-41"
# The table of the example, as an engineer would settle it for a link that is being tried out: GOOD says D.
CODES = replace(shipped_codes(), processing=("P", "D"))

EPISODE = """
[patient]
id = "{label}"
[drain]
number = "1"
side = "left"
space = "pleural"
connected_at = "2021-04-25T08:00:00+00:00"
"""


@contextmanager
def a_record(folder: Path) -> Iterator[Record]:
    """Two patients with a drain each; SN-41 is paired with the first's, SN-42 with the other's."""
    shutil.copytree(_made(), folder / "record")  # a record takes longer to make than to copy
    with open_record(folder / "record", clock=lambda: NOW_MS) as record:
        yield record


@cache
def _made() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="slackwater-hl7-")) / "record"
    atexit.register(shutil.rmtree, folder.parent, ignore_errors=True)
    with open_record(folder, create=True, clock=lambda: NOW_MS) as record:
        for label, serial in ((PATIENT, SERIAL), (OTHER, "SN-42")):
            episode = read_episode(EPISODE.format(label=label).encode(), "episode.toml")
            taken = take_in(record, Bundle("a bundle", episode), by="tests")
            with record.act(by="tests", what="paired") as act:
                unit = key_of("unit", serial)
                act.add("unit", unit, {"serial": serial})
                act.add(
                    "pairing", key_of("pairing", taken.drain, serial),
                    {"patient": key_of("patient", label), "drain": taken.drain, "unit": unit,
                     "from_ms": NOW_MS - 86_400_000},
                )  # fmt: skip
    return folder


def read(text: str | bytes, codes: Codes = CODES) -> Understood:
    """A frame that holds one message, understood."""
    data = text if isinstance(text, bytes) else text.encode()
    (one,) = batch_of(data).texts
    return understand(message_of(one), codes)


def reading(sequence: int = 17, at_ms: int = NOW_MS - 60_000, serial: str = SERIAL) -> Reported:
    """All that a unit can say of one moment."""
    return Reported(
        serial, sequence, at_ms, "end", "mean",
        flow=Amount("40", "mL/min", max="55"),
        pressure=Amount("-19.6", "cmH2O", suction_is="negative", min="-24.0", max="-15"),
        set_suction=Amount("-20", "cmH2O", suction_is="negative"),
        battery=Amount("80", "%"), fluid=Amount("120", "mL"), mains=True, state="running",
    )  # fmt: skip


def unit_message(label: str | None = PATIENT, **told: int | str) -> str:
    """A unit's reading as the program itself writes it."""
    said = reading(**told)  # type: ignore[arg-type]
    return oru_of(said, CODES, control=f"U{said.sequence}", sent_ms=NOW_MS, label=label).rstrip("\r")


def with_field(text: str, name: str, which: int, field: int, value: str) -> str:
    """The message with one field changed; `which` counts segments of that name from 1."""
    lines, seen = text.split("\r"), 0
    for place, line in enumerate(lines):
        seen += line[:3] == name
        if line[:3] == name and seen == which:
            cells = line.split("|")
            at = field - 1 if name == "MSH" else field
            cells += [""] * (at + 1 - len(cells))
            cells[at] = value
            lines[place] = "|".join(cells)
            return "\r".join(lines)
    raise AssertionError(f"there is no {name} {which}")


def field_of(text: str, name: str, which: int, field: int) -> str:
    line = [line for line in text.split("\r") if line[:3] == name][which - 1]
    return line.split("|")[field - 1 if name == "MSH" else field]


def without(text: str, name: str, which: int = 1) -> str:
    """The message without one segment."""
    seen, kept = 0, []
    for line in text.split("\r"):
        seen += line[:3] == name
        if not (line[:3] == name and seen == which):
            kept.append(line)
    return "\r".join(kept)


def segments(answer: str, name: str) -> list[list[str]]:
    return [line.split("|") for line in answer.split("\r") if line[:3] == name]
