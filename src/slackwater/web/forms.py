"""What every form shares: words typed, faults beside their fields, and a key that makes a resend the same act."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo

from fastapi import Request

from slackwater.episode.instants import read_instant
from slackwater.errors import QuantityError, UsageError
from slackwater.quantities.spans import MINUTE_MS


@dataclass
class Form:
    """A form as it was sent. `faults`: what is wrong, by field; `said` gives back what was typed.

    stale: somebody was quicker, so it was not recorded. keys: of what it recorded, the same when it is sent again.
    """

    said: Mapping[str, str]
    faults: dict[str, str] = field(default_factory=dict)
    stale: bool = False
    keys: tuple[str, ...] = ()

    def text(self, name: str, *, needed: str = "", longest: int = 2000) -> str | None:
        """What was typed, trimmed; None where nothing was. `needed`: the fault if it is missing."""
        found = self.said.get(name, "").strip()
        if not found and needed:
            self.faults[name] = needed
        if len(found) > longest:
            self.faults[name] = f"Shorten it to {longest} letters."
        return found or None

    def one_of(self, name: str, choices: tuple[str, ...], *, needed: str = "") -> str | None:
        found = self.text(name, needed=needed)
        if found is not None and found not in choices:
            self.faults[name] = "Choose one of the list."
            return None
        return found

    def number(self, name: str, *, needed: str = "") -> float | None:
        """Digits with one decimal point; nothing else is guessed at."""
        found = self.text(name, needed=needed)
        if found is None:
            return None
        whole, _, part = found.partition(".")
        if not (whole.isascii() and whole.isdecimal() and (not part or (part.isascii() and part.isdecimal()))):
            self.faults[name] = f"{found!r} is not a number. Write digits with one decimal point, e.g. 12.5."
            return None
        return float(found)

    def moment(self, name: str, zone: tzinfo, *, now_ms: int | None = None, needed: str = "") -> int | None:
        """A date and time by the ward's clock. `now_ms`: it must not lie in the future. [UTC ms]"""
        found = self.text(name, needed=needed)
        if found is None:
            return None
        try:
            at = read_instant(found, zone)
        except QuantityError as error:
            self.faults[name] = f"{error.what}. {error.mend}"
            return None
        if now_ms is not None and at > now_ms + MINUTE_MS:
            self.faults[name] = "This time has not come yet. Check the date and the clock."
        return at

    def ticked(self, name: str) -> bool:
        return self.said.get(name) in ("on", "yes", "1")

    @property
    def once(self) -> str:
        """The form's own key."""
        found = self.said.get("once", "")
        if not (8 <= len(found) <= 64 and found.replace("-", "").replace("_", "").isalnum()):
            raise UsageError("the form has no key of its own", mend="Load the page again.")
        return found

    @property
    def fine(self) -> bool:
        return not self.faults


async def form_of(request: Request) -> Form:
    """The form of a request; files are no part of it."""
    sent = await request.form()
    return Form({name: value for name, value in sent.items() if isinstance(value, str)})


def empty() -> Form:
    return Form({})


def fresh_key() -> str:
    """A key for a form that is about to be shown."""
    return secrets.token_urlsafe(12)
