"""The pages by what people do there, one file each. Every route has its line in `policy.py`."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module

from fastapi import APIRouter

FILES = (
    "round", "people", "cards", "rules", "units", "fleet", "trips", "enter", "charting", "orders", "fluids",
    "removal", "drain", "oidc",
    "practice", "sheets", "suction", "signals", "home",
    "api", "api_round", "api_drain", "api_bedside", "api_chart", "api_orders", "api_enter", "api_removal", "api_units",
    "api_rules", "api_people", "api_sheets",
)  # fmt: skip
"""Files of this folder that hold a `router`, beside `access`."""


def every() -> Iterator[APIRouter]:
    """The routers of all files, in order."""
    for name in FILES:
        yield import_module(f"slackwater.web.routes.{name}").router
