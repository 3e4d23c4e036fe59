"""The quick walk, compiled or plain, against the careful reader, which is the reference."""

# ruff: noqa: E501 -- one dialect a line reads best as a table

from __future__ import annotations

import importlib.util
import random
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from behaviour.reading.typed_log import layout, read, rows
from slackwater.errors import LogError
from slackwater.reading import interpreted, kernels, quick
from slackwater.reading.careful import CarefulReader, CarefulRow
from slackwater.reading.header import read_header
from slackwater.reading.layout import Layout
from slackwater.reading.lines import count_lines, line_at
from slackwater.reading.log import Log, RefusedRow
from slackwater.reading.read import read_log

SOURCE = Path(quick.__file__).with_name("kernels.py")
WIDE = layout(
    {
        "log.missing": ["", "---", "-9", "n a"],
        "flow.max_column": "Max",
        "pressure.unit": "mmHg",
        "time.zone": "Europe/Vienna",
    },
    battery={"column": "B"},
    state={"column": "S", "words": {"RUN": "running", "R": "off", "STAND BY": "standby"}},
    serial={"column": "N"},
)
WIDE_HEADER = "time,Flow,Max,Vac,B,S,N,note"
PIECES = [
    "", "0", "10", "20.5", "-8.25", "1e1", "1_0", "---", "-9", "-9.5", "n a", "n", "nan", '"10"', '" 10 "', '"1,0"',
    '""', '"a""b"', '"', "RUN", "R", "RU", "STAND BY", "run", "A1", "B2", " 10 ", "\t", "٣", "é", "200001", "100.4", "\x00",
    "+5", "−5", ".5", "5.", "123456789012345678", "0.000000000000001", "12345.1234567890123", "1.2.3", "400", ".", "-", "-.", "+.5", "−.5", "−", "5.x",
]  # fmt: skip
STAMPS = [
    "2033-09-13T15:19:00Z", "2033-09-13 15:19:01", "2033-09-13T15:19:02.5+02:00", "2033-10-30T02:30:00",
    "2033-03-27T02:30:00", "2033-02-30T00:00:00Z", "2033-09-13T24:00:00Z", "", "x", "2033-09-13T15:19",
    '"2033-09-13T15:19:00Z"', "2033-09-13T15:19:00,5Z", "1970-01-01T00:00:00Z", "2199-12-31T23:59:59.999Z", "2200-01-01T00:00:00Z",
    "2036-02-29t00:00:00z", "2033-09-13T15:19:00+0530", "2033-09-13T15:19:00-05", "2033-09-13T15:19:00+19:00", "2033-09-13T15:19:00.1234567891Z",
]  # fmt: skip


