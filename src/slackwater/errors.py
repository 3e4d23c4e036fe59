"""What can go wrong, said so that a reader can mend it.

SlackwaterError
├── RefusedInput        the input or the call is refused                       (exit 2)
│   ├── QuantityError       a number or a unit that cannot be read
│   ├── LayoutError         how a log is to be read is not settled, or wrong
│   ├── LogError            a log that cannot be read by its layout
│   ├── ChartError          a chart row that cannot be read
│   ├── EpisodeError        an episode file that cannot be read
│   ├── ProtocolError       a rule file that cannot be used
│   ├── UsageError          a call that makes no sense
│   └── RecordError         the record cannot take or give this
│       ├── StaleError          another one changed the same thing meanwhile
│       └── NotWritten          disk or server failed; nothing of the act was kept, or it says that it cannot tell
└── MissingPart         an optional part is not installed                      (exit 4)
"""

from __future__ import annotations

import re


class SlackwaterError(Exception):
    """Base of every error raised on purpose.

    `where` names the file, line, column, clause or key; `what` says what is wrong there;
    `mend` says what to write instead. As text it is one line.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = _shortened(what)
        self.where = where
        self.mend = mend
        super().__init__(str(self))

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.mend:
            text = f"{text.rstrip('.')}. {self.mend}"
        return " ".join(text.split())

    def at(self, where: str) -> SlackwaterError:
        """The same error, with the outer place named in front of its own."""
        place = f"{where}, {self.where}" if self.where else where
        return type(self)(self.what, where=place, mend=self.mend)


def _shortened(text: str) -> str:
    """What was read is quoted in short: a cell may hold what nobody should see in a log of errors."""
    return re.sub(r"(?<![^\s(])(['\"])(\w[^'\"]{17})[^'\"]{3,}\1", r"\1\2…\1", text)


class RefusedInput(SlackwaterError):
    """The input or the call is refused; nothing was written."""

    exit_code = 2


_PACKED = {  # first bytes of compressed files: their formats' own magic numbers
    b"\x1f\x8b": "gzip", b"PK\x03\x04": "zip, as archives and spreadsheet workbooks are", b"BZh91AY&SY": "bzip2",
    b"\xfd7zXZ\x00": "xz", b"\x28\xb5\x2f\xfd": "zstd", b"7z\xbc\xaf\x27\x1c": "7z",
}  # fmt: skip


def refuse_packed(data: bytes, name: str, refuse: type[RefusedInput], what: str = "file") -> None:
    """Raise `refuse` for a file that begins as a compressed one does; `what` it should have been."""
    for mark, kind in _PACKED.items():
        if data.startswith(mark):
            raise refuse(f"is compressed ({kind})", where=name, mend=f"Unpack it first, then give the {what} in it.")


class QuantityError(RefusedInput):
    """A number or a unit that cannot be read."""


class LayoutError(RefusedInput):
    """How a log is to be read is not settled, or contradicts itself."""


class LogError(RefusedInput):
    """A log that cannot be read by its layout."""


class ChartError(RefusedInput):
    """A chart that cannot be read."""


class EpisodeError(RefusedInput):
    """An episode file that cannot be read."""


class ProtocolError(RefusedInput):
    """A rule file that cannot be used."""


class UsageError(RefusedInput):
    """A call that makes no sense."""


class RecordError(RefusedInput):
    """The record cannot take or give this; it is as it was."""


class StaleError(RecordError):
    """Another one changed the same thing meanwhile: look at it, then enter again."""


class NotWritten(RecordError):
    """Disk or server failed while an act was written."""


class MissingPart(SlackwaterError):
    """An optional part is not installed; the message names the extra."""

    exit_code = 4
