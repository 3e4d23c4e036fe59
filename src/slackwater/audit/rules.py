"""The rules that were pinned to a cohort's drains, kept in it by hash, and which of them judges which drain."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from slackwater.audit.shelf import Shelf
from slackwater.episode.pseudonyms import NOT_NAMED
from slackwater.errors import UsageError
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.protocol.shipped import shipped, shipped_names
from slackwater.reading.toml_text import toml_text

PEOPLE_AND_PROSE = ("approved_by", "source", "notes", "say")  # keys of a rule file that may name somebody, at any level


@dataclass(frozen=True)
class ByRule:
    """Which rule judges which drain: one for all, or each its own by the hash of the rule that was pinned to it."""

    one: Protocol | None = None
    pinned: Mapping[str, Protocol] | None = None

    def of(self, sha256: str | None) -> Protocol | None:
        return self.one if self.one is not None or sha256 is None or self.pinned is None else self.pinned.get(sha256)

    def needed(self, sha256: str | None, drain: str) -> Protocol:
        """Raises UsageError where it is not known."""
        rule = self.of(sha256)
        if rule is None:
            what = "has no rule pinned to it that is known here"
            raise UsageError(what, where=drain, mend="Give --protocol.")
        return rule

    @property
    def rules(self) -> tuple[Protocol, ...]:
        return (self.one,) if self.one is not None else tuple((self.pinned or {}).values())


def place_of(sha256: str) -> str:
    return f"rules/{sha256}.toml"


def put_rule(at: Shelf, sha256: str, text: bytes, *, names_stay: bool) -> None:
    """Keep a rule file by its hash; where nobody may be named, without its people, its prose and its comments."""
    at.put(place_of(sha256), text if names_stay else unnamed(text))


def rule_of(at: Shelf, sha256: str) -> Protocol | None:
    """The rule, under the hash of the file as it was pinned; None where the cohort keeps no text of it.

    Raises UsageError for a text that is kept as it was and is no longer what its hash says.
    """
    try:
        text = at.get(place_of(sha256))
    except OSError:
        return None
    where = f"{at.says}/{place_of(sha256)}"
    if not text.startswith(MARK) and hashlib.sha256(text).hexdigest() != sha256:
        raise UsageError("is not the rule that was pinned", where=where, mend="Remove it, and give --protocol.")
    return replace(load_protocol(text, where), sha256=sha256)


def pinned(at: Shelf, wanted: Iterable[str]) -> dict[str, Protocol]:
    """Those that the cohort keeps, or that come with the program, by hash."""
    own = {rule.sha256: rule for rule in map(shipped, shipped_names())}
    found = {sha256: rule_of(at, sha256) or own.get(sha256) for sha256 in sorted(set(wanted))}
    there = [rule for rule in found.values() if rule is not None]
    return {rule.sha256: rule for rule in sorted(there, key=lambda rule: (rule.name, rule.version, rule.sha256))}


MARK = b"# Written anew without people, prose and comments; it is named by the hash of the file that was pinned.\n"


def unnamed(text: bytes) -> bytes:
    """The rule file without what may name somebody. It judges as before: no judgement rests on what is left out."""
    content = _without(tomllib.loads(text.decode("utf-8-sig")))
    if content.get("status") == "approved":
        content["approved_by"] = NOT_NAMED
    return MARK + toml_text(content).encode()


def _without(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without(one) for key, one in value.items() if key not in PEOPLE_AND_PROSE}
    return [_without(one) for one in value] if isinstance(value, list) else value
