"""`slackwater record`: keep logs and charts in the record; list, show and export what it holds."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from slackwater.cli.files import refuse_reading_twice, write_whole
from slackwater.cli.options import at_record, logged_in
from slackwater.cli.progress import Progress
from slackwater.errors import SlackwaterError, UsageError


class DefaultGroup(click.Group):
    """The bare command does one thing (`slackwater record FOLDER` records); what has a name of its own is named."""

    bare = "add"

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] not in ("--help", "-h"):
            args.insert(0, self.bare)
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for name in super().list_commands(ctx) if name != self.bare]

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The options of what the bare command does."""
        told = [
            one.get_help_record(ctx)
            for one in self.commands[self.bare].get_params(ctx)
            if isinstance(one, click.Option)
        ]
        with formatter.section("Options"):
            formatter.write_dl([option for option in told if option is not None])
        self.format_commands(ctx, formatter)


@click.group("record", cls=DefaultGroup, options_metavar="", subcommand_metavar="FOLDER...|LOG... [OPTIONS] | COMMAND")
def command() -> None:
    """Keep drains in the record, from connection to removal; the same again adds nothing.

    A FOLDER holds one drain (episode.toml, and log*.csv with layout.toml, chart.csv, course.toml, protocol.toml
    as far as there are any), or such folders. LOGs are given with their episode. The record is a folder of this
    user, or what --record or SLACKWATER_RECORD names: a folder, or postgresql://user@host/database.

    \b
    Example:
      slackwater record bed-4
      slackwater record monday.csv --layout our-unit.toml --episode bed-4.toml --chart bed-4.csv
      slackwater record list
      slackwater assess --drain SIM-0001/1

    It supports decisions; it does not decide. Clinicians and local policy decide.
    """


@command.command("add", hidden=True)
@click.argument("paths", nargs=-1, metavar="FOLDER|LOG...")
@at_record
@click.option("--layout", "layout_name", metavar="FILE|NAME", help="How the logs are to be read.")
@click.option("--chart", "chart_path", metavar="FILE", help="What staff charted (CSV).")
@click.option("--episode", "episode_path", metavar="FILE", help="Who and what (TOML); names patient and drain.")
@click.option("--course", "course_path", metavar="FILE", help="Orders, holds, removal and the rest (TOML).")
@click.option("--protocol", "protocol_name", metavar="NAME|FILE", help="Pin this rule to the drain.")
@click.option("--zone", metavar="ZONE", help="The zone of chart times without an offset.")
@click.option("--by", metavar="WHO", help="Who records it. Default: who is logged in.")
@click.option("--correct", metavar="WHY", default="", help="The record is wrong: why facts that differ replace it.")
@click.option("--refuse-above", type=click.FloatRange(0, 1), default=0.05, show_default=True,
              help="Refuse a log with a larger share of unreadable rows.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def add(
    ctx: click.Context, paths: tuple[str, ...], place: str | None, layout_name: str | None, chart_path: str | None,
    episode_path: str | None, course_path: str | None, protocol_name: str | None, zone: str | None, by: str | None,
    correct: str, refuse_above: float, as_json: bool,
) -> None:  # fmt: skip
    """Record drains. A folder that is refused leaves the record as it was; the others go on."""
    from slackwater.cli.bundles import bundle_of_files, bundles_of, folders_of
    from slackwater.cli.view.record import taken_dict, taken_text
    from slackwater.store import open_record
    from slackwater.store.take_in import Bundle, take_in

    given = (layout_name, chart_path, episode_path, course_path)
    refuse_reading_twice((*paths, *given, protocol_name))
    folders = [path for path in paths if Path(path).is_dir()]
    if folders and len(folders) < len(paths):
        raise UsageError("folders and logs are mixed", mend="Give folders, or the logs of one drain.")
    if folders and any(given):
        raise UsageError("a folder brings its own layout, chart and episode", mend="Leave those options out.")
    if not any((*paths, episode_path, chart_path, course_path)):
        raise UsageError("nothing is given to record", mend="Write: slackwater record FOLDER. See --help.")
    for path in paths:
        if path != "-" and not Path(path).exists():
            raise UsageError("is no folder and no file", where=path, mend="Check the name.")
    who = by or logged_in()
    refused: list[str] = []
    done = []
    with open_record(place, create=True) as record:
        if not folders:
            bundle = bundle_of_files(
                paths, layout_name, chart_path, episode_path, course_path, protocol_name, zone, refuse_above
            )
            done.append(take_in(record, bundle, by=who, correct=correct))
        else:
            found = folders_of(folders)
            with Progress("recording", len(found), "drains") as progress:
                for number, folder in enumerate(found, start=1):
                    try:
                        one: Bundle = bundles_of(folder, protocol_name, zone, refuse_above)
                        done.append(take_in(record, one, by=who, correct=correct))
                    except SlackwaterError as error:
                        if len(found) == 1 or record.read_only_because is not None:
                            raise
                        refused.append(f"{folder.name}: {error}")
                    except KeyboardInterrupt:
                        kept = f"at least {len(done)} of {len(found)} drains are in the record"
                        click.echo(f"slackwater: stopped: {kept}; the same command records the others.", err=True)
                        ctx.exit(130)
                    progress.at(number)
    if as_json:
        out = {"record": record.place.says, "drains": [taken_dict(one) for one in done], "refused": refused}
        click.echo(json.dumps(out, ensure_ascii=False, indent=2))
    else:
        click.echo(taken_text(done, record.place.says))
        for line in refused:
            click.echo(f"slackwater: refused: {' '.join(line.split())}", err=True)
    ctx.exit(2 if refused else 0)


