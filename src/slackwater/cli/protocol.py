"""`slackwater protocol`: list, show, check and test rule files."""

from __future__ import annotations

import json
from pathlib import Path

import click

from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes, refuse_reading_twice
from slackwater.errors import UsageError


@click.group("protocol")
def command() -> None:
    """Rule files: the unit's own written rule, with its source, version and approver.

    \b
    Example:
      slackwater protocol check our-rule.toml
      slackwater protocol test our-rule.toml
    """


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def list_command(as_json: bool) -> None:
    """List the shipped examples. None is approved by anyone.

    \b
    Example:
      slackwater protocol list
    """
    from slackwater.protocol.shipped import shipped, shipped_names

    rules = [shipped(name) for name in shipped_names()]
    if as_json:
        click.echo(
            json.dumps(
                [
                    {"name": r.name, "version": r.version, "status": r.status, "source": r.source, "sha256": r.sha256}
                    for r in rules
                ],
                ensure_ascii=False,
                indent=2,
            )
        )
        return
    for rule in rules:
        click.echo(f"{rule.name:<16} {rule.version:<10} {rule.status:<9} {rule.source}")


@command.command("show")
@click.argument("name", metavar="NAME|FILE")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def show_command(name: str, as_json: bool) -> None:
    """Print a rule in sentences, as an approver would read it.

    \b
    Example:
      slackwater protocol show air-50-8h
    """
    from slackwater.cli.inputs import read_protocol
    from slackwater.cli.view.rule import rule_dict, rule_text

    rule = read_protocol(name)
    click.echo(json.dumps(rule_dict(rule), ensure_ascii=False, indent=2) if as_json else rule_text(rule))


@command.command("check")
@click.argument("name", metavar="NAME|FILE")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def check_command(name: str, as_json: bool) -> None:
    """Read a rule file strictly; exit 2 naming clause, key and mend if anything is wrong.

    \b
    Example:
      slackwater protocol check our-rule.toml
    """
    from slackwater.cli.inputs import read_protocol

    rule = read_protocol(name)
    if as_json:
        click.echo(
            json.dumps(
                {"name": rule.name, "version": rule.version, "status": rule.status, "sha256": rule.sha256},
                ensure_ascii=False,
            )
        )
        return
    click.echo(
        f"{rule.name} {rule.version}: read; status {rule.status}; {len(rule.removal)} removal, {len(rule.step_down)} "
        f"step-down, {len(rule.home)} home, {len(rule.escalation)} escalation clauses; {rule.sha256[:12]}"
    )


@command.command("test")
@click.argument("name", metavar="NAME|FILE")
@click.option("--cases", "cases_path", metavar="FILE", help="Default: NAME.cases.toml beside the rule.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
@click.pass_context
def test_command(ctx: click.Context, name: str, cases_path: str | None, as_json: bool) -> None:
    """Run the cases beside a rule. Exit 1 if any case does not come out as expected.

    \b
    Example:
      slackwater protocol test air-50-8h
    """
    from slackwater.cli.inputs import is_a_file, read_protocol
    from slackwater.protocol.cases import run_cases
    from slackwater.protocol.shipped import shipped_cases

    refuse_reading_twice((name, cases_path))
    if name == "-" and cases_path is None:
        raise UsageError("a rule from standard input has no cases beside it", mend="Name them: --cases FILE.")
    rule = read_protocol(name)
    if cases_path is not None:
        text, called = read_bytes(cases_path, LARGEST_TEXT).decode("utf-8-sig"), name_of(cases_path)
    elif is_a_file(name):
        beside = str(Path(name).with_suffix(".cases.toml"))
        text, called = read_bytes(beside, LARGEST_TEXT).decode("utf-8-sig"), name_of(beside)
    else:
        text, called = shipped_cases(name), f"{name}.cases.toml"
    results = run_cases(rule, text, called)
    failed = [result for result in results if not result.passed]
    if as_json:
        click.echo(
            json.dumps(
                [{"name": r.name, "passed": r.passed, "differences": list(r.differences)} for r in results],
                ensure_ascii=False,
                indent=2,
            )
        )
    else:
        for result in results:
            click.echo(f"{'as expected' if result.passed else 'DIFFERS    '}  {result.name}")
            for difference in result.differences:
                click.echo(f"             {difference}")
        click.echo(f"{len(results) - len(failed)} of {len(results)} cases as expected")
    ctx.exit(1 if failed else 0)


@command.command("measures")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def measures_command(as_json: bool) -> None:
    """List what a clause may name.

    \b
    Example:
      slackwater protocol measures
    """
    from slackwater.protocol.measures import MEASURES

    if as_json:
        click.echo(
            json.dumps(
                [
                    {
                        "name": m.name,
                        "kind": m.kind,
                        "dimension": m.dimension,
                        "scope": m.scope,
                        "about": m.about,
                        "words": list(m.words),
                    }
                    for m in MEASURES.values()
                ],
                ensure_ascii=False,
                indent=2,
            )
        )
        return
    for measure in MEASURES.values():
        words = f" [{', '.join(measure.words)}]" if measure.words else ""
        click.echo(f"{measure.name:<22} {measure.kind:<7} {measure.scope:<8} {measure.about}{words}")
