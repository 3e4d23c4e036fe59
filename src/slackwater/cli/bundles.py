"""A drain's files, gathered from a folder or from the options of a command."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from slackwater.cli.files import LARGEST_TEXT, name_of, read_bytes
from slackwater.cli.inputs import read_episode_file, read_layout
from slackwater.errors import UsageError
from slackwater.reading.layout import Layout

if TYPE_CHECKING:
    from slackwater.store.take_in import Bundle, GivenLog

EPISODE, CHART, COURSE, LAYOUT, PROTOCOL = "episode.toml", "chart.csv", "course.toml", "layout.toml", "protocol.toml"


def folders_of(paths: Sequence[str]) -> list[Path]:
    """The folders of drains in these folders, in order of their names. Raises UsageError where one holds none."""
    found: list[Path] = []
    for path in paths:
        here = sorted(one.parent for one in Path(path).rglob(EPISODE))
        if not here:
            raise UsageError(f"holds no {EPISODE}", where=path, mend="A drain's folder needs one: docs/episode.md.")
        found += here
    return found


def bundles_of(folder: Path, protocol: str | None, zone: str | None, refuse_above: float) -> Bundle:
    """The files of one drain's folder."""
    tables = [path for path in sorted(folder.iterdir()) if path.suffix.lower() in (".csv", ".txt")]
    logs = [path for path in tables if path.name.lower().startswith("log")]
    strange = [path.name for path in tables if path not in logs and path.name not in (CHART, "truth.csv")]
    if strange:
        raise UsageError(
            f"{', '.join(strange[:5])}: neither a log nor the chart by its name", where=folder.name,
            mend="Name logs log.csv, log-2.csv, and the chart chart.csv; or give them one by one.",
        )  # fmt: skip

    def there(name: str) -> str | None:
        return str(folder / name) if (folder / name).exists() else None

    def layout(log: Path) -> str | None:
        own = log.with_suffix(".layout.toml")
        return str(own) if own.exists() else there(LAYOUT)

    return _bundle(
        folder.name, [(str(log), layout(log)) for log in logs], there(CHART), str(folder / EPISODE), there(COURSE),
        protocol or there(PROTOCOL), zone, refuse_above,
    )  # fmt: skip


def bundle_of_files(
    logs: Sequence[str], layout: str | None, chart: str | None, episode: str | None, course: str | None,
    protocol: str | None, zone: str | None, refuse_above: float,
) -> Bundle:  # fmt: skip
    """The files that were named one by one."""
    if episode is None:
        raise UsageError(
            "whose drain it is, is not said", mend="Give --episode FILE with [patient] id and [drain] number."
        )
    return _bundle(
        name_of(episode), [(log, layout) for log in logs], chart, episode, course, protocol, zone, refuse_above
    )


def _bundle(
    name: str, logs: Sequence[tuple[str, str | None]], chart: str | None, episode: str, course: str | None,
    protocol: str | None, zone: str | None, refuse_above: float,
) -> Bundle:  # fmt: skip
    from slackwater.store.course_text import read_course
    from slackwater.store.take_in import Bundle

    return Bundle(
        name=name,
        episode=read_episode_file(episode),
        logs=tuple(_log(path, layout) for path, layout in logs),
        charts=() if chart is None else ((name_of(chart), read_bytes(chart, LARGEST_TEXT)),),
        zone=zone,
        protocol=None if protocol is None else rule_file(protocol),
        course=() if course is None else read_course(read_bytes(course, LARGEST_TEXT), name_of(course)),
        refuse_above=refuse_above,
    )


def _log(path: str, layout: str | None) -> GivenLog:
    from slackwater.reading.propose import layout_from_header
    from slackwater.store.take_in import GivenLog

    data = read_bytes(path)
    read: Layout = read_layout(layout) if layout is not None else layout_from_header(data, name_of(path))
    return GivenLog(name_of(path), data, read)


def rule_file(name: str) -> tuple[str, bytes]:
    """A rule's file name and bytes, by its path or as a shipped example."""
    import os

    from slackwater.protocol.shipped import shipped_bytes

    if name.endswith(".toml") or os.sep in name or os.path.exists(name):
        return name_of(name), read_bytes(name, LARGEST_TEXT)
    return f"{name}.toml", shipped_bytes(name)
