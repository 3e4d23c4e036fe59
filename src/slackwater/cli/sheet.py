"""`slackwater sheet`: a drain, or a ward's drains, on paper."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.files import refuse_overwriting, write_whole
from slackwater.cli.instants import instant, ward_zone
from slackwater.cli.judged import Given, judge, judging
from slackwater.errors import UsageError
from slackwater.quantities.spans import HOUR_MS

if TYPE_CHECKING:
    from datetime import tzinfo

    from slackwater.report.sheets.material import Material
    from slackwater.report.sheets.sheet import Print

# Named here, so that help need not load what makes them; a test holds them against report/sheets/make.py.
KINDS = ("handover", "summary", "removal", "transfer", "home", "incident", "explain", "checklist")


@click.command("sheet")
@click.argument("kind", type=click.Choice(KINDS))
@judging
@click.option("--ward", metavar="WARD", help="handover: the drains of this ward of the record alone.")
@click.option(
    "--moment", metavar="TIME",
    help="incident: the moment that it is about; without an offset in --zone, else in the log's own.",
)  # fmt: skip
@click.option(
    "--shift",
    "shift_h",
    type=click.FloatRange(0.5, 48),
    default=8.0,
    show_default=True,
    help="handover: how many hours a shift goes back.",
)
@click.option(
    "--printed", metavar="TIME|now", default="now", show_default=True, help="The moment that it is printed at."
)
@click.option(
    "--out",
    metavar="FILE",
    help="FILE.pdf or FILE.html; '-' writes the PDF to standard output. Default: sheet-KIND.pdf here.",
)
@click.pass_context
def command(
    ctx: click.Context, /, kind: str, ward: str | None, moment: str | None, shift_h: float, printed: str,
    out: str | None, **inputs: Any,
) -> None:  # fmt: skip
    """Write one sheet: what the screen says of a drain, on paper, as PDF or HTML.

    \b
    handover   what changed, what is open, what is not recorded; at most 15 lines a drain
    summary    the whole course on one page, its evidence on the next
    removal    the removal record          transfer   suction and charge for a trip
    home       going home with a drain     explain    for the patient, in large print
    incident   two hours either side of --moment, with hashes
    checklist  the blank form for when nothing works

    LOGs and their options as for `slackwater assess`; or --drain of the record. `handover` with neither is of every
    drain of the record that is in.

    \b
    Example:
      slackwater sheet summary log.csv --layout our-unit.toml --chart chart.csv \\
          --episode episode.toml --protocol air-50-8h --out summary.pdf
      slackwater sheet handover --ward "Lantern ward" --out handover.pdf

    Exit: 0 ran, nothing in doubt; 3 something cannot be told; 2 input refused; 4 the extra 'sheet' is missing.
    """
    given, path = Given(**inputs), out or f"sheet-{kind}.pdf"
    if path != "-" and not path.endswith((".pdf", ".html", ".htm")):
        raise UsageError(f"--out: {path!r} ends in neither .pdf nor .html", mend="Give it one of these endings.")
    refuse_overwriting(path, given.read)
    _refuse_unfit(kind, given, ward, moment)
    _parts_are_there(path)
    zone = ward_zone(given.zone)
    printed_ms = instant(printed, zone if given.zone else None, "--printed")
    made, doubtful = _made(kind, given, zone, printed_ms, ward, moment, round(shift_h * HOUR_MS))
    write_whole(path, _set(made, path))
    if path != "-":
        click.echo(f"{path}: {made.title}.")
    ctx.exit(3 if doubtful else 0)


def _refuse_unfit(kind: str, given: Given, ward: str | None, moment: str | None) -> None:
    if kind == "incident" and moment is None:
        raise UsageError("an incident is about a moment", mend="Write: --moment 2033-09-14T03:00:00+02:00.")
    if moment is not None and kind != "incident":
        raise UsageError("--moment is for an incident", mend="Write --at to judge as of another time.")
    if kind == "incident" and given.at is not None:
        raise UsageError("an incident is judged about its --moment", mend="Leave --at out.")
    one = given.drain is not None or given.logs or given.chart_path is not None
    if ward is not None and (kind != "handover" or one):
        raise UsageError("--ward is for the handover of a ward of the record", mend="Leave it out, or the drain.")
    if kind == "checklist" and one:
        raise UsageError("the checklist is blank", mend="Leave logs and drain out.")


def _parts_are_there(path: str) -> None:
    """MissingPart before any work is done."""
    if path.endswith((".html", ".htm")):
        return
    from slackwater.report.sheets.pdf import import_typst

    import_typst()


def _made(
    kind: str, given: Given, zone: tzinfo, printed_ms: int, ward: str | None, moment: str | None, shift_ms: int
) -> tuple[Print, bool]:
    from slackwater.report.sheets.make import print_checklist, print_one, sheet

    if kind == "checklist":
        return print_checklist(printed_ms, zone), False
    if kind == "handover" and given.drain is None and not given.logs and given.chart_path is None:
        return _ward(given, zone, printed_ms, ward, shift_ms)
    of, zone = _material(given, printed_ms, moment, shift_ms)
    one = sheet(kind, of)
    if one.warned:
        click.echo(f"slackwater: {one.warned}", err=True)
    return print_one(one, printed_ms, zone), one.doubtful


def _material(given: Given, printed_ms: int, moment: str | None, shift_ms: int) -> tuple[Material, tzinfo]:
    """What one drain's sheet is made from, and the zone that its times are told in."""
    from dataclasses import replace

    from slackwater.report.sheets.incident import EITHER_SIDE_MS
    from slackwater.report.sheets.material import BACK_MS, Beside, Material, beside_of

    moment_ms = None
    if moment is not None:
        moment_ms = instant(moment, _zone_of_moment(given, moment), "--moment")
        end_ms = moment_ms + EITHER_SIDE_MS
        if moment_ms <= printed_ms:  # else its clock and ours disagree, which the sheet says
            end_ms = min(end_ms, printed_ms)
        given = replace(given, at=_iso(end_ms))
    asked_ms: int | None = None
    back = given.known is not None or given.at is not None
    if given.drain is not None:
        at_ms, asked_ms = _judged_at(given, printed_ms)
        given = given if at_ms is None else replace(given, at=_iso(at_ms))
    answer = judge(given, "sheet summary")
    beside = Beside()
    if answer.course is not None:
        from slackwater.store import open_record

        known_ms = None if given.known is None else instant(given.known, answer.ward, "--known")
        with open_record(given.place) as record, record.reading() as connection:
            beside = beside_of(connection, answer.course, known_ms, acts=moment_ms is not None)
    found = answer.found
    told_ms = found.as_of_ms if asked_ms is None else asked_ms
    back = given.known is not None or (back and printed_ms - told_ms > BACK_MS)
    return Material(
        found, answer.course, answer.ward, found.as_of_ms, printed_ms, beside, shift_ms, back, moment_ms=moment_ms,
        asked_ms=asked_ms,
    ), answer.ward  # fmt: skip


