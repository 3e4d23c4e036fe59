"""How `layout check` reads: the first rows as understood, and where every row went."""

from __future__ import annotations

from typing import Any

from slackwater.reading.check import LayoutCheck


def check_document(found: LayoutCheck) -> dict[str, Any]:
    raise NotImplementedError


def check_text(found: LayoutCheck) -> str:
    raise NotImplementedError
