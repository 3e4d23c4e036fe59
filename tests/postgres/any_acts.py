"""Acts drawn at random over every noun, many of them such as the record must refuse."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from slackwater.errors import RecordError
from slackwater.store import Record
from slackwater.store.nouns import COUNT, FLAG, INSTANT, NOUNS, NUMBER, WORDS, Field, Value

MOMENT_MS = 2_246_000_000_000  # an invented day in 2041
TEXTS = (
    "swing", "b", "B", "a", "ä", "é", "e\u0301", "ß", "SS", "İ", "ı", "שלום", "😀", " x ", "x ", "O'Hara; --", '"',
    "%s", "\\", "a\tb", "a\r\nb", "1e5", "001", "NULL", "\u200b", "",
)  # fmt: skip
NUMBERS = (0.1 + 0.2, 5e-324, 1.7976931348623157e308, 1 / 3, 80, 2**53 + 1)
COUNTS = (0, -1, 7, 2**31, 2**53 + 1, 2**62)
KEYS = tuple(f"key-{number}" for number in range(20))  # few, so that acts meet


def act_at_random(record: Record, seed: int) -> str:
    """One act of a few changes; returns what became of it, in words."""
    chance = random.Random(seed)
    try:
        with record.act(by=chance.choice(TEXTS) or "x", what=chance.choice(["charted", "ß ended"])) as act:
            for _ in range(chance.choice([1, 1, 2, 5])):
                noun, key = chance.choice(list(NOUNS)), chance.choice(KEYS)
                now = act.thing(noun, key)
                fields = dict(_fields(chance, noun, needed=now is None))
                if now is None:
                    act.add(noun, key, fields, happened_ms=chance.choice([None, MOMENT_MS]))
                elif chance.random() < 0.1:
                    act.take_back(noun, key, version=now.version)
                else:
                    seen = now.version - (chance.random() < 0.1)  # some have not looked again
                    act.change(noun, key, _not_fixed(noun, fields), version=seen)
    except RecordError as error:
        return f"{type(error).__name__}: {error}"
    return "kept"


def _fields(chance: random.Random, noun: str, needed: bool) -> Iterator[tuple[str, Value]]:
    for field in NOUNS[noun].fields:
        if (needed and field.needed) or chance.random() < 0.5:
            yield field.name, _value(chance, noun, field)


def _value(chance: random.Random, noun: str, field: Field) -> Value:
    words = WORDS.get((noun, field.name))
    if words is not None:
        return chance.choice(words)
    drawn: dict[str, Any] = {
        INSTANT: lambda: MOMENT_MS + chance.choice([-1, 0, 1, 2**40]),
        COUNT: lambda: chance.choice(COUNTS),
        NUMBER: lambda: chance.choice(NUMBERS),
        FLAG: lambda: chance.random() < 0.5,
    }
    return drawn.get(field.kind, lambda: chance.choice([*TEXTS, *KEYS, *KEYS]))()


def _not_fixed(noun: str, fields: dict[str, Value]) -> dict[str, Value]:
    """Now and then a field that never changes slips in."""
    return {name: value for name, value in fields.items() if not NOUNS[noun].field(name).fixed}
