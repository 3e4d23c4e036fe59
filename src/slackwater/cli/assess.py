"""`slackwater assess`: judge one drain from its log, chart and episode."""

from __future__ import annotations

import json
import sys
from typing import Any

import click

from slackwater.cli.files import refuse_overwriting, write_whole
from slackwater.cli.instants import instant, ward_zone
from slackwater.errors import MissingPart, UsageError


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
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--minutes", "minutes_path", metavar="FILE", help="Write the minute table (.csv or .parquet).")
@click.option("--page", "page_path", metavar="FILE", hidden=True)
@click.pass_context
def command(
    ctx: click.Context, logs: tuple[str, ...], layout_name: str | None, chart_path: str | None,
    episode_path: str | None, zone: str | None, protocol_name: str | None, at: str | None, refuse_above: float,
    numbers_path: str | None, as_json: bool, minutes_path: str | None, page_path: str | None,
) -> None:  # fmt: skip
    """Judge one drain: is air still leaking, how sure, and what does the unit's rule still wait for?

    Several LOGs of one drain join. '-' reads one log from standard input.

    \b
    Example:
      slackwater assess log.csv --layout our-unit.toml --chart chart.csv \\
          --episode episode.toml --protocol air-50-8h

    Exit: 0 ran, nothing in doubt; 3 something cannot be told, or is met with gaps; 2 input refused.
    It never means 'remove'.
    """
    from slackwater.assessment.assess import assess
    from slackwater.cli.inputs import read_chart_file, read_episode_file, read_logs, read_numbers, read_protocol

    if page_path is not None:
        raise MissingPart("--page is not built yet", mend="Use the text, --json or --minutes.")
    if minutes_path is not None and not minutes_path.endswith((".csv", ".parquet")):
        raise UsageError(
            f"--minutes: {minutes_path!r} ends in neither .csv nor .parquet", mend="Give it one of these endings."
        )
    if not logs and chart_path is None:
        raise UsageError(
            "neither a log nor a chart is given", mend="Write: slackwater assess LOG --layout FILE, or --chart FILE."
        )
    refuse_overwriting(minutes_path, (*logs, layout_name, chart_path, episode_path, protocol_name))
    ward = ward_zone(zone)
    now_ms = None if at is None else instant(at, ward if zone else None)
    protocol = None if protocol_name is None else read_protocol(protocol_name)
    episode = None if episode_path is None else read_episode_file(episode_path)
    chart = None if chart_path is None else read_chart_file(chart_path, zone)
    read = read_logs(logs, layout_name, refuse_above)
    if zone is None and read and read[0].layout.get("time", {}).get("zone"):
        ward = ward_zone(str(read[0].layout["time"]["zone"]))  # the log's own wall clock reads best
    model = None if numbers_path is None else read_numbers(numbers_path)
    found = assess(
        read, chart=chart, episode=episode, protocol=protocol, now_ms=now_ms, zone=zone or "UTC", model=model
    )
    if minutes_path is not None:
        _write_minutes(found, minutes_path)
    if as_json:
        from slackwater.assessment.document import document

        click.echo(json.dumps(document(found), ensure_ascii=False, allow_nan=False, indent=2))
    else:
        from slackwater.cli.view.answer import answer_text

        click.echo(answer_text(found, ward, colour=_colour()))
    ctx.exit(3 if found.doubtful else 0)


def _colour() -> bool:
    import os

    if "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb":
        return False
    return sys.stdout.isatty() or bool(os.environ.get("FORCE_COLOR"))


def _write_minutes(found: Any, path: str) -> None:
    from slackwater.assessment.minute_table import minute_columns, minute_csv

    if path.endswith(".csv"):
        write_whole(path, minute_csv(found).encode())
        return
    import io

    import numpy as np
    import polars

    columns = {
        name: [None if value != value else value for value in column.tolist()]
        if isinstance(column, np.ndarray)
        else column
        for name, column in minute_columns(found).items()
    }
    buffer = io.BytesIO()
    polars.DataFrame(columns).with_columns(
        polars.col("minute").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_zone="UTC")
    ).write_parquet(buffer)
    write_whole(path, buffer.getvalue())
