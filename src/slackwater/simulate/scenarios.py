"""Named scenarios: one for each course a leak takes, each fault, and each trap of reading a trace."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

from slackwater.errors import UsageError
from slackwater.simulate import unit_types as units
from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import Fault
from slackwater.simulate.fluid import FluidPlan
from slackwater.simulate.nurse import DILIGENT, SPARSE, USUAL
from slackwater.simulate.patient import Patient
from slackwater.simulate.scenario import Exchange, Scenario
from slackwater.simulate.suction import SuctionStep

NEVER = math.inf

_NONE = CoursePlan("none", flow_ml_per_min=0.0, effort_ml_per_min=0.0)
_STEADY = CoursePlan("plateau", flow_ml_per_min=120.0, lasting_h=NEVER, effort_ml_per_min=60.0)
_HEALS_AT_30 = CoursePlan("healing", flow_ml_per_min=180.0, lasting_h=30.0, effort_ml_per_min=40.0)

DEMO = Scenario(
    name="demo",
    summary="Upper lobectomy, nearly four days: a healing leak, a kink on the second night "
    "that reads as nought for three hours, a step down, then truly dry with the swing seen.",
    hours=90.0,
    start=datetime(2041, 3, 4, 14, 19, tzinfo=UTC),
    zone="+01:00",
    patient=Patient(id="SIM-DEMO", age_years=66.0, weight_kg=74.0, size_fr=24, space_compliance_ml_per_cmh2o=14.0),
    course=CoursePlan(
        "healing",
        flow_ml_per_min=420.0,
        lasting_h=63.0,
        effort_ml_per_min=60.0,
        effort_lasting_h=65.0,
        noise=0.16,
        bend=2.0,
    ),
    suction=(SuctionStep(0.0, 18.0, "hPa"), SuctionStep(44.0, 8.0, "hPa")),
    # 35 h after an afternoon operation is two in the second night.
    faults=(Fault("kinked", 35.1, 38.2, charted=True),),
    unit=units.EELGRASS,
    # Sleepers are left alone, so that nobody sees the kink before the morning.
    nurse=replace(DILIGENT, night_checks=False),
)


def _course(name: str, summary: str, course: CoursePlan, **more: object) -> Scenario:
    scenario = Scenario(name=name, summary=summary, hours=72.0, course=course)
    return replace(scenario, **more)  # type: ignore[arg-type]  # names are checked by replace itself


def _fault(name: str, summary: str, *faults: Fault, **more: object) -> Scenario:
    scenario = Scenario(name=name, summary=summary, hours=36.0, course=_STEADY, faults=faults)
    return replace(scenario, **more)  # type: ignore[arg-type]


_COURSES = (
    _course("none", "No leak at any time; swing throughout.", _NONE, hours=36.0),
    _course("healing", "A leak that heals within two days.", replace(_HEALS_AT_30, lasting_h=44.0)),
    _course(
        "stepwise",
        "A leak that seals by steps.",
        CoursePlan("stepwise", 240.0, 50.0, effort_ml_per_min=40.0),
    ),
    _course("plateau", "A leak that stays about the same.", _STEADY),
    _course(
        "recurring",
        "Gone for most of a day, then back.",
        CoursePlan("recurring", 130.0, 26.0, effort_ml_per_min=40.0, back_after_h=18.0),
        suction=(SuctionStep(0.0, 15.0),),
    ),
    _course(
        "intermittent",
        "Opens and shuts for half an hour or an hour at a time.",
        CoursePlan("intermittent", 140.0, NEVER, effort_ml_per_min=50.0),
    ),
    _course(
        "effort_only",
        "Nothing at rest, air with every good cough and on walks.",
        CoursePlan("effort_only", 0.0, NEVER, effort_ml_per_min=700.0),
        suction=(SuctionStep(0.0, 10.0),),
    ),
    _course(
        "effort_only_minutes",
        "The same on a unit that logs minute means: the coughs all but vanish.",
        CoursePlan("effort_only", 0.0, NEVER, effort_ml_per_min=700.0),
        unit=units.ESTUARY,
    ),
    _course(
        "near_limit",
        "Hovers about 50 mL/min for days.",
        CoursePlan("near_limit", 50.0, NEVER, effort_ml_per_min=15.0, noise=0.1),
    ),
    _course(
        "near_low_limit",
        "Hovers about 20 mL/min: below a limit of 50, and 28 litres a day.",
        CoursePlan("near_limit", 20.0, NEVER, effort_ml_per_min=8.0, noise=0.1),
        unit=units.SHINGLE,
    ),
    _course(
        "massive",
        "More air than the pump can move: ceiling and lost pressure without a disconnection.",
        CoursePlan("massive", 9000.0, NEVER, effort_ml_per_min=500.0, noise=0.1),
        hours=30.0,
    ),
)

_SUCTION = (
    _course(
        "step_down",
        "From -20 to -8 with an unchanged lung: the flow falls, nothing healed.",
        replace(_STEADY, noise=0.05),
        suction=(SuctionStep(0.0, 20.0), SuctionStep(24.0, 8.0)),
        hours=48.0,
    ),
    _course(
        "step_up",
        "From -8 to -20 after a day: a burst from the space, then a larger flow.",
        replace(_STEADY, noise=0.05),
        suction=(SuctionStep(0.0, 8.0), SuctionStep(20.0, 20.0)),
        patient=Patient(space_compliance_ml_per_cmh2o=60.0),
        hours=40.0,
    ),
    _course(
        "to_gravity",
        "Suction for a day, then no added suction: the pressure follows the pleura.",
        replace(_STEADY, flow_ml_per_min=150.0, noise=0.05),
        suction=(SuctionStep(0.0, 2.0, "kPa"), SuctionStep(22.0, None)),
        unit=units.SANDBAR,
        hours=48.0,
    ),
    _course(
        "gravity_none",
        "No added suction and no leak.",
        _NONE,
        suction=(SuctionStep(0.0, None),),
        hours=30.0,
    ),
    _course(
        "millimetres_of_mercury",
        "Ordered and logged in mmHg, one sample a second, negative values not clipped.",
        _HEALS_AT_30,
        suction=(SuctionStep(0.0, 15.0, "mmHg"), SuctionStep(26.0, 8.0, "mmHg")),
        unit=units.PEBBLE,
        hours=40.0,
    ),
    _course(
        "early_air",
        "A large space empties after connection: flow without a leak.",
        _NONE,
        patient=Patient(early_air_ml=900.0),
        hours=24.0,
    ),
    _course(
        "ventilated",
        "A ventilated patient: swing upside down, flow with every push.",
        CoursePlan("plateau", 700.0, NEVER, effort_ml_per_min=0.0),
        patient=Patient(breathing="invasive", indication="pneumothorax_secondary", operation=""),
        suction=(SuctionStep(0.0, 12.0),),
        hours=30.0,
    ),
)

_FAULTS = (
    _fault("blocked", "A clot for ten hours with the lung leaking behind it.", Fault("blocked", 18.0, 28.0)),
    _fault(
        "blocked_to_the_end",
        "A clot from hour 20 on, never found.",
        Fault("blocked", 20.0, 999.0),
        nurse=SPARSE,
    ),
    _fault("kinked", "A kink overnight, found in the morning.", Fault("kinked", 9.5, 15.5, charted=True)),
    _fault(
        "loop",
        "A fluid loop: damped swing, suction lost on the way.",
        Fault("loop", 14.0, 22.0, pressure_cmh2o=8.0, charted=True),
    ),
    _fault(
        "open_circuit",
        "The tube comes apart for twenty minutes.",
        Fault("open_circuit", 20.0, 20.35, charted=True),
    ),
    _fault(
        "open_circuit_unseen",
        "The same at night, and nobody writes it down.",
        Fault("open_circuit", 12.0, 14.0),
        nurse=SPARSE,
    ),
    _fault(
        "open_circuit_gravity",
        "Apart for three hours with no added suction: it reads nought.",
        Fault("open_circuit", 22.0, 25.0),
        suction=(SuctionStep(0.0, 15.0), SuctionStep(16.0, None)),
    ),
    _fault(
        "capped",
        "Apart for ten minutes, then the end is capped for nine hours: a perfect nought.",
        Fault("open_circuit", 16.0, 16.17),
        Fault("capped", 16.17, 25.5),
    ),
    _fault("off", "Pump off for five hours, not charted.", Fault("off", 21.0, 26.0)),
    _fault("off_zeros", "Switched off and logging noughts.", Fault("off", 18.0, 27.0, zeros=True)),
    _fault(
        "clamped_charted",
        "A clamp trial of six hours, charted.",
        Fault("clamped", 24.0, 30.0, charted=True),
    ),
    _fault("clamped_unseen", "A clamp forgotten for nine hours.", Fault("clamped", 22.0, 31.0)),
    _fault(
        "weak_pump",
        "A wet filter: delivered suction fades and the flow with it.",
        Fault("weak_pump", 10.0, 30.0, share=0.75),
    ),
    _fault(
        "connector_leak",
        "No lung leak at all: room air at a joint, following suction and not breathing.",
        Fault("connector_leak", 8.0, 999.0, flow_ml_per_min=90.0),
        course=_NONE,
        suction=(SuctionStep(0.0, 20.0), SuctionStep(20.0, 10.0)),
    ),
    _fault(
        "limb_blocked",
        "Two drains on one unit; the limb that carries most of the leak blocks.",
        Fault("limb_blocked", 16.0, 999.0, share=0.85),
        limbs=2,
    ),
    _fault(
        "tissue",
        "Air goes to the tissues: flow falls while the emphysema spreads.",
        Fault("tissue", 14.0, 36.0, share=0.93),
    ),
    _fault(
        "dropout",
        "Rows missing: two hours whole, later one in five.",
        Fault("dropout", 12.0, 14.0),
        Fault("dropout", 20.0, 24.0, share=0.2),
        course=_HEALS_AT_30,
    ),
    _fault(
        "blanks",
        "Rows without values: all for an hour, flow only for three, some pressures later.",
        Fault("blank", 10.0, 11.0),
        Fault("blank", 15.0, 18.0, channel="flow"),
        Fault("blank", 22.0, 30.0, channel="pressure", share=0.3),
        unit=units.SANDBAR,
    ),
    _fault(
        "stuck_flow",
        "The flow is frozen at nought for ten hours; the pressure is alive.",
        Fault("stuck", 20.0, 30.0, flow_ml_per_min=0.0, channel="flow"),
    ),
    _fault("stuck_both", "Both values frozen at the last one.", Fault("stuck", 18.0, 29.0)),
    _fault(
        "stuck_pressure",
        "The pressure is frozen, the flow is alive.",
        Fault("stuck", 12.0, 26.0, channel="pressure"),
    ),
    _fault(
        "zero_shift",
        "A zero taken while 60 mL/min leaked: everything reads 60 too low, clipped at nought.",
        Fault("zero_shift", 16.0, 999.0, flow_ml_per_min=60.0),
        course=CoursePlan("plateau", 55.0, NEVER, effort_ml_per_min=20.0, noise=0.1),
    ),
    _fault(
        "zero_shift_negative",
        "The same on a unit that shows negative flow.",
        Fault("zero_shift", 16.0, 999.0, flow_ml_per_min=60.0),
        course=CoursePlan("plateau", 55.0, NEVER, effort_ml_per_min=20.0, noise=0.1),
        unit=units.PEBBLE,
        hours=28.0,
    ),
    _fault(
        "drift",
        "No leak; the flow zero drifts up to 40 mL/min.",
        Fault("drift", 6.0, 36.0, flow_ml_per_min=40.0),
        course=_NONE,
    ),
    _fault(
        "clock_forward",
        "The unit's clock jumps two hours ahead.",
        Fault("clock_forward", 20.0, 999.0, clock_s=7200.0),
        course=_HEALS_AT_30,
    ),
    _fault(
        "clock_back",
        "The clock jumps an hour back: stamps repeat.",
        Fault("clock_back", 24.0, 999.0, clock_s=3600.0),
        course=_HEALS_AT_30,
    ),
    _fault(
        "dst_autumn",
        "Local stamps through the night the clocks go back.",
        start=datetime(2041, 10, 26, 12, 5, tzinfo=UTC),
        zone="Europe/Vienna",
        unit=units.SANDBAR,
        course=CoursePlan("healing", 120.0, 9.0, effort_ml_per_min=20.0),
        hours=26.0,
    ),
    _fault(
        "dst_spring",
        "Local stamps through the night the clocks go forward.",
        start=datetime(2041, 3, 30, 13, 40, tzinfo=UTC),
        zone="Europe/Vienna",
        unit=units.MOORING,
        course=CoursePlan("healing", 400.0, 8.0, effort_ml_per_min=60.0),
        hours=24.0,
    ),
    _fault(
        "battery",
        "The battery runs out on the way to a film: a gap of fifty minutes.",
        Fault("battery", 19.5, 20.4, charted=True),
        unit=units.SANDBAR,
    ),
    _fault(
        "exchanged",
        "The unit is exchanged; the second one's clock is four minutes ahead.",
        exchange=Exchange(18.0, gap_min=4.0, clock_s=240),
        unit=units.SALTMARSH,
    ),
)

_PATIENTS = (
    _course(
        "pneumonectomy",
        "A pneumonectomy space on suction by mistake: no lung there to leak.",
        _NONE,
        patient=Patient(operation="pneumonectomy", passes_swing=0.5, passes_swing_later=0.5),
        suction=(SuctionStep(0.0, 10.0),),
        hours=24.0,
    ),
    _course(
        "mediastinal",
        "A mediastinal drain after heart surgery: no air, no swing worth the name.",
        _NONE,
        patient=Patient(
            operation="cardiac",
            indication="cardiac_surgery",
            side="midline",
            space="mediastinal",
            passes_swing=0.03,
            passes_swing_later=0.03,
            early_air_ml=0.0,
            residual_space_ml=0.0,
        ),
        fluid=FluidPlan(first_ml_per_h=70.0, fades_h=8.0),
        hours=30.0,
    ),
    _course(
        "child",
        "A small child after heart surgery: fluid counts by weight.",
        _NONE,
        patient=Patient(
            age_years=0.7,
            weight_kg=6.4,
            size_fr=12,
            operation="cardiac",
            indication="child_cardiac_surgery",
            breaths_per_min=34.0,
            depth_cmh2o=3.0,
            walks_per_day=0.0,
            cough_cmh2o=25.0,
            early_air_ml=15.0,
            residual_space_ml=1.0,
        ),
        suction=(SuctionStep(0.0, 8.0),),
        fluid=FluidPlan(first_ml_per_h=5.0, later_ml_per_h=1.2, fades_h=8.0),
        hours=36.0,
    ),
)

_CHARTING = (
    _course(
        "sparse_chart",
        "Truly healed, but hardly anything was charted, and late.",
        _HEALS_AT_30,
        nurse=SPARSE,
        hours=48.0,
    ),
    _course(
        "usual_chart",
        "Healed, charted as most wards do.",
        _HEALS_AT_30,
        nurse=USUAL,
        unit=units.BREAKWATER,
        hours=48.0,
    ),
    _course(
        "chyle",
        "No air at all, little fluid, but it turned chylous.",
        _NONE,
        fluid=FluidPlan(look="chylous"),
        hours=36.0,
    ),
    _course(
        "bleeding",
        "Brisk bleeding in the first hours.",
        _NONE,
        fluid=FluidPlan(first_ml_per_h=260.0, fades_h=5.0, look="bloody"),
        hours=24.0,
    ),
    _course(
        "clot_after_bleeding",
        "Brisk bleeding, then suddenly none: a clot in the tube, not the end of it.",
        _NONE,
        faults=(Fault("blocked", 5.0, 16.0),),
        fluid=FluidPlan(first_ml_per_h=260.0, later_ml_per_h=20.0, fades_h=9.0, look="bloody"),
        hours=20.0,
    ),
)

_BY_NAME: dict[str, Scenario] = {s.name: s for s in (DEMO, *_COURSES, *_SUCTION, *_FAULTS, *_PATIENTS, *_CHARTING)}


def scenario_names() -> tuple[str, ...]:
    """Names of all scenarios, the demonstration first."""
    return tuple(_BY_NAME)


def scenario(name: str) -> Scenario:
    """The scenario of that name.

    >>> scenario("demo").hours
    90.0
    """
    if name not in _BY_NAME:
        raise UsageError(f"{name!r} is no scenario", mend=f"Name one of: {', '.join(_BY_NAME)}.")
    return _BY_NAME[name]
