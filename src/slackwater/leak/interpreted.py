"""Stand-ins for the few words of Cython that a kernel's source uses, for a machine without Cython."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

compiled = False


def cfunc(function: Callable[..., Any]) -> Callable[..., Any]:
    """A C function where compiled; here the function itself."""
    return function


inline = cfunc


def exceptval(**_: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """How a C function reports exceptions where compiled; here nothing."""
    return cfunc


def cast(_: Any, value: Any) -> Any:
    """A C cast where compiled; here the value."""
    return value
