"""Every worked value in a docstring is run."""

from __future__ import annotations

import doctest
import importlib

import pytest

from frame.source import modules, python_files

WITH_EXAMPLES = [
    name
    for name, path in zip(modules(), (p for p in python_files() if p.stem != "__main__"), strict=True)
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_of(module: str) -> None:
    ran = doctest.testmod(importlib.import_module(module), optionflags=doctest.ELLIPSIS)
    assert ran.attempted, f"{module} shows an example that no docstring holds, so nothing runs it"
    assert not ran.failed
