"""Who looked at what, written to the record in one act every few seconds."""

from __future__ import annotations

import threading

from slackwater.errors import SlackwaterError
from slackwater.store.acts import key_of
from slackwater.store.record import Record

EVERY_S = 2.0


class Looks:
    """Gathers looks. A crash may lose those of its last two seconds: docs/operating.md says so."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._seen: list[tuple[str, str, str | None, int]] = []
        self._known: set[tuple[str, str, str | None]] = set()  # since this start
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._every_s = EVERY_S
        self.failed: str | None = None
        self._thread = threading.Thread(target=self._run, name="looks", daemon=True)
        self._thread.start()

    def saw(self, person: str, what: str, drain: str | None) -> None:
        with self._lock:
            self._seen.append((person, what, drain, self._record.now_ms()))
            self._known.add((person, what, drain))

    def seen(self, person: str, what: str, drain: str | None) -> bool:
        """Whether this person was written down as having looked, since the server's start."""
        return (person, what, drain) in self._known

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self.flush()

    def flush(self) -> None:
        """Write what was gathered. What cannot be written is kept and tried again."""
        with self._lock:
            seen, self._seen = self._seen, []
        if not seen:
            return
        try:
            with self._record.act(by="slackwater", what="who looked") as act:
                for number, (person, what, drain, at) in enumerate(seen):
                    key = key_of("look", act.seq, number)
                    act.add("look", key, {"person": person, "what": what, "drain": drain}, happened_ms=at)
            self.failed = None
        except SlackwaterError as error:
            self.failed = str(error)
            with self._lock:
                self._seen = seen + self._seen

    def _run(self) -> None:
        while not self._stop.wait(self._every_s):
            self.flush()
