"""Layouts that come with the program, picked by name."""

from __future__ import annotations

from importlib import resources

from slackwater.errors import LayoutError
from slackwater.reading.layout import Layout

_FOLDER = "layouts"


def layout_names() -> tuple[str, ...]:
    """Names of the shipped layouts."""
    folder = resources.files("slackwater.reading").joinpath(_FOLDER)
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")))


def layout(name: str) -> Layout:
    """The shipped layout called `name`.

    >>> layout("plain").flow.unit
    'mL/min'
    """
    names = layout_names()
    if name not in names:  # also keeps a name from walking out of the folder
        raise LayoutError(
            f"no layout is called {name[:40]!r}",
            where="layout",
            mend=f"Shipped are: {', '.join(names)}. Or give a file.",
        )
    text = resources.files("slackwater.reading").joinpath(_FOLDER, f"{name}.toml").read_text(encoding="utf-8")
    return Layout.from_toml(text, f"{name}.toml")
