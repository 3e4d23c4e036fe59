"""Facts that are told again: new ones are filled in, the same are passed over, others need a reason."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from slackwater.errors import RecordError, StaleError
from slackwater.store.nouns import Value
from slackwater.store.record import Acting


def tell(
    act: Acting,
    noun: str,
    key: str,
    fields: Mapping[str, Value],
    *,
    of: str,
    correct: bool,
    happened_ms: int | None = None,
    grows: tuple[str, ...] = (),
) -> int:
    """Record what is told of a thing; returns how many rows that made (0 or 1).

    What is not told (None) changes nothing. What differs from the record is a correction: it is refused with
    RecordError, naming `of`, unless `correct`, save for fields of `grows`, which the caller joined.
    A thing that was taken back stays so.
    """
    told = {name: value for name, value in fields.items() if value is not None}
    found = act.things(noun, keys=[key], gone=True)
    if not found:
        act.add(noun, key, told, happened_ms=happened_ms)
        return 1
    seen = found[0]
    if seen.gone:
        return 0
    new = {name: value for name, value in told.items() if seen[name] != value}
    for name, value in new.items():
        if seen[name] is not None and not correct and name not in grows:
            raise RecordError(
                f"{name.removesuffix('_ms')} is {_shown(name, seen[name])} in the record, "
                f"and {_shown(name, value)} here",
                where=f"{of}, {noun}",
                mend="Mend the file; or say why the record is wrong: --correct 'WHY'.",
            )
    if not new:
        return 0
    act.change(noun, key, new, version=seen.version, happened_ms=happened_ms)
    return 1


def is_new(act: Acting, noun: str, key: str, fields: Mapping[str, Value], *, whole: bool = False) -> bool:
    """Whether a form's thing is to be added; the same sent again is not, and other words under its key are refused.

    What the form left open (None) may have been told since, unless its fields are the `whole` of what is compared.
    """
    found = act.things(noun, keys=[key], gone=True)
    if not found:
        return True
    if any(found[0][name] != value for name, value in fields.items() if whole or value is not None):
        raise other_words()
    return False


def other_words() -> RecordError:
    """A form's key came again with something else: nobody shall think that kept."""
    return RecordError("was sent before with other words", where="the form", mend="Open the form anew.")


def as_seen(act: Acting, noun: str, key: str, version: int | None) -> None:
    """Refuse where the thing is not as it was seen: `version` of it, 0 where there was none; None: not asked."""
    seen = act.thing(noun, key)
    now = 0 if seen is None else seen.version
    if version is not None and version != now:
        raise StaleError(
            f"{noun} {key} was changed meanwhile (version {now}, you saw {version})",
            mend="Look at it, then enter it again.",
        )


def _shown(name: str, value: Value) -> str:
    if name.endswith("_ms") and isinstance(value, int):
        return datetime.fromtimestamp(value / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return repr(value)
