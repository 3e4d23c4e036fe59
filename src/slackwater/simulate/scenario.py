"""One invented stay to simulate: patient, leak, suction, faults, unit and charting."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import Fault
from slackwater.simulate.fluid import FluidPlan
from slackwater.simulate.nurse import DILIGENT, Nurse
from slackwater.simulate.patient import Patient
from slackwater.simulate.suction import SuctionStep
from slackwater.simulate.unit_type import UnitType
from slackwater.simulate.unit_types import EELGRASS


@dataclass(frozen=True)
class Exchange:
    """The unit is exchanged for another of its kind: a second log begins `gap_min` later.

    The second unit's clock runs `clock_s` ahead, and it takes its zero anew.
    """

    at_h: float
    gap_min: float = 3.0
    clock_s: int = 0


@dataclass(frozen=True)
class Scenario:
    """What to simulate. With a seed it gives one stay, always the same.

    start: the moment of connection, whole seconds, UTC. zone: the ward's wall clock.
    limbs: 2 when two drains of one space share the unit by a Y.
    chart_local: chart times without offset, to be read with the ward's zone.
    """

    name: str
    summary: str
    hours: float = 72.0
    start: datetime = datetime(2041, 3, 4, 14, 19, tzinfo=UTC)
    zone: str = "+01:00"
    patient: Patient = field(default_factory=Patient)
    course: CoursePlan = field(default_factory=CoursePlan)
    suction: tuple[SuctionStep, ...] = (SuctionStep(0.0, 20.0),)
    faults: tuple[Fault, ...] = ()
    unit: UnitType = EELGRASS
    nurse: Nurse = DILIGENT
    fluid: FluidPlan = field(default_factory=FluidPlan)
    exchange: Exchange | None = None
    limbs: int = 1
    chart_local: bool = False

    @property
    def minutes(self) -> int:
        """Length of the stay in whole minutes."""
        return max(1, round(self.hours * 60.0))

    @property
    def start_s(self) -> int:
        """Moment of connection, Unix seconds."""
        return int(self.start.timestamp())
