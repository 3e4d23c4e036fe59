"""The source tree as these tests see it: its files, its modules, and the core rooms."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "slackwater"

# Values in, values out: no file, network, screen, clock or unseeded chance.
CORE_ROOMS = frozenset(
    [
        "assessment",
        "episode",
        "equipment",
        "forecast",
        "leak",
        "protocol",
        "quantities",
        "reading",
        "risk",
        "simulate",
        "trace",
    ]
)


def python_files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def core_files() -> list[Path]:
    return [path for path in python_files() if room(path) in CORE_ROOMS]


def room(path: Path) -> str:
    """'trace' for src/slackwater/trace/gaps.py, 'errors' for src/slackwater/errors.py."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def module_files() -> list[Path]:
    """Every file that can be imported by its module's name; what runs when imported is left out.

    That is `__main__`, and alembic's `env` and steps, which alembic alone loads.
    """
    return [path for path in python_files() if path.stem != "__main__" and not loaded_by_alembic(path)]


def modules() -> list[str]:
    return [module_name(path) for path in module_files()]


def loaded_by_alembic(path: Path) -> bool:
    return "migrations" in path.parts and (path.stem == "env" or path.parent.name == "versions")


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def place(path: Path, node: ast.AST | int) -> str:
    line = node if isinstance(node, int) else getattr(node, "lineno", 0)
    return f"{path.relative_to(ROOT)}:{line}"


def dotted(node: ast.AST) -> str:
    """'np.random.normal' for that expression; empty for anything but names joined by dots."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        before = dotted(node.value)
        return f"{before}.{node.attr}" if before else ""
    return ""