@command.command("list", short_help="List the drains that are in, or all of them.")
@at_record
@click.option("--all", "everything", is_flag=True, help="Drains that are out too.")
@click.option("--zone", metavar="ZONE", help="The zone to show times in. Default: UTC.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def list_drains(place: str | None, everything: bool, zone: str | None, as_json: bool) -> None:
    """List the drains that are in, or all of them; in order of connection.

    \b
    Example:
      slackwater record list --all
    """
    from slackwater.cli.instants import ward_zone
    from slackwater.cli.view.record import list_text
    from slackwater.store import open_record
    from slackwater.store.course_json import list_dict
    from slackwater.store.listing import listed

    ward = ward_zone(zone)
    with open_record(place) as record:
        found = listed(record, everything=everything)
    if as_json:
        click.echo(json.dumps(list_dict(found), ensure_ascii=False, indent=2))
    else:
        click.echo(list_text(found, everything, ward))


@command.command("show", short_help="Show one drain, and who entered what.")
@click.argument("drain", metavar="DRAIN")
@at_record
@click.option("--known", metavar="TIME", help="As the record stood then (ISO 8601 with offset).")
@click.option("--zone", metavar="ZONE", help="The zone to show times in. Default: UTC.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def show(drain: str, place: str | None, known: str | None, zone: str | None, as_json: bool) -> None:
    """Show what the record holds of a drain, and who entered what, when and why.

    DRAIN is PATIENT/NUMBER, or its key as `record list` shows it.

    \b
    Example:
      slackwater record show SIM-0001/1
    """
    from slackwater.cli.instants import instant, ward_zone
    from slackwater.cli.view.record import course_lines
    from slackwater.store import open_record
    from slackwater.store.course import find_drain
    from slackwater.store.course_json import course_dict, whole_course

    ward = ward_zone(zone)
    known_ms = None if known is None else instant(known, ward if zone else None, "--known")
    with open_record(place) as record, record.reading() as connection:
        whole = whole_course(connection, record.files, find_drain(connection, drain, known_ms), known_ms)
    if as_json:
        click.echo(json.dumps(course_dict(*whole), ensure_ascii=False, indent=2))
    else:
        click.echo(course_lines(*whole, ward))


@command.command("export", short_help="Write a drain's files to a new folder.")
@click.argument("drain", metavar="DRAIN")
@click.option("--out", "out", metavar="FOLDER", required=True, help="A new folder for the files.")
@at_record
@click.option("--known", metavar="TIME", help="As the record stood then (ISO 8601 with offset).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def export(drain: str, out: str, place: str | None, known: str | None, as_json: bool) -> None:
    """Write a drain's files: episode, chart, course, rule, layouts, the original logs, and its tables (Parquet).

    The logs are byte for byte what was recorded; `slackwater record FOLDER` reads the folder back to the same
    drain. It holds health data.

    \b
    Example:
      slackwater record export SIM-0001/1 --out sim-1
    """
    from slackwater.cli.instants import instant
    from slackwater.store import open_record
    from slackwater.store.course import course_of, find_drain
    from slackwater.store.write_out import files_of

    target = Path(out)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise UsageError("holds something already", where=out, mend="Give a new folder.")
    known_ms = None if known is None else instant(known, None, "--known")
    with open_record(place) as record:
        with record.reading() as connection:
            course = course_of(connection, find_drain(connection, drain, known_ms), known_ms)
        content = files_of(record, course)
    target.mkdir(mode=0o700, parents=True, exist_ok=True)  # health data
    for name, data in content.items():
        write_whole(str(target / name), data)
    if as_json:
        click.echo(json.dumps({"folder": out, "files": list(content)}, ensure_ascii=False, indent=2))
    else:
        click.echo(f"wrote {len(content)} files of {course.name} to {out}")
    sys.stdout.flush()
