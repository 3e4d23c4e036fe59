"""The one door: writes a stay to a folder."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from slackwater.simulate.ending import course_toml
from slackwater.simulate.stay import Stay


def write_bundle(stay: Stay, folder: str | Path, *, removed: bool = False) -> tuple[Path, ...]:
    """Write log.csv (and log-2.csv), layout.toml, chart.csv, episode.toml, truth.csv, truth.json.

    removed: course.toml too, with how the drain ended. The folder is made if need be; files of these
    names are replaced. Returns the paths.
    """
    to = Path(folder)
    to.mkdir(parents=True, exist_ok=True)
    files: dict[str, bytes] = {}
    for number, log in enumerate(stay.logs, start=1):
        files["log.csv" if number == 1 else f"log-{number}.csv"] = log
    files["layout.toml"] = stay.layout_toml.encode()
    files["chart.csv"] = stay.chart_csv.encode()
    files["episode.toml"] = stay.episode_toml.encode()
    files["truth.csv"] = truth_csv(stay).encode()
    files["truth.json"] = truth_json(stay).encode()
    if removed:
        files["course.toml"] = course_toml(stay).encode()
    for name, content in files.items():
        (to / name).write_bytes(content)
    return tuple(to / name for name in files)


def truth_csv(stay: Stay) -> str:
    """The truth by minute, as text. `minute` is the UTC start of the minute."""
    t = stay.truth
    lines = [
        "minute,leak_rest_ml_per_min,leak_effort_ml_per_min,conductance_ml_per_min_per_cmh2o,"
        "effort_conductance_ml_per_min_per_cmh2o,tube_open,swing_cmh2o,space_ml,faults"
    ]
    first = stay.scenario.start.astimezone(UTC).replace(tzinfo=None)
    columns = zip(
        t.leak_rest_ml_per_min.tolist(),
        t.leak_effort_ml_per_min.tolist(),
        t.conductance_ml_per_min_per_cmh2o.tolist(),
        t.effort_conductance_ml_per_min_per_cmh2o.tolist(),
        t.tube_open.tolist(),
        t.swing_cmh2o.tolist(),
        t.space_ml.tolist(),
        t.faults,
        strict=True,
    )
    for i, (rest, effort, g, g_effort, is_open, swing, space, faults) in enumerate(columns):
        minute = (first + timedelta(minutes=i)).isoformat() + "Z"
        lines.append(
            f"{minute},{rest:.2f},{effort:.2f},{g:.4f},{g_effort:.4f},"
            f"{'yes' if is_open else 'no'},{swing:.2f},{space:.1f},{' '.join(faults)}"
        )
    return "\n".join(lines) + "\n"


def truth_json(stay: Stay) -> str:
    """The truth of the stay as a whole, as text."""
    t, s = stay.truth, stay.scenario

    def instant(seconds: float | None) -> str | None:
        if seconds is None:
            return None
        moment = datetime.fromtimestamp(s.start_s + seconds, UTC)
        return moment.isoformat(timespec="seconds").replace("+00:00", "Z")

    whole = {
        "scenario": s.name,
        "summary": s.summary,
        "seed": stay.seed,
        "invented": True,
        "unit_type": s.unit.name,
        "connected_at": instant(0.0),
        "hours": s.hours,
        "pattern": t.pattern,
        "ever_leaked": t.ever_leaked,
        "leak_ended_at": instant(t.ended_s),
        "leak_at_rest_ended_at": instant(t.rest_ended_s),
        "leaking_at_end": t.leaking_at_end,
        "faults": [
            {"kind": f.kind, "from": instant(f.start_s), "to": instant(f.end_s), "charted": f.charted} for f in s.faults
        ],
    }
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"
