"""`slackwater assess`: judge one drain from its log, chart and episode."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.files import refuse_overwriting, write_whole
from slackwater.cli.instants import instant, ward_zone
from slackwater.cli.options import at_record
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from slackwater.assessment.assessment import Assessment
    from slackwater.leak.filter.model import FilterModel
    from slackwater.protocol.rule import Protocol
    from slackwater.reading.log import Log
    from slackwater.risk import Score


@click.command("assess")
@click.argument("logs", nargs=-1, metavar="LOG...")
@click.option(
    "--layout", "layout_name", metavar="FILE|NAME", help="How the log is to be read. Needed unless its header says all."
)
@click.option("--chart", "chart_path", metavar="FILE", help="What staff charted (CSV).")
@click.option("--episode", "episode_path", metavar="FILE", help="Who and what (TOML).")
@click.option("--zone", metavar="ZONE", help="The ward's time zone: for chart times without an offset, and for print.")
@click.option(
    "--protocol", "protocol_name", metavar="NAME|FILE", help="The unit's rule. Without one, only the leak is answered."
)
@click.option("--at", metavar="TIME|now", help="Judge as of this time. Default: the end of the last reading.")
@click.option("--numbers", "numbers_path", metavar="FILE", help="The leak filter's numbers, as `learn` wrote them.")
@click.option(
    "--refuse-above",
    type=click.FloatRange(0, 1),
    default=0.05,
    show_default=True,
    help="Refuse a log with a larger share of unreadable rows.",
)
@click.option("--drain", "drain", metavar="DRAIN", help="A drain of the record, by PATIENT/NUMBER or its key.")
@at_record
@click.option("--known", metavar="TIME", help="With --drain: as the record stood then.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--minutes", "minutes_path", metavar="FILE", help="Write the minute table (.csv or .parquet).")
@click.option("--page", "page_path", metavar="FILE", help="Write the page (.html): the whole stay in one file.")
@click.option("--risk", "risk_path", metavar="FILE", help="Inputs of published scores (TOML), shown on the page.")
@click.pass_context
def command(
    ctx: click.Context, logs: tuple[str, ...], layout_name: str | None, chart_path: str | None,
    episode_path: str | None, zone: str | None, protocol_name: str | None, at: str | None, refuse_above: float,
    numbers_path: str | None, as_json: bool, minutes_path: str | None, page_path: str | None, risk_path: str | None,
    drain: str | None, place: str | None, known: str | None,
) -> None:  # fmt: skip
    """Judge one drain: is air still leaking, how sure, and what does the unit's rule still wait for?

    Several LOGs of one drain join. '-' reads one log from standard input. With --drain, log, chart, episode and
    the rule pinned to it come from the record.

    \b
    Example:
      slackwater assess log.csv --layout our-unit.toml --chart chart.csv \\
          --episode episode.toml --protocol air-50-8h
      slackwater assess --drain SIM-0001/1

    Exit: 0 ran, nothing in doubt; 3 something cannot be told, or is met with gaps; 2 input refused.
    It never means 'remove'.
    """
    from slackwater.assessment.assess import assess
    from slackwater.cli.inputs import read_chart_file, read_episode_file, read_logs, read_numbers, read_protocol

    if page_path is not None and not page_path.endswith((".html", ".htm")):
        raise UsageError(f"--page: {page_path!r} does not end in .html", mend="Name it so that a browser opens it.")
    if risk_path is not None and page_path is None:
        raise UsageError("--risk is shown on the page only", mend="Add --page FILE.html, or use: slackwater risk FILE.")
    if minutes_path is not None and not minutes_path.endswith((".csv", ".parquet")):
        raise UsageError(
            f"--minutes: {minutes_path!r} ends in neither .csv nor .parquet", mend="Give it one of these endings."
        )
    if drain is not None and (logs or layout_name or chart_path or episode_path):
        raise UsageError("--drain brings its own log, chart and episode", mend="Leave the files out, or record them.")
    if drain is None and (place is not None or known is not None):
        raise UsageError("--record and --known speak of the record", mend="Name the drain too: --drain PATIENT/NUMBER.")
    if drain is None and not logs and chart_path is None:
        raise UsageError(
            "neither a log nor a chart is given",
            mend="Write: slackwater assess LOG --layout FILE, or --chart FILE, or --drain DRAIN.",
        )
    given = (*logs, layout_name, chart_path, episode_path, protocol_name, numbers_path, risk_path)
    refuse_overwriting(minutes_path, given)
    refuse_overwriting(page_path, (*given, minutes_path))
    ward = ward_zone(zone)
    now_ms = None if at is None else instant(at, ward if zone else None)
    protocol = None if protocol_name is None else read_protocol(protocol_name)
    model = None if numbers_path is None else read_numbers(numbers_path)
    if drain is not None:
        found, ward = _recorded(drain, place, known, protocol, now_ms, zone, model)
    else:
        episode = None if episode_path is None else read_episode_file(episode_path)
        chart = None if chart_path is None else read_chart_file(chart_path, zone)
        read = read_logs(logs, layout_name, refuse_above)
        ward = _log_zone(read, ward, zone)
        found = assess(
            read, chart=chart, episode=episode, protocol=protocol, now_ms=now_ms, zone=zone or "UTC", model=model
        )
    page = None if page_path is None else _page(found, ward, risk_path)
    if minutes_path is not None:
        _write_minutes(found, minutes_path)
    if page_path is not None and page is not None:
        write_whole(page_path, page)
    if as_json:
        from slackwater.assessment.document import document

        click.echo(json.dumps(document(found), ensure_ascii=False, allow_nan=False, indent=2))
    else:
        from slackwater.cli.view.answer import answer_text

        click.echo(answer_text(found, ward, colour=_colour()))
    ctx.exit(3 if found.doubtful else 0)


def _recorded(
    drain: str, place: str | None, known: str | None, protocol: Protocol | None, now_ms: int | None,
    zone: str | None, model: FilterModel | None,
) -> tuple[Assessment, tzinfo]:  # fmt: skip
    """A drain of the record, judged."""
    from slackwater.store import open_record
    from slackwater.store.course import find_drain
    from slackwater.store.read_out import assess_drain

    ward = ward_zone(zone)
    known_ms = None if known is None else instant(known, ward if zone else None, "--known")
    with open_record(place) as record:
        with record.reading() as connection:
            key = find_drain(connection, drain, known_ms)
        found = assess_drain(
            record, key, protocol=protocol, now_ms=now_ms, known_ms=known_ms, zone=zone or "UTC", model=model
        )
    return found, _log_zone(found.trace.logs if found.trace is not None else (), ward, zone)


def _log_zone(logs: Sequence[Log], ward: tzinfo, asked: str | None) -> tzinfo:
    """The log's own wall clock reads best, where nobody asked for another."""
    if asked is None and logs and logs[0].clock_zone:
        return ward_zone(logs[0].clock_zone)
    return ward


def _page(found: Assessment, zone: tzinfo, risk_path: str | None) -> bytes:
    from slackwater.report.page import page

    return page(found, zone, scores=_scores(risk_path)).encode()


def _scores(path: str | None) -> tuple[Score, ...]:
    if path is None:
        return ()
    from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes
    from slackwater.risk import read_risk_inputs, scores

    return scores(read_risk_inputs(read_bytes(path, LARGEST_TEXT), name_of(path)))


def _colour() -> bool:
    import os

    if "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb":
        return False
    return sys.stdout.isatty() or bool(os.environ.get("FORCE_COLOR"))


def _write_minutes(found: Any, path: str) -> None:
    from slackwater.assessment.minute_table import minute_csv, minute_frame

    if path.endswith(".csv"):
        write_whole(path, minute_csv(found).encode())
        return
    import io

    buffer = io.BytesIO()
    minute_frame(found).write_parquet(buffer)
    write_whole(path, buffer.getvalue())
