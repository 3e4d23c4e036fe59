"""The rules that come with the program: examples, none approved by anyone."""

from __future__ import annotations

import difflib
from importlib.resources import files

from slackwater.errors import ProtocolError
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol

_CASES = ".cases.toml"


def shipped_names() -> tuple[str, ...]:
    """Names of the shipped examples, in order of the alphabet.

    >>> "air-50-8h" in shipped_names()
    True
    """
    found = (entry.name for entry in (files("slackwater.protocol") / "rules").iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in found if n.endswith(".toml") and not n.endswith(_CASES)))


def shipped(name: str) -> Protocol:
    """The shipped example called `name`; ProtocolError if there is none."""
    return load_protocol(_text(name, ".toml"), f"{name}.toml")


def shipped_bytes(name: str) -> bytes:
    """The file of the shipped example called `name`; ProtocolError if there is none."""
    return _text(name, ".toml")


def shipped_cases(name: str) -> str:
    """The text of the cases beside that example, for `run_cases`."""
    return _text(name, _CASES).decode("utf-8")


def _text(name: str, ending: str) -> bytes:
    names = shipped_names()
    if name not in names:  # also keeps a name from reaching outside the folder
        near = difflib.get_close_matches(name, names, n=1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        raise ProtocolError(f"no shipped rule is called {name!r}", mend=f"{hint}Shipped: {', '.join(names)}.")
    return (files("slackwater.protocol") / "rules" / f"{name}{ending}").read_bytes()
