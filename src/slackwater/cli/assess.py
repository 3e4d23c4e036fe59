"""`slackwater assess`: judge one drain from its log, chart and episode."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.files import refuse_overwriting, refuse_reading_twice, write_whole
from slackwater.cli.judged import Given, judge, judging
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from datetime import tzinfo

    from slackwater.assessment.assessment import Assessment
    from slackwater.risk import Score


@click.command("assess")
@judging
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--minutes", "minutes_path", metavar="FILE", help="Write the minute table (.csv or .parquet).")
@click.option("--page", "page_path", metavar="FILE", help="Write the page (.html): the whole stay in one file.")
@click.option("--risk", "risk_path", metavar="FILE", help="Inputs of published scores (TOML), shown on the page.")
@click.pass_context
def command(
    ctx: click.Context, /, as_json: bool, minutes_path: str | None, page_path: str | None, risk_path: str | None,
    **inputs: Any,
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
    if page_path is not None and not page_path.endswith((".html", ".htm")):
        raise UsageError(f"--page: {page_path!r} does not end in .html", mend="Name it so that a browser opens it.")
    if risk_path is not None and page_path is None:
        raise UsageError("--risk is shown on the page only", mend="Add --page FILE.html, or use: slackwater risk FILE.")
    if minutes_path is not None and not minutes_path.endswith((".csv", ".parquet")):
        raise UsageError(
            f"--minutes: {minutes_path!r} ends in neither .csv nor .parquet", mend="Give it one of these endings."
        )
    given = Given(**inputs)
    read = (*given.read, risk_path)
    refuse_reading_twice(read)
    refuse_overwriting(minutes_path, read)
    refuse_overwriting(page_path, (*read, minutes_path))
    answer = judge(given)
    found, ward = answer.found, answer.ward
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
