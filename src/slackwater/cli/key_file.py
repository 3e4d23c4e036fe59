"""The key of the pseudonyms: a file that stays in this house."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from slackwater.errors import UsageError


def key_of(path: Path) -> bytes:
    """The key in this file, made where there is none; nobody but this user may read it."""
    try:
        if path.exists():
            return path.read_bytes()
        key = secrets.token_bytes(32)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(key)
    except OSError as error:
        raise UsageError(
            f"cannot be read or made: {error.strerror}", where=str(path), mend="Check --key and the rights."
        ) from None
    return key
