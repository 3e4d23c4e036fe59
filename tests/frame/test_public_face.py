"""`import slackwater` offers these names and no others; public_names.txt is the frozen list.

A name added there is a promise; a name taken away breaks someone's script, so it needs a line in
CHANGELOG.md.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import slackwater

PUBLIC = (Path(__file__).parent / "public_names.txt").read_text(encoding="utf-8").split()


def test_the_public_names_are_the_frozen_list() -> None:
    offered = list(getattr(slackwater, "__all__", []))
    assert sorted(offered) == sorted(PUBLIC), (
        f"only in slackwater.__all__: {sorted(set(offered) - set(PUBLIC))}; "
        f"only in public_names.txt: {sorted(set(PUBLIC) - set(offered))}"
    )


def test_about_twenty_names() -> None:
    assert len(PUBLIC) == len(set(PUBLIC)) <= 25


@pytest.mark.parametrize("name", PUBLIC)
def test_each_public_name_is_there_and_says_what_it_is(name: str) -> None:
    value = getattr(slackwater, name)
    assert (getattr(value, "__doc__", None) or "").strip(), f"slackwater.{name} has no docstring"


def test_dir_shows_the_public_names() -> None:
    assert set(PUBLIC) <= set(dir(slackwater))
