"""Every code block of README and docs is run, read or held against the code; and the pages name every key there is.

`sh` and `console` blocks run line by line in a folder of their own, `python` blocks run there too;
`toml`, `csv` and `json` blocks are read. A comment `<!-- check: layout -->` above a block says what it must be
readable as.
"""

from __future__ import annotations

import ast
import csv
import doctest
import json
import re
import shlex
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import jsonschema
import pytest

import slackwater
from end_to_end.the_command import called
from frame.test_words import BANNED
from slackwater.assessment.schema import schema
from slackwater.episode.episode import _KEYS, INDICATIONS, OPERATIONS, SIDES, SPACES
from slackwater.episode.items import ITEMS
from slackwater.leak.words import REASONS, STATES, WAYS_OPEN
from slackwater.reading import log as reading_log
from slackwater.reading.keys import ENCODINGS, ROUNDINGS, STATISTICS, TABLES
from slackwater.reading.stamps import NUMERIC_FORMATS
from slackwater.simulate.unit_types import UNIT_TYPES

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
RUN = ("sh", "console")
READ = ("toml", "csv", "json")


@dataclass(frozen=True)
class Block:
    page: Path
    line: int
    kind: str
    text: str
    check: str  # '' if nothing is said

    def __str__(self) -> str:
        return f"{self.page.name}:{self.line} {self.kind}"


def blocks(page: Path) -> Iterator[Block]:
    lines = page.read_text("utf-8").splitlines()
    start: int | None = None
    for number, line in enumerate(lines):
        if not line.startswith("```"):
            continue
        if start is None:
            start = number
            continue
        said = re.fullmatch(r"<!-- check: (.+) -->", lines[start - 1]) if start else None
        text = "\n".join(lines[start + 1 : number]) + "\n"
        yield Block(page, start + 1, lines[start][3:].strip(), text, said[1] if said else "")
        start = None
    assert start is None, f"{page.name}: a code block is not closed"


BLOCKS = [block for page in PAGES for block in blocks(page)]


def words_of(page: str) -> str:
    return (ROOT / "docs" / page).read_text("utf-8")


def test_every_block_says_what_it_is() -> None:
    for block in BLOCKS:
        assert block.kind in (*RUN, *READ, "python", "text"), str(block)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_and_python_of_a_page_run_in_its_order(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in blocks(page):
        if block.kind in RUN:
            for line in block.text.replace("\\\n", " ").splitlines():
                run_line(line.removeprefix("$ ").strip(), tmp_path, block)
        elif block.kind == "python" and ">>>" in block.text:
            test = doctest.DocTestParser().get_doctest(block.text, names, str(block), str(page), block.line)
            assert doctest.DocTestRunner().run(test).failed == 0, str(block)
        elif block.kind == "python":
            exec(compile(block.text, str(block), "exec"), names)


def run_line(line: str, folder: Path, block: Block) -> None:
    if not line or line.startswith("#"):
        return
    words = shlex.split(line, comments=True)
    if words[0] == "make":
        recipes = re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text(), re.MULTILINE)
        assert set(words[1:]) <= set(recipes), f"{block}: {line}"
        return
    assert words[0] == "slackwater", f"{block}: {line}"
    ran = called(*words[1:], folder=folder)
    assert ran.code in (0, 3), f"{block}: {line}\n{ran.err}"
    assert ran.out


@pytest.mark.parametrize("block", [b for b in BLOCKS if b.kind in READ], ids=str)
def test_a_block_of_data_can_be_read(block: Block) -> None:
    if block.kind == "toml":
        tomllib.loads(block.text)
    elif block.kind == "json":
        json.loads(block.text)
    else:
        rows = list(csv.reader(block.text.splitlines()))
        assert len({len(row) for row in rows}) == 1
    data = block.text.encode()
    checks = {
        "": lambda: None,
        "layout": lambda: slackwater.Layout.from_toml(block.text, "block"),
        "chart": lambda: slackwater.read_chart(data, "block"),
        "episode": lambda: slackwater.read_episode(data, "block"),
        "protocol": lambda: slackwater.load_protocol(data, "block"),
        "assessment": lambda: jsonschema.validate(json.loads(block.text), schema()),
        "log without layout": lambda: import_module("slackwater.reading.propose").layout_from_header(data, "block"),
    }
    checks[block.check]()


def test_the_full_rule_on_the_protocol_page_is_a_rule() -> None:
    full = [b for b in BLOCKS if b.page.name == "protocols.md" and b.kind == "toml" and "[[removal]]" in b.text]
    assert full
    for block in full:
        slackwater.load_protocol(block.text.encode(), str(block))


# --- the pages name all there is ------------------------------------------------------------------


def test_the_layout_page_names_every_key_and_every_choice() -> None:
    page = words_of("layouts.md")
    whole = next(b for b in BLOCKS if b.check == "layout")
    shown = slackwater.Layout.from_toml(whole.text, "block").as_tables()
    for table, keys in TABLES.items():
        for key in keys:
            assert f"`{table}.{key}`" in page, f"{table}.{key}"
            assert (table, key) == ("time", "start") or key in shown[table], f"{table}.{key} is not in the whole file"
    for word in (*ENCODINGS, *NUMERIC_FORMATS, *ROUNDINGS, *STATISTICS, *reading_log.STATES):
        assert word in page, word
    for unit_type in UNIT_TYPES:
        assert f"| {unit_type.name} |" in page


