"""`slackwater layout`: settle how a log is to be read, and check it."""

from __future__ import annotations

import json
import shlex

import click

from slackwater.cli.files import name_of, read_bytes, refuse_overwriting, write_whole
from slackwater.errors import UsageError


@click.group("layout")
def command() -> None:
    """Settle how a unit type's log is to be read: once, by an engineer.

    \b
    Example:
      slackwater layout propose log.csv
      slackwater layout check log.csv.layout.toml log.csv
    """


@command.command("propose")
@click.argument("log")
@click.option("--set", "answers", multiple=True, metavar="KEY=VALUE", help="Answer a question, e.g. pressure.unit=kPa.")
@click.option("--out", metavar="FILE", help="Where the layout is written. Default: LOG's name with .layout.toml.")
@click.option("--json", "as_json", is_flag=True, help="Print the questions as JSON.")
def propose_command(log: str, answers: tuple[str, ...], out: str | None, as_json: bool) -> None:
    """Look at LOG, ask what its header leaves open, and write a layout.

    What is not answered stays under `unconfirmed`, and `assess` refuses the layout until it is empty.

    \b
    Example:
      slackwater layout propose log.csv --set pressure.unit=kPa --set time.zone=Europe/Vienna
    """
    from slackwater.reading.propose import propose

    refuse_overwriting(out, (log,))
    given = {}
    for answer in answers:
        key, sign, value = answer.partition("=")
        if not sign or not key.strip():
            raise UsageError(f"--set: {answer!r} is not KEY=VALUE", mend="Write e.g. --set pressure.unit=kPa.")
        given[key.strip()] = value.strip()
    target = out or ("-" if log == "-" else f"{log}.layout.toml")
    data = read_bytes(log)
    proposal = propose(data, name_of(log), given)
    earlier = _answered(target)
    kept = {q.key: earlier[q.key] for q in proposal.questions if q.key in earlier}
    if kept:  # what was answered before stands, unless it is answered anew
        proposal = propose(data, name_of(log), kept | given)
    text = proposal.to_toml()
    if target != "-":
        write_whole(target, text.encode())
    if as_json:
        click.echo(
            json.dumps(
                {
                    "layout": None if target == "-" else target,
                    "questions": [
                        {"key": q.key, "question": q.text, "choices": list(q.choices), "seen": q.seen}
                        for q in proposal.questions
                    ],
                },
                ensure_ascii=False,
                indent=2,
            )
        )
        return
    if target == "-":
        click.echo(text, nl=False)
    for question in proposal.questions:
        click.echo(f"? {question.key}: {question.text}", err=target == "-")
        if question.seen:
            click.echo(f"    seen: {question.seen}", err=target == "-")
        choice = question.choices[0] if question.choices else "..."
        more = f"    (or {', '.join(question.choices[1:])})" if len(question.choices) > 1 else ""
        click.echo(f"    answer with: --set {shlex.quote(f'{question.key}={choice}')}{more}", err=target == "-")
    if target != "-":
        left = len(proposal.questions)
        click.echo(
            f"wrote {target}: " + (f"{left} question{'s' if left != 1 else ''} open" if left else "nothing left open")
        )


def _answered(target: str) -> dict[str, str]:
    """The keys that an earlier draft of this layout has settled; empty without one.

    A draft that neither reads pressure nor asks for it was told that there is none.
    """
    import tomllib
    from pathlib import Path

    from slackwater.reading.draft import NONE

    try:
        tables = tomllib.loads(Path(target).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    still_open = tables.pop("unconfirmed", [])
    without = {} if "pressure" in tables or "pressure.column" in still_open or not tables else {"pressure.column": NONE}
    return without | {
        f"{table}.{key}": str(value)
        for table, keys in tables.items()
        if isinstance(keys, dict)
        for key, value in keys.items()
        if isinstance(value, str) and f"{table}.{key}" not in still_open
    }


@command.command("check")
@click.argument("layout_name", metavar="LAYOUT")
@click.argument("log")
@click.option("--rows", type=click.IntRange(1, 1000), default=8, show_default=True, help="How many rows to show.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def check_command(layout_name: str, log: str, rows: int, as_json: bool) -> None:
    """Show the first rows of LOG as LAYOUT understands them, and where every row went.

    \b
    Example:
      slackwater layout check our-unit.toml log.csv
    """
    from slackwater.cli.inputs import read_layout
    from slackwater.cli.view.layout_check import check_document, check_text
    from slackwater.reading.check import check

    found = check(read_layout(layout_name), read_bytes(log), name_of(log), rows)
    click.echo(json.dumps(check_document(found), ensure_ascii=False, indent=2) if as_json else check_text(found))


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def list_command(as_json: bool) -> None:
    """List the layouts that come with slackwater.

    \b
    Example:
      slackwater layout list
    """
    from slackwater.reading.shipped import layout_names

    if as_json:
        click.echo(json.dumps([{"name": name} for name in layout_names()], ensure_ascii=False, indent=2))
        return
    for name in layout_names():
        click.echo(name)
