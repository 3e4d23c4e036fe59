"""The demo's ward: twelve invented drains whose stays reach past now, and somebody of every role; what it has beside
them is in demo_beside.py. All invented."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from slackwater.simulate.scenario import Scenario
    from slackwater.store.record import Record
    from slackwater.store.take_in import Bundle

FILM_TOO = b"""
[[removal]]
id = "film"
measure = "chest_xray"
is = "one_of"
limit = ["expanded"]
within = "24 h"
source = "invented for the demo"
"""
AHEAD_H = 24.0  # each log runs on so long after now; its rows are not yet known, and come to light with time
PASSWORD = "drift kelp harbour seven"
NAMES = {
    "nurse": "Ines Aberdour", "specialist_nurse": "Tove Marrick", "physiotherapist": "Pau Selwick",
    "registrar": "Mira Oakhanger", "surgeon": "Jon Thirlby", "engineer": "Kit Fennimore", "audit_lead": "Ada Wendover",
    "keeper": "Sol Brackwater",
}  # fmt: skip
LANTERN, JUNIPER = "Lantern ward", "Juniper ward"


@dataclass(frozen=True)
class Stay:
    """One drain. `hours` since connection; `drop`: chart items nobody wrote in the last so many hours.

    course: tables of a course file in which {+2} stands for the moment two hours from now.
    """

    scenario: str
    unit: str
    hours: float
    patient: str
    bed: str
    initials: str
    rule: str | None = "air-50-8h"
    ward: str = LANTERN
    number: str = "1"
    side: Literal["left", "right"] = "right"
    shares: str = ""  # the other drain of the same space
    site: str = "fifth space, anterior axillary line"
    seed: int = 1  # the unit's serial number follows from it
    silent_h: float = 0.0  # the log ended so long ago
    drop: dict[str, float] = field(default_factory=dict)
    course: str = ""
    changed: Callable[[Scenario], Scenario] = lambda plan: plan


def _blocked(plan: Scenario) -> Scenario:
    from slackwater.simulate.fault import Fault

    return replace(plan, faults=(Fault("blocked", 27.0, 999.0),))


def _bleeds(plan: Scenario) -> Scenario:
    return replace(plan, fluid=replace(plan.fluid, first_ml_per_h=420.0, fades_h=9.0))


def _leaks_less(plan: Scenario) -> Scenario:
    return replace(plan, course=replace(plan.course, flow_ml_per_min=70.0))


STAYS = (
    Stay("bleeding", "SANDBAR", 4.2, "LW-2041", "3", "R.T.", changed=_bleeds),
    Stay("healing", "EELGRASS", 66.0, "LW-1987", "1", "M.O.", "lantern-50-8h", drop={"chest_xray": 30.0},
         course='[[hold]]\nreason = "awaiting_imaging"\nfrom = {-3}\nnote = "film ordered for the afternoon"\n'),
    Stay("healing", "SANDBAR", 70.0, "LW-1975", "2", "A.F.", seed=4),
    Stay("plateau", "SHINGLE", 52.0, "LW-1990", "4", "S.K.", "strict-local",
         course='[[task]]\nwhat = "ask the registrar about suction"\ndue = {+1}\n'
                '[[order]]\nkind = "suction"\nlevel = "-20"\nunit = "cmH2O"\nfrom = {-20}\nreview = {-2}\n'
                "may_be_off_min = 20\n"),
    Stay("blocked", "SANDBAR", 33.0, "LW-2003", "5", "J.W.", seed=5, changed=_blocked,
         drop={"tube_open": 6.0, "swing": 6.0}),
    Stay("stepwise", "EELGRASS", 44.0, "LW-1969", "6", "P.L.", number="1", shares="2", site="apex"),
    Stay("effort_only", "SANDBAR", 44.0, "LW-1969", "6", "P.L.", number="2", shares="1", site="base", seed=7),
    # so long that its unit was off the mains on four mornings: how long that battery runs is then known
    Stay("to_gravity", "SANDBAR", 99.0, "JW-0412", "11", "E.B.", ward=JUNIPER, seed=8, side="left",
         changed=_leaks_less,
         course='[[hold]]\nreason = "patient_wish"\nfrom = {-5}\nto = {+6}\n'),
    Stay("healing", "ESTUARY", 52.0, "JW-0430", "12", "T.N.", ward=JUNIPER, silent_h=3.0, seed=3),
    Stay("pneumonectomy", "SANDBAR", 20.0, "LW-2050", "7", "C.D.", None, seed=10, side="left"),
    Stay("healing", "SHINGLE", 64.0, "LW-1950", "8", "H.V.", seed=9, silent_h=3.0,
         course='[removal]\nkind = "planned"\ntime = {-3}\nremoved_by = "Tove Marrick"\n'
                'breath_phase = "end_expiration"\n[[check]]\nwhat = "chest_xray"\ndue = {+1}\n'
                '[[check]]\nwhat = "observations"\ndue = {-0.5}\n'),
)  # fmt: skip
CHARTED_D = 6.0  # days since connection
CHARTED = """time,item,value,unit,note,drain
{-52},suction_ordered,none_added,,,1
{-40},fluid_output,60,mL,,1
{-30},swing,present,,,1
{-30},fluid_output,45,mL,,1
{-30},fluid_appearance,serous,,,1
{-30},bubbling,E2,,,1
{-20},distress,no,,"diary, told by patient",1
{-20},temperature,36.7,Cel,"diary, told by patient",1
{-20},fluid_output,40,mL,"diary, told by patient",1
{-20},fluid_appearance,serous,,"diary, told by patient",1
{-20},site,"dry, sealed",,"diary, told by patient",1
{-12},tubing,checked,,"diary, told by district nurse",1
{-12},swing,present,,"diary, told by district nurse",1
{-12},temperature,36.9,Cel,"diary, told by district nurse",1
{-12},site,"dry, sealed",,"diary, told by district nurse",1
{-3},distress,no,,"diary, told by patient",1
{-3},temperature,37.9,Cel,"diary, told by patient",1
{-3},fluid_output,35,mL,"diary, told by patient",1
{-3},site,red or swollen,,"diary, told by patient",1
"""  # the last of the diary is a flag: whoever reads it looks at the patient


def fill(record: Record, now: datetime, zone: str, tell: Callable[[str], None]) -> int:
    """Simulate and record the ward as it stands at `now`; `tell` hears of each drain. Returns how many drains."""
    from slackwater.cli.demo_beside import furnish
    from slackwater.store.take_in import take_in

    for number, stay in enumerate(STAYS, 1):
        tell(f"  {number:2} of {len(STAYS) + 1}: {stay.patient}/{stay.number}, {stay.scenario}")
        take_in(record, simulated(stay, now, zone), by="demo")
    tell(f"  {len(STAYS) + 1} of {len(STAYS) + 1}: LW-2060/1, charted only, at home")
    take_in(record, charted_only(now), by="demo")
    furnish(record, now)
    return len(STAYS) + 1


def people(record: Record) -> Iterator[tuple[str, str]]:
    """Enter somebody of every role, all with the same printed password: (login, name)."""
    from slackwater.store.accounts import put_account
    from slackwater.store.acts import key_of
    from slackwater.web.passwords import hashed

    password = hashed(PASSWORD)
    for role, name in NAMES.items():
        with record.act(by="demo", what="entered") as act:
            act.add("person", key_of("person", role), {"name": name, "role": role})
        put_account(record, key_of("person", role), role, password)
        yield role, name


def simulated(stay: Stay, now: datetime, zone: str) -> Bundle:
    """One stay as files: the log runs ahead of now, the chart ends with it."""
    from slackwater.episode.episode import read_episode
    from slackwater.reading.layout import Layout
    from slackwater.simulate import scenario, simulate, unit_types
    from slackwater.store.course_text import read_course
    from slackwater.store.take_in import Bundle, GivenLog

    plan = scenario(stay.scenario)
    hours = stay.hours + (AHEAD_H if not stay.silent_h else -stay.silent_h)
    start = (now - timedelta(hours=stay.hours)).replace(microsecond=0)
    plan = stay.changed(
        replace(
            plan, hours=hours, start=start, zone=zone, unit=getattr(unit_types, stay.unit),
            patient=replace(plan.patient, id=stay.patient, side=stay.side),
            faults=tuple(one for one in plan.faults if one.start_s < hours * 3600),
        )
    )  # fmt: skip
    made = simulate(plan, stay.seed)
    episode = read_episode(made.episode_toml.encode(), "episode.toml")
    episode = replace(
        episode, drain_number=stay.number, site=stay.site, shares_space_told=True,
        shares_space_with=(stay.shares,) if stay.shares else (),
    )  # fmt: skip
    layout = Layout.from_toml(made.layout_toml, "layout.toml")
    text = f'[stay]\nward = "{stay.ward}"\nbed = "{stay.bed}"\ninitials = "{stay.initials}"\n{stay.course}'
    return Bundle(
        stay.patient, episode, tuple(GivenLog(f"log-{n}.csv", log, layout) for n, log in enumerate(made.logs, 1)),
        (("chart.csv", chart_until(made.chart_csv, stay, now)),), zone,
        None if stay.rule is None else (f"{stay.rule}.toml", rule_bytes(stay.rule)),
        read_course(_moments(text, now).encode(), "course.toml"),
    )  # fmt: skip


def rule_bytes(name: str) -> bytes:
    """An example that comes with the program; or the demo's own, which asks for a film too."""
    from slackwater.protocol.shipped import shipped_bytes

    if name != "lantern-50-8h":
        return shipped_bytes(name)
    text = shipped_bytes("air-50-8h").replace(b'name = "air-50-8h"', b'name = "lantern-50-8h"')
    return text + FILM_TOO