@pytest.fixture(scope="module")
def plain() -> ModuleType:
    """The kernels' own source, run as it stands even where a compiled module lies beside it."""
    spec = importlib.util.spec_from_file_location("plain_kernels", SOURCE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert not module.compiled
    return module


def random_log(seed: int, lines: int = 60) -> bytes:
    chance = random.Random(seed)
    ends = chance.choice([["\n"], ["\r\n"], ["\r"], ["\n", "\r\n", "\r"]])
    text = WIDE_HEADER + chance.choice(ends)
    for _ in range(lines):
        kind = chance.random()
        if kind < 0.5:  # plainly in order
            cells = [
                chance.choice(STAMPS[:2]),
                str(chance.randrange(60) * 10),
                "",
                f"-{chance.randrange(99) / 10}",
                "9",
                "RUN",
                "A1",
                "x",
            ]
        else:
            cells = [chance.choice(STAMPS), *(chance.choice(PIECES) for _ in range(7))]
            if kind > 0.9:
                cells = cells[: chance.randrange(9)]
            elif kind > 0.85:
                cells.append(chance.choice(PIECES))
        text += ",".join(cells) + chance.choice(ends)
    return text.encode() + b"\n"


def same(one: quick.QuickRows, other: quick.QuickRows) -> None:
    for name, value in vars(one).items():
        also = getattr(other, name)
        if isinstance(value, list):
            assert all(np.array_equal(a, b) for a, b in zip(value, also, strict=True)), name
        else:
            assert np.array_equal(value, also), name


def walked(text: bytes, how: Layout, module: Any, monkeypatch: pytest.MonkeyPatch) -> quick.QuickRows:
    header = read_header(text, 0, how, "log.csv")
    monkeypatch.setattr(quick, "kernels", module)
    return quick.quick_rows(text, how, header, count_lines(text, header.begins))


@pytest.mark.parametrize("seed", range(25))
def test_compiled_and_plain_kernels_give_the_same(
    seed: int, plain: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = random_log(seed)
    same(walked(text, WIDE, kernels, monkeypatch), walked(text, WIDE, plain, monkeypatch))


DIALECTS: list[tuple[dict[str, Any], str]] = [
    ({"time.format": "%d.%m.%Y %H:%M:%S", "time.zone": "UTC", "log.separator": ";", "log.decimal": ","}, "13.09.2033 15:19:{n:02d};{n},5;-8"),
    ({"time.format": "%m/%d/%Y %I:%M:%S %p", "time.zone": "UTC", "log.separator": ";"}, "9/3/2033 3:19:{n:02d} pm;{n}.5;-8"),
    ({"time.format": "%Y%m%d%H%M%S", "time.zone": "UTC", "log.separator": ";"}, "203309131519{n:02d};{n}.5;-8"),
    ({"time.format": "%d.%m.%y %H:%M:%S.%f%z", "log.separator": ";"}, "13.09.33 15:19:{n:02d}.25+0200;{n}.5;-8"),
    ({"time.format": "%d.%m.%Y %H:%M:%S", "time.columns": ["Vac", "time"], "time.zone": "UTC", "log.separator": ";"}, "15:19:{n:02d};{n}.5;13.09.2033"),
    ({"time.format": "epoch_s", "log.separator": ";"}, "20102375{n:02d}.125;{n}.5;-8"),
    ({"time.format": "epoch_ms", "log.separator": ";"}, "20102375{n:02d}125;{n}.5;-8"),
    ({"time.format": "elapsed_s", "time.start": "2033-09-13T15:19:00Z", "log.separator": ";", "flow.unit": "mL/h"}, "{n}.1;{n}00.5;-8"),
]  # fmt: skip


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect[0]["time.format"])
def test_in_each_dialect_the_walk_reads_every_plain_row_and_as_the_careful_reader_does(
    dialect: tuple[dict[str, Any], str], plain: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    changes, row = dialect
    how = layout(changes, **({"pressure": None} if "Vac" in changes.get("time.columns", []) else {}))
    text = ("time;Flow;Vac\n" + "".join(row.format(n=n) + "\n" for n in range(10, 60))).encode()
    found = walked(text, how, kernels, monkeypatch)
    assert len(found.line) == 50
    assert not len(found.odd)
    same(found, walked(text, how, plain, monkeypatch))
    monkeypatch.setattr(quick, "kernels", kernels)
    agrees(text, how)


def careful_only(text: bytes, how: Layout) -> tuple[list[CarefulRow], list[RefusedRow], int]:
    """Every line read by the careful reader alone: rows, refused rows, blank lines."""
    header = read_header(text, 0, how, "log.csv")
    reader = CarefulReader(how, header)
    good, bad, blank = [], [], 0
    at, line = header.begins, header.first_line
    while at < len(text):
        raw, at = line_at(text, at)
        if not raw.strip(b" "):
            blank += 1
        else:
            row = reader.read(raw.decode(), line)
            if isinstance(row, CarefulRow):
                good.append(row)
            refused = row.refused if isinstance(row, CarefulRow) else row
            if refused is not None:
                bad.append(refused)
        line += 1
    return good, bad, blank


def agrees(text: bytes, how: Layout) -> None:
    good, bad, blank = careful_only(text, how)
    log = read_log(text, how, "log.csv", 1.0)
    gone = {row.line for row in log.ledger.first_refused if "never happened" in row.why}
    held = set(log.line.tolist())  # a refused row in the hour that never happened has no place in time either
    kept = [row for row in good if row.line not in gone and (row.refused is None or row.line in held)]
    assert log.line.tolist() == [row.line for row in kept]
    holes = [row for row in good if row.refused is not None]
    assert log.ledger.refused == len(bad) + sum(row.refused is None for row in good if row.line in gone)
    assert log.ledger.read == len(good) + len(bad) - len(holes)
    assert log.unread is not None
    assert log.line[log.unread].tolist() == [row.line for row in holes if row.line in held]
    assert log.ledger.blank_lines == blank
    channels = [log.flow_ul_per_min, log.flow_max_ul_per_min, log.pressure_mcmh2o, log.battery_percent, log.state]
    for slot, channel in enumerate(c for c in channels if c is not None):
        assert channel.tolist() == [row.values[slot] for row in kept]
    if how.time.format != "elapsed_s":
        sure = [n for n, row in enumerate(kept) if not row.wall]
        assert log.time_ms[sure].tolist() == [kept[n].ms for n in sure]
    assert set(log.serials) == {row.serial for row in good if row.serial}


@pytest.mark.parametrize("seed", range(60))
def test_the_whole_reading_is_what_the_careful_reader_alone_would_give(seed: int) -> None:
    agrees(random_log(1000 + seed, lines=19), WIDE)


def test_plain_rows_are_all_read_by_the_walk_and_not_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    text = rows(*["10,-8.5", '"20","−8.5"', " 30 , -8. ", ",", "+40,.5", "1e1,-8"] * 5).encode()
    assert len(walked(text, layout(), kernels, monkeypatch).odd) == 5  # the exponents


def test_no_row_is_lost_between_the_walk_and_the_careful_reader() -> None:
    for seed in range(20):
        text = random_log(seed)
        data_lines = len([raw for raw in all_lines(text)[1:] if raw.strip(b" ")])
        try:
            log: Log = read_log(text, WIDE, "log.csv", 1.0)
        except LogError:
            continue
        assert log.ledger.read == data_lines
        assert log.unread is not None
        assert log.ledger.used == int((~log.unread).sum())
        assert len(log.line) == len(set(log.line.tolist()))
        assert log.ledger.used + log.ledger.refused == log.ledger.read


def all_lines(text: bytes) -> list[bytes]:
    found, at = [], 0
    while at < len(text):
        raw, at = line_at(text, at)
        found.append(raw)
    return found


def test_the_source_runs_without_cython(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "cython", None)
    spec = importlib.util.spec_from_file_location("bare_kernels", SOURCE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.cython is interpreted
    same(walked(random_log(7), WIDE, module, monkeypatch), walked(random_log(7), WIDE, kernels, monkeypatch))


def test_a_log_with_a_great_many_serial_numbers_is_read() -> None:
    text = "time,Flow,N\n" + "".join(f"2033-09-13T15:{n // 60:02d}:{n % 60:02d}Z,10,S{n}\n" for n in range(200))
    log = read(text, layout(pressure=None, serial={"column": "N"}))
    assert len(log.serials) == 64
    assert any("at least 64 serial numbers" in note for note in log.notes)
