"""Where a door is, as somebody typed it."""

from __future__ import annotations

from urllib.parse import SplitResult, urlsplit


def split_address(url: str) -> tuple[SplitResult, int | None]:
    """The parts of an address and its port; of one that cannot be read, empty parts.

    >>> split_address("mqtt://broker:1884")[1], split_address("//h:99999")[0].hostname
    (1884, None)
    """
    try:
        parts = urlsplit(url)
        return parts, parts.port
    except ValueError:  # a port that is no number, or larger than any
        return urlsplit(""), None
