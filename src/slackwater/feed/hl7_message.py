"""The one place that knows the `hl7` library: from bytes to segments that say what they hold and where.

The library takes what it is given: lines that end in LF become one segment, an escape it does not know vanishes, and
nothing bounds a message. So ends of segments, characters, sizes and escapes are settled here, before it parses.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field

import hl7

from slackwater.feed.hl7_fault import MISSING, NO_SUCH_WORD, SEQUENCE, TWICE, WRONG_TYPE, At, Hl7Error

# Bounds are ours: far above what a bedside sends, far below what hurts.
MOST_BYTES = 262_144  # of one frame: a message or a batch
MOST_SEGMENTS = 1000
MOST_FIELDS = 64
MOST_PARTS = 16_384  # components and repetitions in one message: a waveform has the most

# HL7 table 0211 (MSH-18), from memory; empty is ASCII by the standard, and never guessed to be more.
CHARSETS = {
    "": "ascii", "ASCII": "ascii", "8859/1": "latin-1", "8859/2": "iso8859-2", "8859/15": "iso8859-15",
    "UNICODE UTF-8": "utf-8",
}  # fmt: skip
HEADERS = ("FHS", "BHS", "MSH", "BTS", "FTS")
_CONTROL = re.compile(r"[\x00-\x08\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")
_NAME = re.compile(r"[A-Z][A-Z0-9]{2}", re.ASCII)
_ESCAPE = re.compile(r"H|N|F|S|T|R|E|\.br|X(?:[0-9A-Fa-f]{2}){1,40}", re.ASCII)
_ESCAPED = str.maketrans({"\\": "\\E\\", "|": "\\F\\", "^": "\\S\\", "&": "\\T\\", "~": "\\R\\"})


@dataclass(frozen=True)
class Segment:
    """One segment. Fields, repetitions, components and subcomponents count from 1; what is not there is ''.

    Nothing is cut short: where a reader asks for one value and several stand there, that is refused with its place.
    """

    name: str
    at: At
    _part: hl7.Segment
    _whole: hl7.Message
    _split: dict[int, tuple[tuple[str, ...], ...]] = dataclass_field(default_factory=dict, repr=False, compare=False)

    @property
    def separator(self) -> str:
        """What parts the components of a field."""
        return str(self._whole.separators[3])

    def raw(self, field: int) -> str:
        """A field as written."""
        return str(self._part[field]) if field < len(self._part) else ""

    def shown(self, field: int, component: int = 0) -> str:
        """A field, or a component of its first repetition, with all its parts as sent and its escapes resolved."""
        if not component:
            return self._plain(self.raw(field))
        written = self.components(field)
        return self._plain(written[component - 1]) if component <= len(written) else ""

    def parts(self, field: int, component: int, repetition: int) -> tuple[str, ...]:
        """The subcomponents of a component, escapes resolved."""
        every = self._repetitions(field)
        if repetition > len(every) or component > len(every[repetition - 1]):
            return ("",)
        written = every[repetition - 1][component - 1]
        return tuple(self._plain(part) for part in written.split(str(self._whole.separators[4])))

    def text(self, field: int, component: int = 1, repetition: int = 0) -> str:
        """A component's text, escapes resolved; refused where it has subcomponents: the first is not what was sent.

        repetition 0: the only one; refused where there are several.
        """
        if not repetition and self.repetitions(field) > 1:
            raise Hl7Error("stands there several times", code=TWICE, at=self.at.of(field), mend="Send it once.")
        parts = self.parts(field, component, repetition or 1)
        if len(parts) > 1:
            sign, escape = self._whole.separators[4], self._whole.esc
            raise Hl7Error(
                f"has parts, and is one thing: {sign} stands in it", code=WRONG_TYPE, at=self.at.of(field, component),
                mend=f"Send the sign itself as {escape}T{escape}.",
            )  # fmt: skip
        return parts[0]

    def code(self, field: int, component: int = 1, repetition: int = 0) -> str:
        """A component that names something: blanks around it would make it the name of something else."""
        found = self.text(field, component, repetition)
        if found != found.strip():
            raise Hl7Error(
                f"{found!r} has a stray blank", code=WRONG_TYPE, at=self.at.of(field, component), mend="Leave it out."
            )
        return found

    def only(self, field: int) -> str:
        """A field of one part, as a status, a time or a count is: refused where components follow."""
        if any(self.components(field)[1:]):
            raise Hl7Error(
                f"has components, and has none by its type: {self.separator} stands in it", code=WRONG_TYPE,
                at=self.at.of(field), mend="Send the first alone.",
            )  # fmt: skip
        return self.code(field)

    def repetitions(self, field: int) -> int:
        """How often a field stands; 0 where it is empty."""
        return len(self._repetitions(field))

    def components(self, field: int) -> tuple[str, ...]:
        """The components of a field's first repetition, as written."""
        every = self._repetitions(field)
        return every[0] if every else ()

    def _repetitions(self, field: int) -> tuple[tuple[str, ...], ...]:
        """Each repetition's components, as written; split once, for a field may have thousands."""
        if field not in self._split:
            raw, (_, _, again, part, _) = self.raw(field), self._whole.separators
            self._split[field] = tuple(tuple(one.split(part)) for one in raw.split(again)) if raw else ()
        return self._split[field]

    def _plain(self, text: str) -> str:
        return text if self._whole.esc not in text else str(self._whole.unescape(text))


