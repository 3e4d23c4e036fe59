"""Simulated stays as folders of files, each made once; seed 1."""

from __future__ import annotations

import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

from slackwater.simulate import Stay, scenario, simulate, write_bundle

ALL = ("--layout", "layout.toml", "--chart", "chart.csv", "--episode", "episode.toml")


@cache
def stay(name: str, hours: float | None = None) -> Stay:
    """The scenario of that name, cut to its first hours if so asked."""
    plan = scenario(name)
    return simulate(plan if hours is None else replace(plan, hours=hours), 1)


def folder_of(name: str, to: Path, hours: float | None = None) -> Path:
    """Its files: log.csv (and log-2.csv), layout.toml, chart.csv, episode.toml, truth.*"""
    shutil.rmtree(to, ignore_errors=True)
    write_bundle(stay(name, hours), to)
    return to
