"""Python prefers a compiled module to its source, so a stale one would run old code without a word."""

from __future__ import annotations

import importlib.machinery
import os
import shutil
from pathlib import Path

import pytest

from frame.source import PACKAGE, ROOT

KERNELS = sorted(PACKAGE.rglob("kernels.py"))
COMPILED = sorted(
    path for suffix in importlib.machinery.EXTENSION_SUFFIXES for path in PACKAGE.rglob(f"kernels{suffix}")
)
PLAIN_WANTED = os.environ.get("SLACKWATER_PLAIN_KERNELS", "") not in ("", "0")


@pytest.mark.parametrize("compiled", COMPILED, ids=lambda path: path.parent.name)
def test_a_compiled_kernel_is_not_older_than_its_source(compiled: Path) -> None:
    source = compiled.with_name("kernels.py")
    assert source.exists(), f"{compiled.relative_to(ROOT)} has no source left; delete it"
    assert compiled.stat().st_mtime >= source.stat().st_mtime, (
        f"{source.relative_to(ROOT)} changed after it was compiled. Run `make setup`"
    )


@pytest.mark.skipif(PLAIN_WANTED, reason="SLACKWATER_PLAIN_KERNELS is set")
@pytest.mark.skipif(not shutil.which("cc"), reason="no C compiler here: kernels run as plain Python")
def test_where_a_compiler_is_found_every_kernel_is_compiled() -> None:
    plain = [
        str(source.relative_to(ROOT))
        for source in KERNELS
        if not any(source.with_name(f"kernels{s}").exists() for s in importlib.machinery.EXTENSION_SUFFIXES)
    ]
    assert not plain, f"not compiled: {plain}. Run `make setup` and read what the compiler said"
