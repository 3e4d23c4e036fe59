"""The first start: no default password. Whoever reads the code from the server's own screen enters the first person."""

from __future__ import annotations

import hmac
import secrets

from slackwater.store.accounts import any_account
from slackwater.store.record import Record


class FirstStart:
    """Open until somebody can log in. `code` is shown on the server's console, once, and never stored."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._closed = any_account(record)
        self.code = secrets.token_hex(8)

    @property
    def open(self) -> bool:
        if not self._closed:
            self._closed = any_account(self._record)
        return not self._closed

    def right(self, code: str) -> bool:
        return self.open and hmac.compare_digest(code.strip().lower().encode(), self.code.encode())
