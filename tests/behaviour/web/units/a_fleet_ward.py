"""The small ward with one drain on a unit that logs its charge, its fluid counter and its mains; and a busy register.

Unit, patient and lots are invented; the log is written here minute by minute, so that its truth is known: full to empty
in 300 min, from empty to full in 150.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.episode.episode import read_episode
from slackwater.protocol.shipped import shipped_bytes
from slackwater.reading.layout import Layout
from slackwater.store import Record
from slackwater.store.acts import key_of
from slackwater.store.register import take_register
from slackwater.store.take_in import Bundle, GivenLog, take_in
from ward.a_ward import NOW, NOW_MS, Clock, a_ward

DRAIN = key_of("drain", key_of("patient", "W-6"), "1")
UNIT = key_of("unit", "SN-6")
LASTS_MIN, FILLS_MIN = 300.0, 150.0
LAYOUT = """
[log]
separator = ","
decimal = "."
[time]
columns = ["time"]
format = "iso"
marks = "end"
every = "1 min"
[flow]
column = "flow"
unit = "mL/min"
step = "5 mL/min"
rounding = "nearest"
statistic = "mean"
[pressure]
column = "p"
unit = "cmH2O"
suction_is = "negative"
[battery]
column = "charge"
unit = "%"
[mains]
column = "plugged"
yes = ["1"]
no = ["0"]
[fluid]
column = "ml"
unit = "mL"
[serial]
column = "unit"
"""


def log_text(days: int = 2, off: tuple[int, int] = (100, 300), until_min: int = 0) -> bytes:
    """Off the mains for 200 min of every eight hours, from full to a third; 60 mL an hour; suction 20 but in the last
    `until_min`."""
    rows, level, total = ["time,flow,p,charge,plugged,ml,unit"], 96.0, 0.0
    count = days * 1440
    for k in range(1, count + 1):
        loose = off[0] <= k % 480 < off[1]
        level = min(max(level + (-100 / LASTS_MIN if loose else 100 / FILLS_MIN), 1.0), 100.0)
        total += 1.0
        at = (NOW - timedelta(minutes=count - k)).strftime("%Y-%m-%dT%H:%M:%SZ")
        suction = 0 if k > count - until_min else -20
        rows.append(f"{at},40,{suction},{round(level)},{int(not loose)},{total:.0f},SN-6")
    return ("\n".join(rows) + "\n").encode()


def recorded(record: Record, until_min: int = 0) -> None:
    at = (NOW - timedelta(days=2)).isoformat()
    episode = (
        'indication = "lung_resection"\n[patient]\nid = "W-6"\nage_years = 61\n'
        f'[drain]\nnumber = "1"\nside = "left"\nspace = "pleural"\nconnected_at = "{at}"\n'
        f'[operation]\nkind = "lobectomy"\nend = "{at}"\n'
    )
    chart = f"time,item,value,unit,note,drain\n{at},suction_ordered,20,cmH2O,,1\n"
    layout = Layout.from_toml(LAYOUT, "layout.toml")
    take_in(record, Bundle(
        "W-6", read_episode(episode.encode(), "episode.toml"),
        (GivenLog("log.csv", log_text(until_min=until_min), layout),),
        (("chart.csv", chart.encode()),), "UTC", ("air-50-8h.toml", shipped_bytes("air-50-8h")),
    ), by="tests")  # fmt: skip
    take_register(record, "serial,battery_lot,must_run_min\nSN-6,B-1,180\nSN-7,B-1,\nSN-8,B-2,\n", by="tests")


@contextmanager
def a_fleet(folder: Path, until_min: int = 0) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(folder, Clock()) as (app, client):
        recorded(app.state.record, until_min)
        yield app, client


__all__ = ["DRAIN", "NOW_MS", "UNIT", "a_fleet", "recorded"]
