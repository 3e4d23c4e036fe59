"""The floors of the house, as [tool.importlinter] in pyproject.toml states them."""

from __future__ import annotations

import logging

import grimp
import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

from frame.source import ROOT


@pytest.fixture(scope="module")
def graph() -> grimp.ImportGraph:
    return grimp.build_graph("slackwater", cache_dir=None)


def test_a_room_imports_only_floors_below_it(capsys: pytest.CaptureFixture[str]) -> None:
    before = logging.root.manager.disable
    try:
        status = lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True)
    finally:
        logging.disable(before)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_a_protocol_knows_only_quantities_and_errors(graph: grimp.ImportGraph) -> None:
    """The same as the second contract, said as a list of what is allowed: a new room cannot slip through."""
    allowed = ("slackwater.protocol", "slackwater.quantities", "slackwater.errors")
    known = graph.find_upstream_modules("slackwater.protocol", as_package=True)
    strangers = sorted(name for name in known if not f"{name}.".startswith(tuple(f"{a}." for a in allowed)))
    assert not strangers, f"slackwater.protocol reaches {strangers}; hand it named facts instead"


def test_no_two_modules_import_each_other_in_a_circle(graph: grimp.ImportGraph) -> None:
    """The contract holds rooms apart; this looks inside them too."""
    circles = {
        tuple(sorted(chain))
        for module in graph.modules
        for imported in graph.find_modules_directly_imported_by(module)
        if (chain := graph.find_shortest_chain(importer=imported, imported=module))
    }
    assert not circles, f"move what both sides want into a file of its own: {sorted(circles)}"
