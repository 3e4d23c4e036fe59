"""How a time stamp is written: a format, its small program for the kernel, and careful reading of one text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from slackwater.errors import LayoutError
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.reading.excerpt import excerpt

NUMERIC_FORMATS = ("epoch_s", "epoch_ms", "elapsed_s")
FIRST_YEAR, LAST_YEAR = 1970, 2199
LITERAL, SPACES = 0, 32  # operations of the program that are no directive; a directive is its letter's code

_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_TWO_DIGITS = "ymdHIMS"
_ISO = re.compile(
    r"(?P<Y>[0-9]{4})-(?P<m>[0-9]{2})-(?P<d>[0-9]{2})(?:[Tt]| +)(?P<H>[0-9]{2}):(?P<M>[0-9]{2})"
    r"(?::(?P<S>[0-9]{2})(?:[.,](?P<f>[0-9]{1,9}))?)?(?P<z>[Zz]|[+-][0-9]{2}(?::?[0-9]{2})?)?",
    re.ASCII,
)
_MEND = 'Write "iso", "epoch_s", "epoch_ms", "elapsed_s", or e.g. "%d.%m.%Y %H:%M:%S".'


@dataclass(frozen=True)
class Stamp:
    """A stamp as read: ms since 1970, UTC if the text carried an offset, else wall-clock."""

    ms: int
    utc: bool


@dataclass(frozen=True)
class StampFormat:
    """A format with its two forms: a pattern, and a program of (operation, argument) for the kernel."""

    text: str
    program: tuple[tuple[int, int], ...]  # empty for "iso"
    pattern: re.Pattern[str]
    may_carry_offset: bool

    def read(self, text: str) -> Stamp | str:
        """The stamp in `text`, or in words why there is none. Fractions below 1 ms are cut off.

        >>> stamp_format("iso").read("1970-01-01T01:00:00+01:00")
        Stamp(ms=0, utc=True)
        """
        match = self.pattern.fullmatch(text.strip(" "))
        if match is None:
            return f"{excerpt(text)} is no stamp of the form {self.text}"
        got = match.groupdict()
        if "y" in got:
            short = int(got["y"])
            year = short + (1900 if short >= 70 else 2000)
        else:
            year = int(got["Y"])
        month, day, minute = int(got["m"]), int(got["d"]), int(got["M"])
        second = int(got.get("S") or 0)
        if "I" in got:
            hour = int(got["I"])
            hour = hour % 12 + (12 if got["p"] in ("PM", "pm", "Pm", "pM") else 0) if 1 <= hour <= 12 else 99
        else:
            hour = int(got["H"])
        if not FIRST_YEAR <= year <= LAST_YEAR:
            return f"{excerpt(text)} has a year outside {FIRST_YEAR} to {LAST_YEAR}"
        if not 1 <= month <= 12 or not 1 <= day <= _days_in(year, month):
            return f"{excerpt(text)} is no day of the calendar when read as {self.text}"
        if hour > 23 or minute > 59 or second > 59:
            return f"{excerpt(text)} is no time of day when read as {self.text}"
        ms = _day_number(year, month, day) * DAY_MS + ((hour * 60 + minute) * 60 + second) * 1000
        ms += int((got.get("f") or "").ljust(3, "0")[:3])
        offset = got.get("z")
        if not offset:
            return Stamp(ms, utc=False)
        away = _offset_ms(offset)
        if away is None:
            return f"{excerpt(text)} has an offset beyond 18 hours"
        return Stamp(ms - away, utc=True)


def _days_in(year: int, month: int) -> int:
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return 29 if month == 2 and leap else _MONTH_DAYS[month - 1]


def _day_number(year: int, month: int, day: int) -> int:
    """Days since 1970-01-01 in the Gregorian calendar."""
    years = year - 1 if month <= 2 else year  # a year that ends with February, so that the leap day comes last
    day_of_year = (153 * (month + (9 if month <= 2 else -3)) + 2) // 5 + day - 1
    return 365 * years + years // 4 - years // 100 + years // 400 + day_of_year - 719_468


def _offset_ms(text: str) -> int | None:
    if text in "Zz":
        return 0
    digits = text[1:].replace(":", "").ljust(4, "0")
    minutes = int(digits[:2]) * 60 + int(digits[2:])
    if int(digits[2:]) > 59 or minutes > 18 * 60:
        return None
    return minutes * (-MINUTE_MS if text[0] == "-" else MINUTE_MS)


@lru_cache(maxsize=128)
def stamp_format(text: str, where: str = "time.format") -> StampFormat:
    """The format called `text`: "iso", or strptime's directives Y y m d H I M S f p z and literals.

    Days, months and hours may have one digit or two where something other than a digit follows.
    """
    if text == "iso":
        return StampFormat("iso", (), _ISO, may_carry_offset=True)
    items = _items(text, where)
    letters = [item[1] for item in items if item[0] == "%"]
    _check_letters(letters, where)
    program: list[tuple[int, int]] = []
    pattern = ""
    for n, (kind, letter) in enumerate(items):
        following = items[n + 1] if n + 1 < len(items) else ("", "")
        digit_follows = (following[0] == "%" and following[1] not in "pz") or following[1].isdigit()
        if kind == "literal" and letter == " ":
            program.append((SPACES, 0))
            pattern += " +"
        elif kind == "literal":
            program += [(LITERAL, byte) for byte in letter.encode()]
            pattern += re.escape(letter)
        elif letter in _TWO_DIGITS:
            exact = digit_follows or letter == "y"
            program.append((ord(letter), 2 if exact else 1))
            pattern += f"(?P<{letter}>[0-9]{{2}})" if exact else f"(?P<{letter}>[0-9]{{1,2}})"
        else:
            if letter == "f" and digit_follows:
                raise LayoutError("digits follow %f at once", where=where, mend="Put %f last or before a sign.")
            program.append((ord(letter), 0))
            pattern += {
                "Y": "(?P<Y>[0-9]{4})",
                "f": "(?P<f>[0-9]{1,9})",
                "p": "(?P<p>[AaPp][Mm])",
                "z": "(?P<z>[Zz]|[+-][0-9]{2}(?::?[0-9]{2})?)",
            }[letter]
    return StampFormat(text, tuple(program), re.compile(pattern, re.ASCII), may_carry_offset="z" in letters)


def _items(text: str, where: str) -> list[tuple[str, str]]:
    """The format cut into directives and literals; a run of spaces is one literal space."""
    items: list[tuple[str, str]] = []
    rest = text.strip()
    while rest:
        if rest[0] != "%":
            if not (rest[0] == " " and items and items[-1] == ("literal", " ")):
                items.append(("literal", rest[0]))
            rest = rest[1:]
            continue
        letter = rest[1:2]
        if letter == "%":
            items.append(("literal", "%"))
        elif letter and letter in "YymdHIMSfpz":
            items.append(("%", letter))
        else:
            raise LayoutError(f"{'%' + letter!r} is not read here", where=where, mend=_MEND)
        rest = rest[2:]
    return items


def _check_letters(letters: list[str], where: str) -> None:
    twice = sorted({letter for letter in letters if letters.count(letter) > 1})
    if twice:
        raise LayoutError(f"%{twice[0]} stands there twice", where=where, mend="Write each directive once.")
    for one, other in ("Yy", "HI"):
        if (one in letters) == (other in letters):
            said = "both" if one in letters else "neither"
            raise LayoutError(f"{said} %{one} and %{other}", where=where, mend=f"Write one of them. {_MEND}")
    for letter in "mdM":
        if letter not in letters:
            raise LayoutError(f"no %{letter}", where=where, mend=_MEND)
    if ("I" in letters) != ("p" in letters):
        raise LayoutError("%I and %p go together", where=where, mend='Write e.g. "%m/%d/%Y %I:%M:%S %p".')
    if "f" in letters and "S" not in letters:
        raise LayoutError("%f without %S", where=where, mend="Write the seconds too, e.g. %H:%M:%S.%f.")
