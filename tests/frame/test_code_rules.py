"""Rules about code that a linter does not know: missing is never zero, and the core is pure."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from frame.source import core_files, dotted, place, python_files, tree

WORLD = frozenset(
    [
        "aiohttp",
        "asyncio",
        "click",
        "fastapi",
        "ftplib",
        "glob",
        "http",
        "httpx",
        "httpx2",
        "jinja2",
        "logging",
        "multiprocessing",
        "psycopg",
        "random",
        "requests",
        "rich",
        "shutil",
        "smtplib",
        "socket",
        "sqlalchemy",
        "sqlite3",
        "subprocess",
        "tempfile",
        "threading",
        "urllib",
        "uvicorn",
        "webbrowser",
    ]
)
CLOCKS = frozenset(
    [
        "time.time",
        "time.time_ns",
        "time.localtime",
        "time.gmtime",
        "time.ctime",
        "datetime.now",
        "datetime.datetime.now",
        "datetime.today",
        "datetime.datetime.today",
        "date.today",
        "datetime.date.today",
    ]
)
SEEDED = frozenset(
    ["default_rng", "Generator", "SeedSequence", "PCG64", "PCG64DXSM", "Philox", "SFC64", "BitGenerator"]
)

Rule = Callable[[ast.AST], str]


def no_bare_or_empty_except(node: ast.AST) -> str:
    if isinstance(node, ast.ExceptHandler):
        if node.type is None:
            return "bare except: name the error"
        if all(isinstance(line, ast.Pass) or is_text_or_dots(line) for line in node.body):
            return "empty except: an error that nobody hears of"
    if (
        isinstance(node, ast.Call)
        and dotted(node.func) in {"suppress", "contextlib.suppress"}
        and {dotted(argument) for argument in node.args} & {"Exception", "BaseException"}
    ):
        return "suppress(Exception) is an empty except: name the error"
    return ""


def is_text_or_dots(line: ast.stmt) -> bool:
    return isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant)


def no_naive_time(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    name = dotted(node.func)
    last = name.rpartition(".")[2]
    if last in {"utcnow", "utcfromtimestamp"}:
        return f"{name}() has no time zone: use now(UTC)"
    if name.endswith(("datetime.now", "datetime.today", "date.today")) and not (node.args or node.keywords):
        return f"{name}() has no time zone: use now(UTC)"
    arguments = len(node.args) + len(node.keywords)
    if name.endswith(("datetime.fromtimestamp", "date.fromtimestamp")) and arguments < 2:
        return f"{name}() without a zone gives the machine's own"
    return ""


def missing_is_never_zero(node: ast.AST) -> str:
    if isinstance(node, ast.BoolOp) and isinstance(node.op, ast.Or) and is_zero(node.values[-1]):
        # a name, not a piece of text: the absent seconds of a clock time are zero
        name = dotted(node.values[-2])
        return f"`{name} or 0` turns missing into zero" if name else ""
    if isinstance(node, ast.Call):
        # the last name alone, so that table["flow"].fill_null(0) is seen too
        last = node.func.attr if isinstance(node.func, ast.Attribute) else dotted(node.func)
        if last == "nan_to_num":
            return "nan_to_num turns missing into a number"
        if last in {"fill_null", "fill_nan", "fillna"}:
            values = [*node.args, *(keyword.value for keyword in node.keywords)]
            if any(is_zero(value) or is_text(value, "zero") for value in values):
                return f"{last}(0) turns missing into zero"
    return ""


def is_zero(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value == 0


def is_text(node: ast.AST, text: str) -> bool:
    return isinstance(node, ast.Constant) and node.value == text


def the_core_reads_no_clock(node: ast.AST) -> str:
    if isinstance(node, ast.Call) and dotted(node.func) in CLOCKS:
        return f"{dotted(node.func)}: the clock is read once, at the door, and passed in"
    return ""


def the_core_draws_no_unseeded_chance(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    before, _, last = dotted(node.func).rpartition(".")
    if before in {"np.random", "numpy.random"} and last not in SEEDED:
        return f"{before}.{last} draws from a hidden global: take a Generator"
    if last == "default_rng" and not (node.args or node.keywords):
        return "default_rng() without a seed: take the seed as an argument"
    return ""


def the_core_does_not_touch_the_world(node: ast.AST) -> str:
    names: list[str] = []
    if isinstance(node, ast.Import):
        names = [alias.name for alias in node.names]
    elif isinstance(node, ast.ImportFrom) and not node.level:
        names = [node.module or ""]
    met = {name.partition(".")[0] for name in names} & WORLD
    if met:
        return f"imports {sorted(met)}: that belongs to a door"
    if isinstance(node, ast.Call) and dotted(node.func) in {"open", "print", "input", "io.open"}:
        return f"{dotted(node.func)}(): a door opens, prints and asks; the core takes an open stream"
    return ""


def hits(rule: Rule, paths: list[Path]) -> Iterator[str]:
    for path in paths:
        for node in ast.walk(tree(path)):
            if fault := rule(node):
                yield f"{place(path, node)}: {fault}"


@pytest.mark.parametrize("rule", [no_bare_or_empty_except, no_naive_time], ids=lambda rule: rule.__name__)
def test_everywhere(rule: Rule) -> None:
    found = list(hits(rule, python_files()))
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "rule",
    [
        missing_is_never_zero,
        the_core_reads_no_clock,
        the_core_draws_no_unseeded_chance,
        the_core_does_not_touch_the_world,
    ],
    ids=lambda rule: rule.__name__,
)
def test_in_the_core(rule: Rule) -> None:
    found = list(hits(rule, core_files()))
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("rule", "code"),
    [
        (no_bare_or_empty_except, "try: x()\nexcept: y()"),
        (no_bare_or_empty_except, "try: x()\nexcept ValueError: pass"),
        (no_bare_or_empty_except, "with suppress(Exception): x()"),
        (no_naive_time, "datetime.now()"),
        (no_naive_time, "datetime.datetime.utcnow()"),
        (no_naive_time, "datetime.fromtimestamp(t)"),
        (missing_is_never_zero, "flow = row.flow or 0"),
        (missing_is_never_zero, "np.nan_to_num(flow)"),
        (missing_is_never_zero, "table['flow'].fill_null(0)"),
        (missing_is_never_zero, "pl.col('flow').fill_null(strategy='zero')"),
        (the_core_reads_no_clock, "datetime.now(UTC)"),
        (the_core_draws_no_unseeded_chance, "np.random.normal()"),
        (the_core_draws_no_unseeded_chance, "np.random.default_rng()"),
        (the_core_does_not_touch_the_world, "import sqlite3"),
        (the_core_does_not_touch_the_world, "from urllib.request import urlopen"),
        (the_core_does_not_touch_the_world, "open('log.csv')"),
    ],
)
def test_the_rules_bite(rule: Rule, code: str) -> None:
    assert any(rule(node) for node in ast.walk(ast.parse(code)))


@pytest.mark.parametrize(
    ("rule", "code"),
    [
        (no_bare_or_empty_except, "for f in formats:\n  try: x()\n  except ValueError: continue"),
        (no_naive_time, "datetime.now(UTC)"),
        (no_naive_time, "datetime.fromtimestamp(t, UTC)"),
        (missing_is_never_zero, "name = text or 'unknown'"),
        (missing_is_never_zero, "second = int(match[6] or 0)"),
        (missing_is_never_zero, "state.fill_null('cannot_tell')"),
        (the_core_draws_no_unseeded_chance, "np.random.default_rng(seed)"),
        (the_core_draws_no_unseeded_chance, "chance.normal()"),
    ],
)
def test_the_rules_leave_good_code_alone(rule: Rule, code: str) -> None:
    assert not any(rule(node) for node in ast.walk(ast.parse(code)))
