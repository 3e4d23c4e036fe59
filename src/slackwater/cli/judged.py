"""What a drain is judged from, as commands are given it: files, or a drain of the record; and the judging."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.instants import instant, ward_zone
from slackwater.cli.options import at_record
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from slackwater.assessment.assessment import Assessment
    from slackwater.leak.filter.model import FilterModel
    from slackwater.protocol.rule import Protocol
    from slackwater.reading.log import Log
    from slackwater.store.course import Course

_OPTIONS = (
    click.argument("logs", nargs=-1, metavar="LOG..."),
    click.option("--layout", "layout_name", metavar="FILE|NAME",
                 help="How the log is to be read. Needed unless its header says all."),
    click.option("--chart", "chart_path", metavar="FILE", help="What staff charted (CSV)."),
    click.option("--episode", "episode_path", metavar="FILE", help="Who and what (TOML)."),
    click.option("--zone", metavar="ZONE",
                 help="The ward's time zone: for chart times without an offset, and for print."),
    click.option("--protocol", "protocol_name", metavar="NAME|FILE",
                 help="The unit's rule. Without one, only the leak is answered."),
    click.option("--at", metavar="TIME|now", help="Judge as of this time. Default: the end of the last reading."),
    click.option("--numbers", "numbers_path", metavar="FILE", help="The leak filter's numbers, as `learn` wrote them."),
    click.option("--refuse-above", type=click.FloatRange(0, 1), default=0.05, show_default=True,
                 help="Refuse a log with a larger share of unreadable rows."),
    click.option("--drain", metavar="DRAIN", help="A drain of the record, by PATIENT/NUMBER or its key."),
    at_record,
    click.option("--known", metavar="TIME", help="With --drain: as the record stood then."),
)  # fmt: skip


def judging(command: Callable[..., Any]) -> Callable[..., Any]:
    """LOG... and the options that say what is judged; a command takes them as `Given(**given)`."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@dataclass(frozen=True)
class Given:
    """The inputs as they were written."""

    logs: tuple[str, ...]
    layout_name: str | None
    chart_path: str | None
    episode_path: str | None
    zone: str | None
    protocol_name: str | None
    at: str | None
    numbers_path: str | None
    refuse_above: float
    drain: str | None
    place: str | None
    known: str | None

    @property
    def read(self) -> tuple[str | None, ...]:
        """Every file that is read, so that none is written over."""
        return (
            *self.logs, self.layout_name, self.chart_path, self.episode_path, self.protocol_name, self.numbers_path,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Answer:
    """What was found, the zone to print times in, and the drain's course if it came from the record."""

    found: Assessment
    ward: tzinfo
    course: Course | None = None


def judge(given: Given, command: str = "assess") -> Answer:
    """Judge the drain. Raises UsageError where what is given does not go together."""
    if given.drain is not None and (given.logs or given.layout_name or given.chart_path or given.episode_path):
        raise UsageError("--drain brings its own log, chart and episode", mend="Leave the files out, or record them.")
    if given.drain is None and (given.place is not None or given.known is not None):
        raise UsageError("--record and --known speak of the record", mend="Name the drain too: --drain PATIENT/NUMBER.")
    if given.drain is None and not given.logs and given.chart_path is None:
        raise UsageError(
            "neither a log nor a chart is given",
            mend=f"Write: slackwater {command} LOG --layout FILE, or --chart FILE, or --drain DRAIN.",
        )
    from slackwater.cli.files import refuse_reading_twice
    from slackwater.cli.inputs import read_numbers, read_protocol

    refuse_reading_twice(given.read)
    ward = ward_zone(given.zone)
    now_ms = None if given.at is None else instant(given.at, ward if given.zone else None)
    protocol = None if given.protocol_name is None else read_protocol(given.protocol_name)
    model = None if given.numbers_path is None else read_numbers(given.numbers_path)
    if given.drain is not None:
        return _recorded(given, given.drain, protocol, now_ms, model)
    return _from_files(given, protocol, now_ms, model)


def _from_files(given: Given, protocol: Protocol | None, now_ms: int | None, model: FilterModel | None) -> Answer:
    from slackwater.assessment.assess import assess
    from slackwater.cli.inputs import read_chart_file, read_episode_file, read_logs

    episode = None if given.episode_path is None else read_episode_file(given.episode_path)
    chart = None if given.chart_path is None else read_chart_file(given.chart_path, given.zone)
    logs = read_logs(given.logs, given.layout_name, given.refuse_above)
    found = assess(
        logs, chart=chart, episode=episode, protocol=protocol, now_ms=now_ms, zone=given.zone or "UTC", model=model
    )
    return Answer(found, _log_zone(logs, given.zone))


def _recorded(
    given: Given, drain: str, protocol: Protocol | None, now_ms: int | None, model: FilterModel | None
) -> Answer:
    """A drain of the record, judged."""
    from slackwater.store import open_record
    from slackwater.store.course import course_of, find_drain
    from slackwater.store.read_out import assess_course

    ward = ward_zone(given.zone)
    known_ms = None if given.known is None else instant(given.known, ward if given.zone else None, "--known")
    with open_record(given.place) as record:
        with record.reading() as connection:
            course = course_of(connection, find_drain(connection, drain, known_ms), known_ms)
        found = assess_course(
            record, course, protocol=protocol, now_ms=now_ms, zone=given.zone or "UTC", model=model
        )  # fmt: skip
    return Answer(found, _log_zone(found.trace.logs if found.trace is not None else (), given.zone), course)


def _log_zone(logs: Sequence[Log], asked: str | None) -> tzinfo:
    """The log's own wall clock reads best, where nobody asked for another."""
    if asked is None and logs and logs[0].clock_zone:
        return ward_zone(logs[0].clock_zone)
    return ward_zone(asked)
