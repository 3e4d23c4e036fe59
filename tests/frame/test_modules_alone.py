"""Each module imports by itself, whatever was imported before it elsewhere.

The slow test forks one interpreter that has loaded numpy and polars and nothing of ours, once a module: some
ten milliseconds each in place of three hundred. The deep one starts a fresh interpreter for each.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from frame.source import modules
from property.quick_and_many import DEEP

# Only imported, polars has started no thread yet, so a fork is safe here (after a read it would hang).
FORK_EACH = """
import importlib, os, sys, traceback
import numpy, polars
assert not [name for name in sys.modules if name.partition(".")[0] == "slackwater"]
failed = 0
for name in sys.argv[1:]:
    child = os.fork()
    if not child:
        code = 0
        try:
            importlib.import_module(name)
        except BaseException:
            code = 1
            last = " / ".join(traceback.format_exc().splitlines()[-3:])
            print(f"import {name}: {last}", file=sys.stderr, flush=True)
        os._exit(code)
    failed |= os.waitpid(child, 0)[1]
sys.exit(bool(failed))
"""


@pytest.mark.slow
@pytest.mark.skipif(not DEEP, reason="make test-deep")
@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_every_module_imports_with_nothing_else_of_ours_loaded() -> None:
    ran = python("-W", "ignore::DeprecationWarning", "-c", FORK_EACH, *modules())
    assert ran.returncode == 0, ran.stderr


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        timeout=400,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        check=False,
    )
