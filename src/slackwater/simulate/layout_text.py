"""The layout that says how a unit's log is to be read."""

from __future__ import annotations

from datetime import datetime

from slackwater.simulate.log_text import places
from slackwater.simulate.toml_text import Value, toml_text
from slackwater.simulate.unit_type import UnitType


def layout_text(unit: UnitType, zone: str, start_local: datetime) -> str:
    """Layout TOML. `start_local`: the ward's wall clock at connection, for elapsed seconds."""
    tables: dict[str, dict[str, Value]] = {
        "log": {
            "separator": unit.separator,
            "decimal": unit.decimal,
            "encoding": unit.encoding,
            "skip_lines": len(unit.preamble),
            "units_line": unit.units_line,
            "quote": '"',
            "missing": [unit.missing] if unit.missing == "" else ["", unit.missing],
        },
        "time": _time(unit, zone, start_local),
        "flow": {
            "column": unit.header("flow"),
            "unit": unit.flow_unit,
            "step": f"{unit.flow_step_ml_per_min:g} mL/min",
            "rounding": unit.flow_rounding,
            "statistic": unit.statistic,
            "ceiling": f"{unit.flow_top_ml_per_min:g} mL/min",
        },
        "pressure": {
            "column": unit.header("pressure"),
            "unit": unit.pressure_unit,
            "suction_is": unit.suction_is,
            "step": f"{unit.pressure_step:.{places(unit.pressure_step)}f} {unit.pressure_unit}",
        },
    }
    if unit.has("flow_max"):
        tables["flow"]["max_column"] = unit.header("flow_max")
    if unit.has("pressure_min"):
        tables["pressure"]["min_column"] = unit.header("pressure_min")
    if unit.has("set_suction"):
        tables["set_suction"] = {"column": unit.header("set_suction")}
    if unit.has("battery"):
        tables["battery"] = {"column": unit.header("battery"), "unit": "%"}
    if unit.has("mains"):
        yes, no = unit.mains_words
        tables["mains"] = {"column": unit.header("mains"), "yes": [yes], "no": [no]}
    if unit.has("fluid"):
        tables["fluid"] = {"column": unit.header("fluid"), "unit": "mL"}
    if unit.has("state"):
        tables["state"] = {"column": unit.header("state")}
        on, off = unit.state_words
        tables["state.words"] = {f'"{on}"': "running", f'"{off}"': "standby"}
    if unit.has("serial"):
        tables["serial"] = {"column": unit.header("serial")}
    return toml_text({"unconfirmed": []}, tables)


def _time(unit: UnitType, zone: str, start_local: datetime) -> dict[str, Value]:
    stamp = unit.stamp
    split = unit.has("date")
    columns = [unit.header("date"), unit.header("clock")] if split else [unit.header("stamp")]
    out: dict[str, Value] = {"columns": list(columns)}
    if stamp.style == "local":
        joined = " " if split else stamp.joined
        out |= {"format": f"{stamp.date}{joined}{stamp.clock}", "zone": zone}
    elif stamp.style == "elapsed_s":
        start = start_local.replace(tzinfo=None).isoformat()
        out |= {"format": "elapsed_s", "zone": zone, "start": start}
    else:
        out["format"] = "iso" if stamp.style.startswith("iso") else stamp.style
    out |= {"marks": stamp.marks, "every": f"{unit.cadence_s} s"}
    return out
