"""Where a record lies: a folder of this machine (SQLite), or a PostgreSQL server by its URL."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import MissingPart, RecordError

PLACE, FILES = "SLACKWATER_RECORD", "SLACKWATER_FILES"  # environment

# SQLite's locks and syncs cannot be trusted there, whatever the server says: sqlite.org/useovernet.html.
_NETWORK = re.compile(r"nfs\d?|cifs|smb\d?|smbfs|ncpfs|afs|ceph|glusterfs|lustre|gfs2?|ocfs2|davfs|"
                      r"fuse\.(sshfs|glusterfs|ceph|s3fs|rclone|davfs2?|juicefs|gcsfuse)")  # fmt: skip


@dataclass(frozen=True)
class Place:
    """`folder` holds the files, and SQLite's database unless `url` names a PostgreSQL server."""

    folder: Path
    url: str | None = None

    @property
    def sqlite(self) -> bool:
        return self.url is None

    @property
    def database(self) -> Path:
        """SQLite's file."""
        return self.folder / "record.sqlite"

    @property
    def says(self) -> str:
        """The place in words, without a password."""
        if self.url is None:
            return os.fsencode(self.folder).decode("utf-8", "replace")
        return re.sub(r"//([^:/@]*):[^@/]*@", r"//\1:…@", self.url)


def place_of(name: str | os.PathLike[str] | None) -> Place:
    """The place called `name`: a folder, a URL postgresql://..., or None for what the environment or the system says.

    With PostgreSQL the files lie where SLACKWATER_FILES says, else in this user's data folder.
    """
    text = os.fspath(name) if name is not None else os.environ.get(PLACE, "")
    if re.match(r"postgres(ql)?(\+\w+)?://", text):
        folder = os.environ.get(FILES) or _data_folder()
        return Place(Path(folder).absolute(), re.sub(r"^postgres(ql)?(\+\w+)?:", "postgresql+psycopg:", text))
    if "://" in text:
        raise RecordError(
            f"{text.partition('://')[0]}:// is no place for a record",
            where="--record",
            mend="Give a folder, or postgresql://user@host/database.",
        )
    return Place(Path(text or _data_folder()).absolute())


def refuse_network(folder: Path, mounts: str | None = None) -> None:
    """Refuse a folder on a network share. `mounts`: what /proc/self/mountinfo says, where there is such a file."""
    kind = _file_system(folder, mounts)
    if kind is not None and _NETWORK.fullmatch(kind):
        raise RecordError(
            f"lies on a network share ({kind}), where SQLite loses and damages data",
            where=str(folder),
            mend="Give a folder on this machine's own disk, or a PostgreSQL server: docs/operating.md.",
        )


def _file_system(folder: Path, mounts: str | None) -> str | None:
    if str(folder).startswith("\\\\"):
        return "smb"
    if mounts is None:
        try:
            mounts = Path("/proc/self/mountinfo").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return None
    best, kind = -1, None
    real = os.path.realpath(folder)
    for line in mounts.splitlines():
        before, _, after = line.partition(" - ")
        fields = before.split()
        if len(fields) < 5 or not after:
            continue
        point = re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), fields[4])
        inside = point == "/" or real == point or real.startswith(point + "/")
        if inside and len(point) >= best:  # a later mount covers an earlier one
            best, kind = len(point), after.split()[0]
    return kind


def _data_folder() -> str:
    try:
        from platformdirs import user_data_dir
    except ImportError:
        raise MissingPart(
            "the record needs the extra 'record'", mend="Install it: pip install 'slackwater[record]'."
        ) from None
    return user_data_dir("slackwater", appauthor=False)
