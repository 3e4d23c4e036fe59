"""Invented makes of suction unit. None of them exists; numbers and words are made up."""

from __future__ import annotations

from slackwater.simulate.unit_type import Column, Stamp, UnitType

EELGRASS = UnitType(
    # The demonstration's unit: whole hPa, 5 mL/min steps, a row every two seconds.
    name="eelgrass",
    columns=(
        Column("stamp", "time"),
        Column("flow", "air_flow_ml_per_min"),
        Column("pressure", "pressure_hpa"),
        Column("set_suction", "ordered_hpa"),
    ),
)

SANDBAR = UnitType(
    name="sandbar",
    columns=(
        Column("date", "Day"),
        Column("clock", "Clock"),
        Column("pressure", "Line"),
        Column("pressure_min", "Line low"),
        Column("flow", "Air"),
        Column("flow_max", "Air top"),
        Column("set_suction", "Wanted"),
        Column("battery", "Charge"),
        Column("mains", "Plugged"),
        Column("serial", "Box"),
    ),
    stamp=Stamp(date="%d.%m.%Y", clock="%H:%M:%S"),
    cadence_s=10,
    flow_step_ml_per_min=2.0,
    flow_top_ml_per_min=6000.0,
    pump_top_ml_per_min=7000.0,
    pressure_unit="kPa",
    pressure_step=0.01,
    suction_is="positive",
    separator=";",
    decimal=",",
    preamble=("Air and line record", "Box {serial}", "Begun {start}"),
    missing="---",
    mains_words=("ja", "nein"),
    battery_runs_min=275.0,
)

PEBBLE = UnitType(
    name="pebble",
    columns=(
        Column("row", "n"),
        Column("stamp", "when"),
        Column("flow", "q"),
        Column("pressure", "p"),
    ),
    stamp=Stamp(style="iso_utc"),
    cadence_s=1,
    statistic="sample",
    flow_step_ml_per_min=1.0,
    flow_top_ml_per_min=3000.0,
    pump_top_ml_per_min=3400.0,
    flow_noise_ml_per_min=2.5,
    clips_at_zero=False,
    pressure_unit="mmHg",
    pressure_step=0.1,
    separator="\t",
    missing="NA",
)

ESTUARY = UnitType(
    name="estuary",
    columns=(
        Column("stamp", "Zeitpunkt"),
        Column("flow", "Fluss"),
        Column("flow_max", "Fluss hoch"),
        Column("pressure", "Druck"),
        Column("state", "Betrieb"),
        Column("fluid", "Menge"),
    ),
    stamp=Stamp(date="%d/%m/%Y", clock="%H:%M", marks="start"),
    cadence_s=60,
    flow_unit="L/min",
    flow_step_ml_per_min=4.0,
    flow_rounding="floor",
    flow_top_ml_per_min=8000.0,
    pump_top_ml_per_min=9000.0,
    pressure_unit="cmH2O",
    pressure_step=0.2,
    separator=";",
    decimal=",",
    encoding="cp1252",
    units_line=True,
    missing="-",
    state_words=("läuft", "ruht"),
)

BREAKWATER = UnitType(
    name="breakwater",
    columns=(
        Column("stamp", "t"),
        Column("pressure", "vac"),
        Column("flow", "leak"),
        Column("set_suction", "vac goal"),
        Column("state", "doing"),
    ),
    stamp=Stamp(style="elapsed_s", marks="start"),
    cadence_s=5,
    flow_step_ml_per_min=20.0,
    flow_rounding="ceil",
    flow_top_ml_per_min=12000.0,
    pump_top_ml_per_min=13000.0,
    pressure_unit="mbar",
    pressure_step=1.0,
    suction_is="positive",
    separator="|",
    preamble=("# box {serial}",),
    missing="?",
    state_words=("pumping", "paused"),
)

MOORING = UnitType(
    name="mooring",
    columns=(
        Column("stamp", "Date and time"),
        Column("flow", "Air out (mL/min)"),
        Column("pressure", "Chest side (Pa)"),
        Column("battery", "Battery (%)"),
        Column("serial", "Unit no."),
    ),
    stamp=Stamp(date="%m/%d/%Y", clock="%I:%M:%S %p"),
    cadence_s=30,
    flow_step_ml_per_min=100.0,
    flow_top_ml_per_min=15000.0,
    pump_top_ml_per_min=16000.0,
    pressure_unit="Pa",
    pressure_step=10.0,
    encoding="utf-16",
    quote_text=True,
    battery_runs_min=400.0,
)

SALTMARSH = UnitType(
    name="saltmarsh",
    columns=(
        Column("stamp", "ts"),
        Column("flow", "flow"),
        Column("pressure", "pressure"),
        Column("set_suction", "target"),
        Column("fluid", "volume"),
    ),
    stamp=Stamp(style="epoch_ms"),
    cadence_s=4,
    flow_unit="L/min",
    flow_step_ml_per_min=1.0,
    flow_top_ml_per_min=5000.0,
    pump_top_ml_per_min=5200.0,
    pressure_unit="cmH2O",
    pressure_step=0.1,
    missing="null",
)

SHINGLE = UnitType(
    name="shingle",
    columns=(
        Column("stamp", "local_time"),
        Column("flow", "air"),
        Column("pressure", "line"),
        Column("mains", "wall"),
    ),
    stamp=Stamp(style="iso_offset"),
    cadence_s=15,
    flow_step_ml_per_min=10.0,
    flow_rounding="floor",
    flow_top_ml_per_min=7000.0,
    pump_top_ml_per_min=7500.0,
    pressure_unit="hPa",
    pressure_step=0.5,
    suction_is="positive",
    encoding="ascii",
    mains_words=("1", "0"),
)

UNIT_TYPES: tuple[UnitType, ...] = (
    EELGRASS,
    SANDBAR,
    PEBBLE,
    ESTUARY,
    BREAKWATER,
    MOORING,
    SALTMARSH,
    SHINGLE,
)
