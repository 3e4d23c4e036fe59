"""`slackwater export`: hand one drain on as FHIR, CSV or Parquet; read vital signs in from FHIR."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes, refuse_overwriting, write_whole
from slackwater.cli.judged import Given, judge, judging
from slackwater.cli.record import DefaultGroup
from slackwater.errors import UsageError

if TYPE_CHECKING:
    from slackwater.cli.judged import Answer
    from slackwater.export.material import Material

PRIVACY = (
    "Contains health data, de-identified or not. Keep the key apart from what you hand on; who may have it is for "
    "your data protection to say."
)

SHORTENED = (
    "A long stay is told as it stood 10 days after it began, without what came later and without its end: few stay "
    "so long, and the time alone may tell who. --identified tells all of it."
)


class ExportGroup(DefaultGroup):
    bare = "write"


@click.group("export", cls=ExportGroup, options_metavar="", subcommand_metavar="LOG...|--drain DRAIN [OPTIONS] | read")
def command() -> None:
    """Hand one drain on: as a FHIR R4 bundle, or as tables; `export read` takes vital signs in.

    Inputs are those of `slackwater assess`. Nobody is named unless --identified is given: pseudonyms by a key that
    stays here, no free text or serial numbers, times counted from one invented day, a long stay up to its tenth day.
    It can still be sensitive.

    \b
    Example:
      slackwater export --drain SIM-0001/1 --format fhir --out drain.json
      slackwater export log.csv --layout our-unit.toml --chart chart.csv --format csv --out tables

    It supports decisions; it does not decide. Clinicians and local policy decide.
    """


@command.command("write", hidden=True)
@judging
@click.option("--format", "form", type=click.Choice(("fhir", "csv", "parquet")), required=True, help="What to write.")
@click.option("--out", metavar="FILE|FOLDER", required=True, help="The bundle (a file), or a new folder for tables.")
@click.option("--identified", is_flag=True, help="With the house's own number, dates, serial numbers and notes.")
@click.option("--key", "key_path", metavar="FILE", help="The key of the pseudonyms. Default: OUT.key, made if new.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def write_command(
    ctx: click.Context, /, form: str, out: str, identified: bool, key_path: str | None, as_json: bool, **inputs: Any
) -> None:
    """Judge the drain and write it."""
    given = Given(**inputs)
    if identified and key_path is not None:
        raise UsageError("--identified names the patient, so no key is needed", mend="Leave one of them out.")
    if out == "-":
        raise UsageError("is not a place for health data", where="--out -", mend="Name a file.")
    if form != "fhir" and Path(out).exists() and (not Path(out).is_dir() or any(Path(out).iterdir())):
        raise UsageError("holds something already", where=out, mend="Give a new folder.")
    refuse_overwriting(out, (*given.read, key_path))
    if form == "fhir":
        from slackwater.export.valid import library

        library()  # before a key is made, and before the drain is judged
    answer = judge(given, "export")
    of = _material(answer, identified, Path(key_path or f"{out.rstrip('/')}.key"))
    written = _fhir(of, out) if form == "fhir" else _tables(of, form, Path(out))
    if as_json:
        click.echo(json.dumps(_said(of, form, written), ensure_ascii=False, indent=2))
    else:
        click.echo(f"wrote {', '.join(written)}" + (": de-identified" if of.de_identified else ": identified"))
        for caution in of.found.cautions:
            click.echo(caution.text)
        if of.shortened:
            click.echo(SHORTENED)
        click.echo(PRIVACY)
    ctx.exit(3 if answer.found.doubtful else 0)


def _material(answer: Answer, identified: bool, key_path: Path) -> Material:
    from slackwater.export.material import of_files, of_record

    found = answer.found
    of = of_files(found) if answer.course is None else of_record(found, answer.course)
    if identified:
        return of
    from slackwater.cli.key_file import key_of
    from slackwater.export.unnamed import unnamed

    return unnamed(of, key_of(key_path))


def _said(of: Material, form: str, written: list[str]) -> dict[str, Any]:
    from slackwater.assessment.document import stamp

    judged = of.found.evaluation
    return {
        "format": form, "de_identified": of.de_identified, "shortened": of.shortened, "files": written,
        "data_until": stamp(of.found.data_until_ms),
        "protocol_sha256": None if judged is None else judged.protocol.sha256,
        "cautions": [{"id": one.id, "text": one.text} for one in of.found.cautions],
    }  # fmt: skip


def _fhir(of: Material, out: str) -> list[str]:
    from slackwater.export.bundle import bundle, bundle_json
    from slackwater.export.valid import faults

    made = bundle(of, round(time.time()) * 1000)
    data = bundle_json(made)
    wrong = faults(made, data)
    if wrong:
        raise RuntimeError(f"the bundle is no FHIR R4, and was not written: {wrong[0]}")
    write_whole(out, data)
    os.chmod(out, 0o600)  # health data
    return [out]


def _tables(of: Material, form: str, folder: Path) -> list[str]:
    from slackwater.export.tables import files

    made = files(of, form)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # health data
    for name, data in made.items():
        write_whole(str(folder / name), data)
    return [str(folder / name) for name in made]


@command.command("read", short_help="Read vital signs from FHIR as chart rows.")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option("--chart", "chart_path", metavar="FILE", required=True, help="Where the rows go (CSV), as a chart.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def read_command(paths: tuple[str, ...], chart_path: str, as_json: bool) -> None:
    """Read breathing rate, SpO2, heart rate, systolic pressure and temperature from FHIR R4 (JSON or XML).

    Values are read by their LOINC and UCUM codes; a unit that is not known is refused. What has no value gives no
    row. All FILEs must speak of one patient: whether it is yours is for you to see.

    \b
    Example:
      slackwater export read observations.json --chart vitals.csv
    """
    from slackwater.export.read_in import Vitals, chart_csv, vitals
    from slackwater.export.tree import read_tree

    refuse_overwriting(chart_path, paths)
    read = [vitals(read_tree(read_bytes(path, LARGEST_TEXT), name_of(path)), name_of(path)) for path in paths]
    subjects = {one.subject for one in read if one.subject is not None}
    if len(subjects) > 1:
        raise UsageError(f"the files speak of {len(subjects)} patients", mend="Give those of one patient.")
    rows = tuple(sorted((row for one in read for row in one.rows), key=lambda row: (row.time_ms, row.item)))
    found = Vitals(rows, tuple(why for one in read for why in one.passed_over), next(iter(subjects), None))
    write_whole(chart_path, chart_csv(found).encode())
    said = {
        "chart": chart_path, "rows": dict(found.by_item), "subject": found.subject,
        "passed_over": [{"where": where, "why": why} for where, why in found.passed_over],
    }  # fmt: skip
    if as_json:
        click.echo(json.dumps(said, ensure_ascii=False, indent=2))
        return
    told = ", ".join(f"{count} {item}" for item, count in found.by_item.items()) or "no rows"
    click.echo(f"wrote {chart_path}: {told}")
    for where, why in found.passed_over:
        click.echo(f"  passed over: {where}: {why}")
    click.echo(f"They speak of {found.subject or 'nobody named'}. Confirm that it is this drain's patient.")