def _zone_of_moment(given: Given, moment: str) -> tzinfo | None:
    """The zone that a moment without an offset is told in: --zone, else that of the log's own clock, which is then
    said. None where there is none, or logs have several."""
    if given.zone is not None or moment == "now" or _has_offset(moment):
        return ward_zone(given.zone)
    if given.drain is None:
        from slackwater.cli.inputs import read_logs

        logs = read_logs(given.logs, given.layout_name, given.refuse_above)
    else:
        from slackwater.store import open_record
        from slackwater.store.course import course_of, find_drain
        from slackwater.store.read_out import logs_of

        with open_record(given.place) as record:
            with record.reading() as connection:
                course = course_of(connection, find_drain(connection, given.drain))
            logs = logs_of(record, course)
    zones = {log.clock_zone for log in logs}
    if len(zones) != 1 or not all(zones):
        return None
    (zone,) = zones
    click.echo(f"slackwater: --moment {moment} is read in the log's zone, {zone}. Another: give its offset.", err=True)
    return ward_zone(zone)


def _has_offset(text: str) -> bool:
    """Or is no time at all, which is told elsewhere."""
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return True


def _judged_at(given: Given, printed_ms: int) -> tuple[int | None, int | None]:
    """As of when a drain of the record is judged, and which moment is asked about: as on the ward, that of printing
    unless another is named. (None, None): the end of its log, where that runs ahead of printing; the sheet says so.
    """
    from slackwater.report.round import AHEAD_MS, judged_at
    from slackwater.store import open_record
    from slackwater.store.course import course_of, find_drain

    zone = ward_zone(given.zone) if given.zone else None
    known_ms = None if given.known is None else instant(given.known, zone, "--known")
    named = given.at or given.known
    asked_ms = printed_ms if named is None else instant(named, zone)
    with open_record(given.place) as record, record.reading() as connection:
        course = course_of(connection, find_drain(connection, str(given.drain), known_ms), known_ms)
    ahead = course.last_ms is not None and course.last_ms > asked_ms + AHEAD_MS
    if named is None and ahead and course.removal is None:
        return None, None
    return judged_at(course, asked_ms), asked_ms


def _iso(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).isoformat()


def _ward(given: Given, zone: tzinfo, printed_ms: int, ward: str | None, shift_ms: int) -> tuple[Print, bool]:
    """Every drain that is in, by bed; as of the moment of printing unless another is asked for."""
    from slackwater.cli.inputs import read_protocol
    from slackwater.cli.progress import Progress
    from slackwater.report.sheets.make import print_many
    from slackwater.report.sheets.ward import WardAsked, drains_in, handover_of
    from slackwater.store import open_record

    if given.layout_name or given.episode_path or given.known:
        raise UsageError(
            "a ward's handover is of the record as it stands", mend="Leave layout, episode and --known out."
        )
    at_ms = printed_ms if given.at is None else instant(given.at, zone if given.zone else None)
    rule = None if given.protocol_name is None else read_protocol(given.protocol_name)
    asked = WardAsked(at_ms, printed_ms, zone, given.zone or "UTC", shift_ms, rule)
    with open_record(given.place) as record:
        drains = drains_in(record, ward, at_ms)
        if not drains:
            raise UsageError("no drain is in there", mend="See: slackwater record list.")
        with Progress("judging", len(drains), "drains") as progress:
            sheets = [handover_of(record, drain, asked) for drain in progress.over(drains)]
    title = f"Handover, {ward or 'every ward'}, {len(sheets)} drains"
    return print_many(title, sheets, printed_ms, zone), any(one.doubtful for one in sheets)


def _set(made: Print, path: str) -> bytes:
    if path.endswith((".html", ".htm")):
        from slackwater.report.sheets.html import html

        return html(made).encode()
    from slackwater.report.sheets.pdf import pdf

    done = pdf(made)
    if done.lacking:
        click.echo(f"slackwater: {len(done.lacking)} letters cannot be printed; the sheet says which.", err=True)
    return done.data
