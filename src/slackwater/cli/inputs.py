"""From the names given on the command line to the values the core takes."""

from __future__ import annotations

import os
from collections.abc import Sequence

from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes, refuse_reading_twice
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.episode.types import Chart, Episode
from slackwater.leak.filter.model import FilterModel
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.protocol.shipped import shipped
from slackwater.reading.layout import Layout
from slackwater.reading.log import Log
from slackwater.reading.read import read_log


def is_a_file(name: str) -> bool:
    """Whether a name is meant as a file ('-' is standard input), not as what is shipped."""
    return name == "-" or name.endswith(".toml") or os.sep in name or os.path.exists(name)


def read_protocol(name: str) -> Protocol:
    """A rule file by its path, or a shipped example by its name."""
    if is_a_file(name):
        return load_protocol(read_bytes(name, LARGEST_TEXT), name_of(name))
    return shipped(name)


def read_layout(name: str) -> Layout:
    """A layout file by its path, or a shipped layout by its name."""
    from slackwater.reading.shipped import layout

    if is_a_file(name):
        return Layout.from_toml(_text(name), name_of(name))
    return layout(name)


def read_chart_file(path: str, zone: str | None) -> Chart:
    return read_chart(read_bytes(path, LARGEST_TEXT), name_of(path), zone)


def read_episode_file(path: str) -> Episode:
    return read_episode(read_bytes(path, LARGEST_TEXT), name_of(path))


def read_numbers(path: str) -> FilterModel:
    """The leak filter's numbers, as `slackwater learn` wrote them."""
    from slackwater.leak.filter.model import from_toml

    return from_toml(_text(path), name_of(path))


def read_logs(paths: Sequence[str], layout_name: str | None, refuse_above: float) -> list[Log]:
    """Every log by one layout; without one, by what each header states."""
    from slackwater.reading.propose import layout_from_header

    refuse_reading_twice((*paths, layout_name))
    layout = None if layout_name is None else read_layout(layout_name)
    logs = []
    for path in paths:
        data = read_bytes(path)
        logs.append(read_log(data, layout or layout_from_header(data, name_of(path)), name_of(path), refuse_above))
    return logs


def _text(path: str) -> str:
    from slackwater.errors import LayoutError, refuse_packed

    data = read_bytes(path, LARGEST_TEXT)
    refuse_packed(data, name_of(path), LayoutError)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LayoutError(
            f"byte {error.start} is not UTF-8", where=name_of(path), mend="Save the layout as UTF-8."
        ) from None
