from __future__ import annotations

import os
from pathlib import Path

import pytest

from durability.shim import built, why_not


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shim. Where it cannot be built the tests are passed over, but never where CI is set."""
    reason = why_not()
    if reason is None:
        return built(tmp_path_factory.mktemp("shim"))
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)
