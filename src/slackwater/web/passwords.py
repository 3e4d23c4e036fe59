"""Passwords by argon2: the same work whether the login exists or not, and a wait after failures, never a lock-out."""

from __future__ import annotations

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from slackwater.errors import UsageError

SHORTEST = 12
_HASHER = PasswordHasher()  # the library's own defaults
_NOBODY = _HASHER.hash("nobody has this password")


def hashed(password: str) -> str:
    """Argon2's text for a password. UsageError for one that is too short or the same letter over and over."""
    if len(password) < SHORTEST or len(set(password)) < 5:
        raise UsageError(
            f"a password has at least {SHORTEST} letters, not all alike", mend="Three or four words will do."
        )
    if len(password) > 1000:
        raise UsageError("a password has at most 1000 letters", mend="Shorten it.")
    return _HASHER.hash(password)


def right(password: str, kept: str | None) -> bool:
    """Whether it is the password. Takes the same time for an account that is not there."""
    try:
        return _HASHER.verify(kept or _NOBODY, password[:1000]) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def wait_ms(failed: int) -> int:
    """How long the next try waits after so many failures: nothing for three slips, then up to half a minute."""
    return 0 if failed < 3 else min(30_000, 1000 * 2 ** (failed - 3))
