"""A command imports only what it needs: help and version are instant on a ward's old computer."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = ("numpy", "polars", "rich", "scipy", "matplotlib", "sqlalchemy", "fastapi")

LOADED = f"""
import json, sys
{{body}}
print(json.dumps(sorted(set(sys.modules) & set({HEAVY!r}))), file=sys.stderr)
"""

CALL = """
from slackwater.cli import main
sys.argv = ["slackwater", *{arguments!r}]
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
"""


def heavy_modules_after(body: str) -> list[str]:
    ran = subprocess.run(
        [sys.executable, "-c", LOADED.format(body=body)],
        capture_output=True,
        text=True,
        timeout=60,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return list(json.loads(ran.stderr.splitlines()[-1]))


@pytest.mark.parametrize("module", ["slackwater", "slackwater.cli", "slackwater.errors"])
def test_importing_a_door_imports_nothing_heavy(module: str) -> None:
    assert heavy_modules_after(f"import {module}") == []


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["assess", "--help"], ["protocol", "--help"]])
def test_help_and_version_import_nothing_heavy(arguments: list[str]) -> None:
    assert heavy_modules_after(CALL.format(arguments=arguments)) == []
