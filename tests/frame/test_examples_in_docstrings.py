"""Every worked value in a docstring is run."""

from __future__ import annotations

import doctest
import importlib

import pytest

from frame.source import module_files, module_name

WITH_EXAMPLES = [module_name(path) for path in module_files() if ">>> " in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_of(module: str) -> None:
    ran = doctest.testmod(importlib.import_module(module), optionflags=doctest.ELLIPSIS)
    assert ran.attempted, f"{module} shows an example that no docstring holds, so nothing runs it"
    assert not ran.failed