@dataclass(frozen=True)
class Message:
    """A message: its segments in order. The first is its MSH."""

    segments: tuple[Segment, ...]
    separators: str  # field, component, repetition, escape, subcomponent

    @property
    def header(self) -> Segment:
        return self.segments[0]

    def all(self, name: str) -> tuple[Segment, ...]:
        return tuple(segment for segment in self.segments if segment.name == name)


@dataclass(frozen=True)
class Batch:
    """What came in one frame. `header`: the batch's own (BHS) where it is one; `texts`: of each message, unparsed."""

    header: Segment | None
    texts: tuple[str, ...]


def text_of(data: bytes) -> str:
    """The frame as text: in its own character set, segments ended by CR. Refuses what is too long or does not print."""
    if len(data) > MOST_BYTES:
        raise Hl7Error(
            f"is {len(data)} bytes long", code=WRONG_TYPE, at=At("MSH"), mend=f"Send {MOST_BYTES} bytes at most."
        )
    as_bytes = data.decode("latin-1")  # a sign for each byte, to find the header's own signs in
    _refuse_controls(as_bytes, "\x00")
    if as_bytes[:3] in HEADERS:
        _separators(as_bytes)
    charset = _charset(as_bytes)
    if charset not in CHARSETS:
        raise Hl7Error(
            f"{charset!r} is no character set read here", code=NO_SUCH_WORD, at=At("MSH", 1, 18),
            mend=f"Send one of: {', '.join(filter(None, CHARSETS))}.",
        )  # fmt: skip
    try:
        text = data.decode(CHARSETS[charset])
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("latin-1")
        raise Hl7Error(
            f"byte {data[error.start]:#04x} is not {charset or 'ASCII, which an empty MSH-18 means'}",
            code=WRONG_TYPE, at=_place_in(before), mend="Name the character set in MSH-18.",
        ) from None  # fmt: skip
    text = text.replace("\r\n", "\r").replace("\n", "\r")
    _refuse_controls(text)
    return text


def _refuse_controls(text: str, signs: str = "") -> None:
    strange = _CONTROL.search(text) if not signs or signs in text else None
    if strange:
        raise Hl7Error(
            f"holds a control character ({ord(strange[0]):#04x})", code=WRONG_TYPE,
            at=_place_in(text[: strange.start()]), mend="Leave it out.",
        )  # fmt: skip


