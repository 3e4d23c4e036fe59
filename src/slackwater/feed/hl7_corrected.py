"""What was told before of the same moment, and what a result that comes now makes of it.

Messages come twice, late and out of order. An entry holds of which message it is and when that became so, so that an
older message never undoes a newer one, and the same one again is none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from slackwater.feed.hl7_fault import NOBODY, Hl7Error
from slackwater.feed.hl7_observation import UNDONE
from slackwater.feed.hl7_oru import Result, Understood
from slackwater.feed.hl7_time import written
from slackwater.store.acts import key_of
from slackwater.store.nouns import Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing, versions

SOURCE = "hl7"


def by_of(understood: Understood) -> str:
    """Who wrote an entry: the sending application."""
    return f"{SOURCE} {understood.sender}"


@dataclass(frozen=True)
class Told:
    """One result, told of a stay by one message. tell: what the sender should know, though nothing is refused."""

    act: Acting
    stay: Thing
    result: Result
    of: Understood
    tell: Callable[[str], None]

    def enter(self) -> int:
        """How many rows it changed."""
        if self.result.status in UNDONE or self.result.lacks:
            return self._undo()
        if self.result.status == "C":
            return self._correct()
        return self._add()

    @property
    def message(self) -> str:
        """Of which message: when it became so, when it was sent, its own id. In the order of these, as text."""
        return f"{written(self.result.changed_ms)} {written(self.of.sent_ms)} {self.of.control}"

    @cached_property
    def before(self) -> tuple[Thing, ...]:
        """What this sender said of this item at this moment by this code, taken back or not."""
        said = (self.result.item, self.result.time_ms, self.result.code, by_of(self.of))
        return tuple(
            one for one in self.act.things("entry", {"episode": self.stay.key}, gone=True)
            if (one["item"], one["time_ms"], one["note"], one["written_by"]) == said
        )  # fmt: skip

    @property
    def alive(self) -> list[Thing]:
        return [one for one in self.before if not one.gone]

    def _older_than(self, one: Thing) -> bool:
        return self.message.split(" ")[:2] < str(one["message"] or "").split(" ")[:2]

    def _was_taken_back(self) -> bool:
        """By a later word than this one."""
        return any(self._older_than(one) for one in self.before if one.gone)

    def _left(self, why: str) -> int:
        self.tell(why)
        return 0

    def _came_before(self) -> bool:
        """Whether this very message said this very thing before, whatever came since."""
        said = (self.result.value or None, self.result.unit or None, self.message)
        keys = [one.key for one in self.before]
        return bool(keys) and any(
            (one["value"], one["unit"], one["message"]) == said
            for one in versions(self.act.connection, "entry", keys=keys)
        )

    def _add(self) -> int:
        first = key_of(
            "entry", self.stay.key, by_of(self.of), self.result.code, self.result.item, self.result.time_ms,
            self.result.value, self.result.unit,
        )  # fmt: skip
        key = first
        if there := self.act.things("entry", keys=[first], gone=True):
            if not there[0].gone:
                return 0
            if any(one["message"] == self.message and one["value"] == self.result.value for one in self.alive):
                return 0
            if self._came_before() or self._was_taken_back():
                return self._left("it was taken back since, and this is no later word: not entered again")
            key = key_of("entry", first, self.message)  # said anew after it was taken back
        self.act.add("entry", key, self._fields(), happened_ms=self.result.time_ms)
        return 1

    def _correct(self) -> int:
        if self._came_before():
            return 0
        if not self.alive:
            if self._was_taken_back():
                return self._left("it was taken back since: this older correction is not used")
            if not self.before:
                self.tell("corrects what is not here: entered as a result")
            return self._add()
        if len(self.alive) > 1:
            raise Hl7Error(
                "corrects one of several values, and which is not told", code=NOBODY, at=self.result.at.of(11),
                mend="Correct it by hand.",
            )  # fmt: skip
        (one,) = self.alive
        if self._older_than(one):
            return self._left("an older correction than what stands: not used")
        new = {name: self._fields()[name] for name in ("value", "unit", "written_ms", "message")}
        same = (one["value"], one["unit"]) == (new["value"], new["unit"])
        self.act.change("entry", one.key, new, version=one.version, happened_ms=self.result.time_ms)
        return 0 if same else 1

    def _undo(self) -> int:
        """Take back what was posted as wrong. What was never here cannot be, and the sender hears of it."""
        value, lacks = self.result.value, self.result.lacks
        meant = [one for one in self.alive if not value or self._says(one)]
        if not meant and not any(one.gone for one in self.before):
            what = (
                f"corrects what is not here, and gives no value ({lacks})" if lacks else "takes back what is not here"
            )
            raise Hl7Error(what, code=NOBODY, at=self.result.at.of(11), mend="Look at what was sent before.")
        undone = [one for one in meant if not self._older_than(one)]
        for one in undone:
            self.act.change(
                "entry", one.key, {"message": self.message}, version=one.version, happened_ms=one.happened_ms
            )
            now = self.act.things("entry", keys=[one.key])[0]
            self.act.take_back("entry", one.key, version=now.version)
        if len(undone) < len(meant):
            self.tell("an older word than what stands: that is not taken back")
        if lacks and undone:
            self.tell(f"corrected, and no value is given ({lacks}): the earlier one is taken back")
        return len(undone)

    def _says(self, one: Thing) -> bool:
        """Whether an entry's value is that of this result; a number, however it is written."""
        value, unit = self.result.value, self.result.unit or None
        if not self.result.known:
            return bool(one["value"] == value)
        return one["unit"] == unit and Fraction(one["value"]) == Fraction(value)

    def _fields(self) -> dict[str, Value]:
        return {
            "episode": self.stay.key, "item": self.result.item, "value": self.result.value or None,
            "unit": self.result.unit or None, "note": self.result.code, "time_ms": self.result.time_ms,
            "written_ms": self.act.at_ms, "written_by": by_of(self.of), "message": self.message,
        }  # fmt: skip
