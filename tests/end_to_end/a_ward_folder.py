"""A small invented drain as files: two hours of minutes, read by a layout that names every kind of column."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

START = datetime(2041, 5, 6, 8, 0, tzinfo=UTC)
ROWS = 120
HEADER = "Stamp;Air;Air top;Line;Line low;Wanted;Charge;Plugged;Fluid;Doing;Box"

LAYOUT = """unconfirmed = []

[log]
separator = ";"
decimal = ","
encoding = "utf-8"
skip_lines = 2
quote = '"'
missing = ["", "---"]

[time]
columns = ["Stamp"]
format = "%d.%m.%Y %H:%M:%S"
zone = "+00:00"
marks = "end"
every = "1 min"

[flow]
column = "Air"
unit = "mL/min"
step = "5 mL/min"
rounding = "nearest"
statistic = "mean"
max_column = "Air top"
ceiling = "4000 mL/min"

[pressure]
column = "Line"
unit = "kPa"
suction_is = "positive"
min_column = "Line low"
step = "0.01 kPa"

[set_suction]
column = "Wanted"

[battery]
column = "Charge"
unit = "%"

[mains]
column = "Plugged"
yes = ["1"]
no = ["0"]

[fluid]
column = "Fluid"
unit = "mL"

[state]
column = "Doing"
words = { pump = "running", rest = "standby" }

[serial]
column = "Box"
"""

CHART = """time,item,value,unit,note,drain,recorded,by
2041-05-06T08:05:00Z,swing,present,,,1,,nurse
2041-05-06T08:30:00Z,fluid_output,40,mL,,1,,nurse
2041-05-06T09:00:00Z,suction_ordered,-10,cmH2O,,1,,doctor
2041-05-06T09:40:00Z,cough,no_leak,,,1,,nurse
2041-05-06T09:45:00Z,spo2,96,%,,1,,nurse
2041-05-06T09:50:00Z,surgical_emphysema,0,,,1,,nurse
"""

EPISODE = """indication = "lung_resection"
breathing = "own"

[patient]
id = "INV-1"
age_years = 61
weight_kg = 70

[drain]
number = "1"
side = "left"
space = "pleural"
connected_at = "2041-05-06T08:00:00Z"
shares_space_with = []

[operation]
kind = "lobectomy"
end = "2041-05-06T07:30:00Z"
"""

RULE = """name = "invented-50"
version = "1"
status = "example"
approved_by = ""
source = "invented for the tests"

[applies]
indication = ["lung_resection"]
excludes = ["pneumonectomy"]

[evidence]
data_age = "1 h"
gaps = "0 min"
restart_on = ["suction_change"]

[guards]
tube_open = { within = "4 h", also_at = ["start"], by = ["swing", "air", "charted"] }
effort_seen = { within = "8 h" }

[[removal]]
id = "air"
measure = "air_leak"
bin = "10 min"
is = "below"
limit = "50 mL/min"
lasting = "1 h"
source = "invented"

[[removal]]
id = "fluid"
measure = "fluid_output"
is = "at_most"
limit = "450 mL"
within = "1 h"
data_age = "2 h"
source = "invented"
"""

ALL = (
    "log.csv",
    "--layout",
    "layout.toml",
    "--chart",
    "chart.csv",
    "--episode",
    "episode.toml",
    "--protocol",
    "rule.toml",
)


def row(minute: int, flow: object = 10, **other: object) -> str:
    """The log's row that ends `minute` minutes after the start."""
    stamp = (START + timedelta(minutes=minute)).strftime("%d.%m.%Y %H:%M:%S")
    cells = {
        "stamp": stamp, "flow": flow, "top": flow if not isinstance(flow, int) else flow + 5, "line": "1,02",
        "low": "0,61", "wanted": "0,98", "charge": 80 - minute // 10, "plugged": minute // 60 % 2,
        "fluid": 100 + minute // 10, "doing": "pump", "box": "B-7", **other,
    }  # fmt: skip
    return ";".join(str(cell) for cell in cells.values())


def log(flow: object = 10, rows: int = ROWS, **other: object) -> str:
    """The whole log, every row alike but for its time and counters."""
    lines = ["Invented record", "Begun 2041", HEADER, *(row(m, flow, **other) for m in range(1, rows + 1))]
    return "\n".join(lines) + "\n"


def files() -> dict[str, bytes]:
    """The whole folder, sound."""
    texts = {"log.csv": log(), "layout.toml": LAYOUT, "chart.csv": CHART, "episode.toml": EPISODE, "rule.toml": RULE}
    return {name: text.encode() for name, text in texts.items()}


def write(folder: Path, **changed: bytes) -> Path:
    """Write the folder; `changed` gives other contents, e.g. `chart_csv=b''`."""
    folder.mkdir(parents=True, exist_ok=True)
    content = files()
    for key, data in changed.items():
        content[".".join(key.rsplit("_", 1))] = data
    for name, data in content.items():
        (folder / name).write_bytes(data)
    return folder