def test_the_chart_page_names_every_item_and_every_word() -> None:
    page = words_of("chart.md")
    for item in ITEMS.values():
        assert f"`{item.name}`" in page, item.name
        for word in item.words:
            assert f"`{word}`" in page, f"{item.name}: {word}"


def test_the_episode_page_names_every_key_and_every_word() -> None:
    page = words_of("episode.md")
    for table, keys in _KEYS.items():
        for key in keys:
            assert f"`{table}.{key}`" in page if table else f"`{key}`" in page, key
    for word in (*INDICATIONS, *OPERATIONS, *SIDES, *SPACES, *ITEMS["breathing"].words):
        assert f"`{word}`" in page, word


def test_the_minute_page_names_every_column_and_every_word() -> None:
    from slackwater.assessment import minute_table

    page = words_of("minute-table.md")
    columns = minute_table.COLUMNS
    assert len(columns) == 14
    for word in (*columns, *STATES, *filter(None, REASONS), *filter(None, WAYS_OPEN)):
        assert f"`{word}`" in page, word


def test_the_json_page_names_every_key() -> None:
    page = words_of("assessment-json.md")
    found = schema()
    for key in found["properties"]:
        assert f"| `{key}`" in page or f"`{key}`:" in page or f", `{key}` |" in page, key
    for name in ("clause", "guard", "run", "leak", "due", "span", "rows", "need", "protocol", "drain"):
        for key in found["$defs"][name]["properties"]:
            assert f"`{key}`" in page, f"{name}.{key}"


def test_the_definitions_hold_every_number_of_the_code() -> None:
    """Each named number in these files, with its value; and no number on the page that the code has not."""
    page = words_of("definitions.md")
    stated = {
        name: float(value)
        for name, value in re.findall(r"^\| `([a-z]+\.[a-z]+\.[A-Z0-9_]+)` \| ([\d.e-]+) \|", page, re.MULTILINE)
    }
    files = (
        "leak.breathing",
        "leak.contradicted",
        "leak.doubt",
        "leak.shut",
        "leak.stopped",
        "leak.stuck",
        "leak.effort",
        "leak.state",
        "assessment.events",
        "assessment.spans",
        "assessment.vetoes",
        "assessment.contradictions",
        "assessment.shift",
        "assessment.due",
        "episode.order",
    )
    real: dict[str, float] = {}
    for name in files:
        module = import_module(f"slackwater.{name}")
        assigned = {
            target.id
            for node in ast.parse(Path(str(module.__file__)).read_text()).body
            if isinstance(node, ast.Assign | ast.AnnAssign)
            for goal in (node.targets if isinstance(node, ast.Assign) else [node.target])
            for target in ast.walk(goal)
            if isinstance(target, ast.Name)
        }
        for constant in assigned:
            value = getattr(module, constant)
            if constant.isupper() and not constant.startswith("_") and isinstance(value, int | float):
                real[f"{name}.{constant}"] = float(value)
    assert stated == real
    for reason in filter(None, REASONS):
        assert f"| `{reason}` |" in page


# --- links, words, and the demo -------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


def test_every_page_can_be_reached() -> None:
    reached = set(re.findall(r"\]\(([a-z0-9-]+\.md)\)", words_of("index.md")))
    assert reached | {"index.md"} == {path.name for path in (ROOT / "docs").glob("*.md")}


DENIALS = (
    "alarms and the bedside check come first", "Not an alarm and not a monitor", "It is no alarm and no monitor",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_no_page_says_a_banned_word(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.DOTALL)
    text = re.sub(r"`[^`\n]*`", "", text)
    for sentence in re.split(r"(?<=[.:;|])\s", " ".join(text.split())):
        for word, pattern in BANNED.items():
            denied = word == "alarm" and any(denial in " ".join(text.split()) for denial in DENIALS)
            assert denied or not pattern.search(sentence), f"{word}: {sentence}"


def test_the_readme_shows_what_the_demo_says(tmp_path: Path) -> None:
    shown = next(block.text for block in BLOCKS if block.page.name == "README.md" and block.kind == "text")
    called("simulate", "demo", "--seed", "1", "--out", "d", folder=tmp_path)
    given = "--layout layout.toml --chart chart.csv --episode episode.toml --protocol air-50-8h --zone +01:00"
    ran = called("assess", "log.csv", *given.split(), folder=tmp_path / "d")
    for part in ("Patient", "Air leak:", "clauses", "guards"):
        assert paragraph(shown, part) == paragraph(ran.out, part)
    statuses = re.compile(r"[●◐○▨–] (?:met with gaps|met|not met|cannot tell|does not apply)")
    assert statuses.findall(shown) == statuses.findall(ran.out.partition("log rows")[0])


def paragraph(text: str, begins: str) -> str:
    return " ".join(text[text.index(begins) :].partition("\n\n")[0].split())


def test_the_readme_says_what_is_not_known() -> None:
    text = " ".join((ROOT / "README.md").read_text("utf-8").split())
    for sentence in (
        "No open recording of pleural air leak exists.",
        "It was tested on simulated and published data.",
        "No clinical benefit is claimed.",
        "A licensed professional who has seen the patient decides, under local policy.",
        "Not a certified medical device.",
    ):
        assert sentence in text
