"""Series that others recorded, as logs of an air flow: read by a layout and judged by a rule, as an outsider would.

None is of a chest drain. Their numbers are called mL/min, since what is asked is time, gaps, limits and refusals.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from behaviour.reading.typed_log import layout
from slackwater import Assessment, Log, Protocol, assess, load_protocol, read_log

REAL = Path(__file__).parents[1] / "data" / "real"


def text_of(name: str) -> str:
    with gzip.open(REAL / f"{name}.csv.gz", "rt", encoding="utf-8") as file:
        return file.read()


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text.splitlines()))


def instant(text: str) -> int:
    """UTC ms; the sources name no zone."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def log_of(text: str, time: str, flow: str, **changes: Any) -> Log:
    """The file as it stands; a row's value holds from its stamp on. `changes`: of the layout, `__` for the dot."""
    told = {"time.columns": [time], "time.zone": "UTC", "time.marks": "start"}
    told |= {key.replace("__", "."): value for key, value in changes.items()}
    how = layout(told, flow={"column": flow, "unit": "mL/min", "statistic": "sample"}, pressure=None)
    return read_log(text.encode(), how, "foreign.csv")


def below(limit: str, lasting: str) -> Protocol:
    """A rule that asks of the flow alone: every reading below the limit for so long."""
    return load_protocol(
        f"""
        name = "outside"
        version = "1"
        status = "example"
        approved_by = ""
        source = "invented"
        [evidence]
        data_age = "1 h"
        gaps = "0 min"
        [guards]
        tube_open = {{ within = "4 h", also_at = ["start"], by = ["swing", "air", "charted"] }}
        effort_seen = {{ within = "8 h" }}
        [[removal]]
        id = "air"
        measure = "air_leak"
        scope = "space"
        is = "below"
        limit = "{limit}"
        lasting = "{lasting}"
        source = "invented"
        """.encode(),
        "outside.toml",
    )


def judged(logs: Iterable[Log], rule: Protocol, now_ms: int | None = None) -> Assessment:
    return assess(list(logs), protocol=rule, now_ms=now_ms)
