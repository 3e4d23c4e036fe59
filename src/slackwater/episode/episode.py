"""An episode file (TOML): one drain of one patient, in closed words; absent means unknown, never 'no'."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from difflib import get_close_matches
from typing import Any

from slackwater.episode.instants import WITH_OFFSET, read_instant
from slackwater.episode.items import ITEMS
from slackwater.episode.plain_text import plain_text
from slackwater.episode.spelling import meant, plain_word
from slackwater.episode.types import Episode, Instant
from slackwater.errors import EpisodeError, QuantityError

SIDES = ("left", "right", "midline")
SPACES = ("pleural", "mediastinal", "pericardial")
BREATHING = ITEMS["breathing"].words
OPERATIONS = (
    "lobectomy", "bilobectomy", "segmentectomy", "wedge", "pneumonectomy", "sleeve", "bulla",
    "volume_reduction", "decortication", "pleurodesis", "oesophagectomy", "cardiac",
    "thoracotomy_other", "vats_other", "none",
)  # fmt: skip
INDICATIONS = (
    "lung_resection", "pneumothorax_primary", "pneumothorax_secondary", "effusion", "malignant_effusion",
    "empyema", "haemothorax", "trauma", "cardiac_surgery", "chylothorax", "oesophageal_surgery", "transplant",
    "child_cardiac_surgery", "other",
)  # fmt: skip

_OTHER_SPELLINGS = {
    "esophagectomy": "oesophagectomy",
    "hemothorax": "haemothorax",
    "esophageal_surgery": "oesophageal_surgery",
}

_KEYS: dict[str, tuple[str, ...]] = {
    "": ("indication", "goal", "breathing"),
    "patient": ("id", "age_years", "weight_kg"),
    "drain": (
        "number", "side", "space", "site", "size_fr", "connected_at", "shares_unit_with", "shares_space_with",
        "other_drains",
    ),
    "operation": ("kind", "end"),
}  # fmt: skip
_TABLES = tuple(table for table in _KEYS if table)
# Not limits of health: beyond them another unit, a birth year or a slip of the pen was written.
_LONGEST_LIFE_YEARS, _HEAVIEST_KG, _WIDEST_FR = 130, 700, 60
_LONGEST_TEXT = 500


def read_episode(data: bytes, name: str) -> Episode:
    """Read `[patient]`, `[drain]`, `[operation]`, `indication`, `goal`, `breathing`; every key may be absent.

    `name` is what errors call the file. Raises EpisodeError naming the key (or line) and the mend:
    for TOML that cannot be read, a key or word that is not known, a value of another kind, an
    instant without its offset from UTC.
    """
    text = plain_text(data, name, EpisodeError)
    try:
        found = tomllib.loads(text + "\n")  # so that a fault at the end has a line
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        line = re.search(r"at line (\d+), column (\d+)", str(error))
        place = f"{name}, line {line[1]}, column {line[2]}" if line else name
        what = re.sub(r"\s*\(at .*\)", "", str(error))
        raise EpisodeError(
            f"is not TOML: {what}", where=place, mend='Write lines such as side = "right", each key once.'
        ) from error
    _known_keys(found, name)
    top, patient, drain, operation = (
        _Table(found if not table else found.get(table, {}), name, table)
        for table in ("", "patient", "drain", "operation")
    )
    number = drain.label("number")
    return Episode(
        patient_id=patient.label("id"),
        age_years=patient.number("age_years", _LONGEST_LIFE_YEARS),
        weight_kg=patient.number("weight_kg", _HEAVIEST_KG, above_zero=True),
        drain_number=number,
        side=drain.word("side", SIDES),
        space=drain.word("space", SPACES),
        site=drain.text("site"),
        size_fr=drain.number("size_fr", _WIDEST_FR, above_zero=True),
        connected_at=drain.instant("connected_at"),
        shares_unit_with=drain.other_drains("shares_unit_with", number),
        shares_space_with=drain.other_drains("shares_space_with", number),
        shares_space_told="shares_space_with" in drain.values,
        other_drains=drain.other_drains("other_drains", number),
        operation_kind=operation.open_word("kind", OPERATIONS),
        operation_end=operation.instant("end"),
        indication=top.open_word("indication", INDICATIONS),
        goal=top.text("goal"),
        breathing=top.word("breathing", BREATHING),
    )


def _known_keys(found: Mapping[str, Any], name: str) -> None:
    for key, value in found.items():
        if key in _TABLES:
            if not isinstance(value, dict):
                raise EpisodeError("is not a table", where=f"{name}, {key}", mend=f"Write [{key}] on its own line.")
            for inner in value:
                if inner not in _KEYS[key]:
                    _unknown(f"{name}, {key}.{inner}", inner, key)
        elif key not in _KEYS[""]:
            _unknown(f"{name}, {key}", key, "")


def _unknown(where: str, key: str, table: str) -> None:
    for home, keys in _KEYS.items():
        if home != table and key in keys:
            place = f"Write it under [{home}]." if home else "Write it above the first [table]."
            raise EpisodeError("stands in the wrong place", where=where, mend=place)
    known = _KEYS[table] if table else _KEYS[""] + tuple(f"[{name}]" for name in _TABLES)
    raise EpisodeError("is not a key of an episode", where=where, mend=meant(key, known))


@dataclass(frozen=True)
class _Table:
    """One table of the file; each question answers None where the key is absent."""

    values: Mapping[str, Any]
    file: str
    name: str

    def _refuse(self, key: str, what: str, mend: str) -> EpisodeError:
        return EpisodeError(
            what, where=f"{self.file}, {self.name}.{key}" if self.name else f"{self.file}, {key}", mend=mend
        )

    def text(self, key: str) -> str | None:
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self._refuse(key, f"{value!r} is not text", f'Write it in quotes, e.g. {key} = "...".')
        trimmed = " ".join(value.split())
        if not trimmed:
            raise self._refuse(key, "is empty", "Leave the key out if it is not known.")
        if len(trimmed) > _LONGEST_TEXT:
            raise self._refuse(key, f"is longer than {_LONGEST_TEXT} characters", "Shorten it.")
        return trimmed

    def label(self, key: str) -> str | None:
        """A name or number of a thing; 1 and "1" are the same label."""
        return _label(self.values[key]) if _is_count(self.values.get(key)) else self.text(key)

    def word(self, key: str, words: tuple[str, ...]) -> str | None:
        written = self.text(key)
        if written is None:
            return None
        word = plain_word(written)
        if word not in words:
            raise self._refuse(key, f"{written!r} is not a word for it", meant(word, words))
        return word

    def open_word(self, key: str, words: tuple[str, ...]) -> str | None:
        """A word of the list, or another plain word that is unlike all of them.

        Units name operations we have not listed; a rule that names the same word finds it. But a word
        near a listed one is a slip, and one built on a removed lung must not pass for another operation.
        """
        written = self.text(key)
        if written is None:
            return None
        word = plain_word(written)
        word = _OTHER_SPELLINGS.get(word, word)
        if word in words:
            return word
        near = get_close_matches(word, words, n=1, cutoff=0.72)
        broader = bool(near) and (word in near[0] or near[0] in word)  # pneumothorax, wedge_resection
        if "pneumonec" in word or (near and not broader):
            raise self._refuse(key, f"{written!r} is near a known word, but not it", meant(word, words))
        if not re.fullmatch(r"[a-z][a-z0-9_]{1,40}", word):
            raise self._refuse(key, f"{written!r} is not a word for it", meant(word, words))
        return word

    def number(self, key: str, highest: int, above_zero: bool = False) -> float | None:
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self._refuse(key, f"{value!r} is not a number", f"Write digits without a unit, e.g. {key} = 34.")
        if value > highest or value < 0 or (above_zero and value == 0):
            unit = key.rpartition("_")[2]
            raise self._refuse(
                key,
                f"{value} cannot be",
                f"Write it in {unit}, at most {highest}; leave it out if it is not known.",
            )
        return float(value)

    def instant(self, key: str) -> Instant | None:
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, datetime) and value.tzinfo is not None:
            value = value.isoformat()
        elif isinstance(value, datetime | date | time):
            raise self._refuse(key, f"{value.isoformat()} does not say where its clock stood", WITH_OFFSET)
        if not isinstance(value, str):
            raise self._refuse(key, f"{value!r} is not a date and time", WITH_OFFSET)
        try:
            return read_instant(value)
        except QuantityError as error:
            raise self._refuse(key, error.what, error.mend) from error

    def other_drains(self, key: str, own: str | None) -> tuple[str, ...]:
        value = self.values.get(key)
        if value is None:
            return ()
        mend = f'Write the numbers of the other drains in a list, e.g. {key} = ["2"]; [] if there is none.'
        if not isinstance(value, list) or not all(_is_count(one) or isinstance(one, str) for one in value):
            raise self._refuse(key, f"{value!r} is not a list of drains", mend)
        labels = tuple(dict.fromkeys(_label(one) for one in value))
        if "" in labels:
            raise self._refuse(key, "names an empty drain", mend)
        if own in labels:
            raise self._refuse(key, f"names drain {own} itself", mend)
        return labels


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _label(value: object) -> str:
    return " ".join(str(value).split())
