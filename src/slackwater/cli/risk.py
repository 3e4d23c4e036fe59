"""`slackwater risk`: what published scores say of a prolonged air leak, and what they were made for."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from slackwater.risk.score import Score

WIDE = 92


@click.command("risk")
@click.argument("path", metavar="[FILE.toml]", required=False)
@click.option("--set", "answers", multiple=True, metavar="KEY=VALUE", help="One thing known, e.g. fev1_percent=72.")
@click.option("--score", "only", multiple=True, metavar="NAME", help="Only this score; may repeat.")
@click.option("--keys", "list_keys", is_flag=True, help="List the keys and their words.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context, path: str | None, answers: tuple[str, ...], only: tuple[str, ...], list_keys: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Published scores for a prolonged air leak after lung resection, exactly as published.

    FILE holds one table, [patient]; '-' reads it from standard input. What is not given is unknown, never 'no'. A
    score answers only inside the population it was made for, and only when nothing is missing. Points are not a
    chance for this patient, and never a rule for removal; clinicians and local policy decide.

    \b
    Example:
      slackwater risk patient.toml --set fev1_percent=72 --score gilbert
      slackwater risk --keys

    Exit: 0 every score asked was told; 3 one of them cannot be told, or does not apply; 2 input refused.
    """
    from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes
    from slackwater.risk.document import document
    from slackwater.risk.published import scores
    from slackwater.risk.read import read_risk_inputs

    if list_keys:
        click.echo("\n".join(_keys(as_json)))
        return
    data = b"" if path is None else read_bytes(path, LARGEST_TEXT)
    given = read_risk_inputs(data, "no file" if path is None else name_of(path), answers)
    found = scores(given, only)
    if as_json:
        click.echo(json.dumps(document(given, found), ensure_ascii=False, allow_nan=False, indent=2))
    else:
        click.echo("\n".join(_text(found)))
    ctx.exit(0 if all(score.status == "told" for score in found) else 3)


def _text(found: tuple[Score, ...]) -> Iterator[str]:
    from slackwater.risk.published import CAUTIONS, NOT_COMPUTED

    for score in found:
        yield from _one(score)
        yield ""
    yield "not computed"
    for paper in NOT_COMPUTED:
        yield from _wrapped("", f"{paper.name}: {paper.why}. {paper.source}.")
    yield ""
    for caution in CAUTIONS.values():
        yield from textwrap.wrap(caution, WIDE)


def _one(score: Score) -> Iterator[str]:
    yield f"{score.name}  [{score.id}]"
    yield from _wrapped("", score.answer)
    if score.missing:
        yield from _wrapped("keys", ", ".join(score.missing))
    if score.parts:
        yield from _wrapped("from", "; ".join(part.counted for part in score.parts))
    yield from _wrapped("predicts", score.outcome.text)
    yield from _wrapped("made for", score.made_for)
    if score.rates:
        yield from _wrapped(
            "published", f"of groups, not of this patient: {'; '.join(rate.told for rate in score.rates)}"
        )
    for note in score.notes:
        yield from _wrapped("note", note)
    yield from _wrapped("source", f"{score.source}; {score.cohort}")


def _wrapped(label: str, text: str) -> list[str]:
    lead = f"  {label:<11}" if label else "  "
    return textwrap.wrap(text, WIDE, initial_indent=lead, subsequent_indent=" " * len(lead))


def _keys(as_json: bool) -> Iterator[str]:
    from slackwater.risk.inputs import KEYS

    if as_json:
        listed = [{"key": key.name, "what": key.label, "words": list(key.words)} for key in KEYS.values()]
        yield json.dumps(listed, ensure_ascii=False, indent=2)
        return
    for key in KEYS.values():
        yield f"{key.name}  {', '.join(key.words) or key.label}"