def batch_of(data: bytes) -> Batch:
    """The messages of a frame: one, or those of a batch or a file of batches, whose counts must be right."""
    lines = [line for line in text_of(data).split("\r") if line]
    if not lines:
        raise Hl7Error("the frame is empty", code=SEQUENCE, at=At("MSH"), mend="Send a message.")
    if len(lines) > MOST_SEGMENTS:
        raise Hl7Error(f"has {len(lines)} segments", code=SEQUENCE, at=At("MSH"), mend=f"Send {MOST_SEGMENTS} at most.")
    if lines[0][:3] == "MSH":
        again = [number for number, line in enumerate(lines) if number and line[:3] in HEADERS]
        if again:
            raise Hl7Error(
                f"{lines[again[0]][:3]} stands in the middle of a message", code=SEQUENCE,
                at=At(lines[again[0]][:3], 2 if lines[again[0]][:3] == "MSH" else 1),
                mend="Send one message in a frame, or a batch from BHS to BTS.",
            )  # fmt: skip
        return Batch(None, ("\r".join(lines),))
    if lines[0][:3] not in ("BHS", "FHS"):
        raise Hl7Error(
            f"begins with {lines[0][:3]!r}, not with MSH", code=SEQUENCE, at=At("MSH"), mend="Begin with MSH."
        )
    return _batch(lines)


def _batch(lines: list[str]) -> Batch:
    """From FHS or BHS to BTS or FTS; each of the four once, in this order."""
    order = [line[:3] for line in lines if line[:3] in HEADERS and line[:3] != "MSH"]
    if order not in (["BHS", "BTS"], ["FHS", "BHS", "BTS", "FTS"], ["FHS", "FTS"]):
        raise Hl7Error(
            f"the batch has {', '.join(order)}", code=SEQUENCE, at=At(order[-1]),
            mend="Send BHS … BTS, or FHS BHS … BTS FTS.",
        )  # fmt: skip
    if lines[-1][:3] != order[-1]:
        raise Hl7Error(f"something follows {order[-1]}", code=SEQUENCE, at=At(order[-1]), mend="End the batch by it.")
    header = next((line for line in lines if line[:3] == "BHS"), lines[0])
    texts: list[list[str]] = []
    for line in lines:
        if line[:3] == "MSH":
            texts.append([line])
        elif line[:3] not in HEADERS:
            if not texts:
                raise Hl7Error(
                    f"{line[:3]} comes before the first MSH", code=SEQUENCE, at=At(line[:3]), mend="Begin with MSH."
                )
            texts[-1].append(line)
    for line in lines:
        told = line[4:].split(line[3:4])[0] if line[:3] == "BTS" and len(line) > 4 else ""
        if told and told != str(len(texts)):
            raise Hl7Error(
                f"says {told!r} messages, and {len(texts)} are there", code=SEQUENCE, at=At("BTS", 1, 1),
                mend="Send the whole batch.",
            )  # fmt: skip
    return Batch(message_of(header).header, tuple("\r".join(one) for one in texts))


def message_of(text: str) -> Message:
    """One message parsed, after its separators, sizes, names of segments and escapes were found sound."""
    separators = _separators(text)
    if sum(map(text.count, separators[1:3] + separators[4])) > MOST_PARTS:
        raise Hl7Error("has too many parts", code=WRONG_TYPE, at=At("MSH"), mend=f"Send {MOST_PARTS} at most.")
    counts: dict[str, int] = {}
    places: list[At] = []
    for line in text.split("\r"):
        name = line[:3]
        counts[name] = counts.get(name, 0) + 1
        at = At(name, counts[name])
        if not _NAME.fullmatch(name) or line[3:4] not in ("", separators[0]):
            raise Hl7Error(
                f"{line[:12]!r} is no segment", code=SEQUENCE, at=At(places[-1].segment, places[-1].number),
                mend="After this segment comes a name of three letters and the field separator.",
            )  # fmt: skip
        _check_sizes(line, at, separators)
        places.append(at)
    whole = hl7.parse(text)
    return Message(
        tuple(Segment(at.segment, at, part, whole) for at, part in zip(places, whole, strict=True)), separators
    )