def chart_until(chart: str, stay: Stay, now: datetime) -> bytes:
    """The chart's rows that had been written by now, of this drain, without those that nobody wrote."""
    rows = list(csv.DictReader(io.StringIO(chart)))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        at = datetime.fromisoformat(row["time"])
        written = datetime.fromisoformat(row["recorded"]) if row["recorded"] else at
        if max(at, written) > now or at > now - timedelta(hours=stay.drop.get(row["item"], 0.0)):
            continue
        writer.writerow({**row, "drain": stay.number if row["drain"] else ""})
    return out.getvalue().encode()


def charted_only(now: datetime) -> Bundle:
    """A drain on a bottle, now at home: no unit, no log, only what people wrote."""
    from slackwater.episode.episode import read_episode
    from slackwater.store.course_text import read_course
    from slackwater.store.take_in import Bundle

    episode = (
        '[patient]\nid = "LW-2060"\nweight_kg = 68\n[drain]\nnumber = "1"\nside = "left"\nspace = "pleural"\n'
        f'shares_space_with = []\nconnected_at = {_stamp(now - timedelta(days=CHARTED_D))}\nsite = "fourth space"\n'
    )
    stay = f'[stay]\nward = "{LANTERN}"\ninitials = "B.Y."\n'
    return Bundle(
        "LW-2060", read_episode(episode.encode(), "episode.toml"),
        charts=(("chart.csv", _moments(CHARTED, now).encode()),), course=read_course(stay.encode(), "course.toml"),
    )  # fmt: skip


def _moments(text: str, now: datetime) -> str:
    """{+2} and {-0.5} as moments, hours from now."""
    out, rest = "", text
    while "{" in rest:
        before, _, rest = rest.partition("{")
        hours, _, rest = rest.partition("}")
        out += before + _stamp(now + timedelta(hours=float(hours)))
    return out + rest


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