def _separators(text: str) -> str:
    """MSH-1 and MSH-2: five different signs that are no letters, digits or blanks."""
    head = At(text[:3] or "MSH")
    field = text[3:4]
    end = text.find(field, 4) if field else -1
    encoding = text[4:end] if end > 0 else text[4:].split("\r")[0]
    if not field or field.isalnum() or field.isspace() or not field.isascii():
        raise Hl7Error(f"{field!r} is no field separator", code=WRONG_TYPE, at=head.of(1), mend="Send |.")
    signs = field + encoding[:4]
    strange = [sign for sign in signs if sign.isalnum() or sign.isspace() or not sign.isascii()]
    # a fifth sign (truncation, from v2.7) says nothing about how to read
    if len(encoding) not in (4, 5) or strange or len(set(signs)) != 5:
        raise Hl7Error(
            f"{encoding[:12]!r} are no encoding characters", code=WRONG_TYPE, at=head.of(2), mend=r"Send ^~\&."
        )
    return signs


def _check_sizes(line: str, at: At, separators: str) -> None:
    cells = line.split(separators[0])
    first = 1 if at.segment in ("MSH", "BHS", "FHS") else 0  # its field 1 is the separator itself
    if len(cells) + first > MOST_FIELDS + 1:
        raise Hl7Error(
            f"has {len(cells) + first - 1} fields", code=SEQUENCE, at=at, mend=f"Send {MOST_FIELDS} at most."
        )
    for number, cell in enumerate(cells[1:], start=1):
        field = number + first
        if first and number == 1:
            continue  # the encoding characters
        for escape in _escapes(cell, separators[3], at.of(field)):
            if not _ESCAPE.fullmatch(escape):
                raise Hl7Error(
                    f"{escape[:12]!r} is no escape read here", code=WRONG_TYPE, at=at.of(field),
                    mend=r"Send \F\ \S\ \T\ \R\ \E\ or \Xhh\.",
                )  # fmt: skip
            if escape[0] == "X" and any(not 0x20 <= byte < 0x7F for byte in bytes.fromhex(escape[1:])):
                raise Hl7Error(
                    f"the escape {escape[:12]!r} stands for what does not print", code=WRONG_TYPE, at=at.of(field),
                    mend="Leave it out.",
                )  # fmt: skip


def _escapes(cell: str, sign: str, at: At) -> Iterator[str]:
    parts = cell.split(sign)
    if len(parts) % 2 == 0:
        raise Hl7Error("an escape does not end", code=WRONG_TYPE, at=at, mend=f"Send {sign} itself as {sign}E{sign}.")
    yield from parts[1::2]


def _charset(text: str) -> str:
    """MSH-18 of the first message, before its bytes are read as letters: what they mean hangs on it."""
    start = max(text.find("MSH"), 0)
    first = re.split(r"[\r\n]", text[start : start + 4096], maxsplit=1)[0]
    cells = first.split(first[3:4]) if len(first) > 3 else []
    if len(cells) < 18:
        return ""
    signs = cells[1]
    return cells[17].split(signs[1:2] or "~")[0].strip()


def _place_in(before: str) -> At:
    """The segment and field in which a text goes on."""
    lines = re.split(r"[\r\n]+", before)
    name = lines[-1][:3] if _NAME.fullmatch(lines[-1][:3]) else "MSH"
    sign = before[3:4] or "|"
    number = sum(line[:3] == name for line in lines)
    field = lines[-1].count(sign) + (1 if name in ("MSH", "BHS", "FHS") else 0)
    return At(name, max(number, 1), field)


def escaped(text: str) -> str:
    r"""As the text of one field, where the separators are |^~\&."""
    return text.translate(_ESCAPED)


def required(segment: Segment, field: int, component: int = 1) -> str:
    """A component that must be there."""
    return _there(segment, field, component, segment.code(field, component))


def required_alone(segment: Segment, field: int) -> str:
    """A field of one part that must be there."""
    return _there(segment, field, 1, segment.only(field))


def _there(segment: Segment, field: int, component: int, found: str) -> str:
    if not found:
        raise Hl7Error("is missing", code=MISSING, at=segment.at.of(field, component if component > 1 else 0),
                       mend="Send it.")  # fmt: skip
    return found
