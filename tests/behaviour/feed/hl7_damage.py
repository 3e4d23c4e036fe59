"""Damaged messages by named families: each is the good message with one thing wrong, and says where that is.

The good ones are GOOD (an outside example) and the program's own message of a unit's reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from behaviour.feed.a_message import GOOD, field_of, unit_message, with_field, without

UNIT = unit_message()
HEAD, REST = GOOD.split("\r", 1)


@dataclass(frozen=True)
class Damaged:
    """A message that must be refused. answer: MSA-1. place: ERR-2 of the first fault. says: part of its ERR-8."""

    family: str
    name: str
    frame: bytes
    answer: str
    place: str
    says: str

    @property
    def id(self) -> str:
        return f"{self.family}: {self.name}"


def all_damaged() -> list[Damaged]:
    return [one for family in FAMILIES for one in family()]


def _one(family: str, name: str, text: str | bytes, place: str, says: str, answer: str = "AE") -> Damaged:
    frame = text if isinstance(text, bytes) else text.encode("latin-1")
    return Damaged(family, name, frame, answer, place, says)


def the_header() -> Iterator[Damaged]:
    family = "header"
    yield _one(family, "no MSH", REST, "MSH^1", "not with MSH")
    yield _one(family, "MSH after PID", REST.split("\r")[0] + "\r" + GOOD, "MSH^1", "not with MSH")
    yield _one(family, "small letters", GOOD.replace("MSH", "msh", 1), "MSH^1", "not with MSH")
    yield _one(family, "blank before", " " + GOOD, "MSH^1", "not with MSH")
    yield _one(family, "a second MSH", GOOD + "\r" + HEAD, "MSH^2", "in the middle of a message")
    for field in (3, 7, 9, 10, 11, 12):
        yield _one(family, f"no MSH-{field}", with_field(GOOD, "MSH", 1, field, ""), f"MSH^1^{field}", "is missing")
    for field in (3, 10, 11, 12):
        broken = with_field(GOOD, "MSH", 1, field, field_of(GOOD, "MSH", 1, field) + " ")
        yield _one(family, f"a blank in MSH-{field}", broken, f"MSH^1^{field}^1^1", "stray blank")
    for field in (3, 10):
        yield _one(family, f"MSH-{field} without end", with_field(GOOD, "MSH", 1, field, "x" * 300),
                   f"MSH^1^{field}", "too long")  # fmt: skip


def the_kind() -> Iterator[Damaged]:
    family = "kind of message"
    for kind in ("ADT^A04", "ADT^A08", "ORM^O01", "ACK^R01", "MDM^T02", "SIU^S12", "DFT^P03", "OMG^O19", "QBP^Q11"):
        yield _one(family, kind, with_field(GOOD, "MSH", 1, 9, kind), "MSH^1^9^1^1", "is not taken here", "AR")
    for event in ("R40", "R03", "R30", "W01", "r01", ""):
        yield _one(family, f"ORU^{event}", with_field(GOOD, "MSH", 1, 9, f"ORU^{event}"), "MSH^1^9^1^2",
                   "is not taken here", "AR")  # fmt: skip
    yield _one(family, "ORU^R01^ORU_R30", with_field(GOOD, "MSH", 1, 9, "ORU^R01^ORU_R30"), "MSH^1^9^1^3",
               "is not taken here", "AR")  # fmt: skip
    for version in ("1.0", "2.1", "2.2", "3.0", "2.6.1", "2", "two", "2,6"):
        yield _one(family, f"version {version}", with_field(GOOD, "MSH", 1, 12, version), "MSH^1^12",
                   f"version '{version}'", "AR")  # fmt: skip
    for use in ("T", "X", "p", "PD"):
        yield _one(family, f"processing {use}", with_field(GOOD, "MSH", 1, 11, use), "MSH^1^11", f"'{use}'", "AR")


def separators() -> Iterator[Damaged]:
    family = "separators"
    for signs in ("", "^", "^~", "^~\\", "^^\\&", "^~\\^", "abcd", "^~\\&#!", "^~ &", "^|\\&", "1234"):
        broken = GOOD.replace("^~\\&", signs, 1)
        yield _one(family, f"MSH-2 {signs!r}", broken, "MSH^1^2", "no encoding characters")
    for sign in "A1 ":
        yield _one(family, f"MSH-1 {sign!r}", GOOD.replace("|", sign), "MSH^1^1", "no field separator")
    for place, sign in (("OBX", "^"), ("PID", "&")):
        which = 1 if place == "PID" else 4
        lines = GOOD.split("\r")
        at = [n for n, line in enumerate(lines) if line[:3] == place][which - 1]
        lines[at] = lines[at].replace("|", sign)
        before = lines[at - 1][:3]
        yield _one(family, f"{place} parted by {sign}", "\r".join(lines), f"{before}^{3 if before == 'OBX' else 1}",
                   "is no segment")  # fmt: skip


BAD_TIMES = {
    "the year alone": "2021", "the day alone": "20210425", "the hour alone": "2021042523",
    "month 13": "20211325230332-0400",
    "30 February": "20210230230332-0400", "hour 25": "20210425250332-0400", "minute 60": "20210425236032-0400",
    "second 61": "20210425230361-0400", "ISO 8601": "2021-04-25T23:03:32Z", "a word": "yesterday",
    "offset -2500": "20210425230332-2500", "offset in hours": "20210425230332-04",
    "decimal comma": "20210425230332,8-0400",
    "the year 1800": "18000425230332-0400", "five decimals": "20210425230332.12345-0400", "a date of Excel": "44311.96",
}  # fmt: skip


def times() -> Iterator[Damaged]:
    for name, text in BAD_TIMES.items():
        for segment, which, field in (("MSH", 1, 7), ("OBR", 1, 7), ("OBX", 4, 14)):
            broken = with_field(GOOD, segment, which, field, text)
            yield _one("time", f"{name} in {segment}-{field}", broken, f"{segment}^{which}^{field}", repr(text)[:12])
    naive = with_field(with_field(GOOD, "MSH", 1, 7, "20210425230332"), "OBR", 1, 7, "20210425230331")
    yield _one("time", "no offset anywhere", naive, "OBR^1^7", "zone is not said")
    yield _one("time", "no time at all", with_field(GOOD, "OBR", 1, 7, ""), "OBX^4^14", "no time is told")
    yield _one("time", "ends before it begins", with_field(GOOD, "OBR", 1, 8, "20210425230330-0400"), "OBR^1^8",
               "ends before it begins")  # fmt: skip
    yield _one(
        "time", "tomorrow", with_field(GOOD, "OBX", 4, 14, "20210428000000+0000"), "OBX^4^14", "ahead of the clock"
    )
    yield _one("time", "last year", with_field(GOOD, "OBX", 4, 14, "20200401000000+0000"), "OBX^4^14", "long before")


def the_patient() -> Iterator[Damaged]:
    family = "patient"
    yield _one(family, "no PID", without(GOOD, "PID"), "PID^1", "is missing")
    yield _one(family, "PID-3 empty", with_field(GOOD, "PID", 1, 3, ""), "PID^1", "is missing")
    for name, ids, says in (
        ("a visit number alone", "6789^^^Hospital^VN", "no identifier of type MR"),
        ("no type", "12345", "no identifier of type MR"),
        ("type in small letters", "12345^^^Hospital^mr", "no identifier of type MR"),
        ("two numbers", "12345^^^Hospital^MR~6789^^^Hospital^MR", "2 identifiers of type MR"),
        ("one number of two hospitals", "12345^^^Hospital^MR~12345^^^Elsewhere^MR", "2 identifiers of type MR"),
        ("nobody here", "99999^^^Hospital^MR", "nobody with this identifier"),
        ("a nought in front", "012345^^^Hospital^MR", "nobody with this identifier"),
        ("one digit less", "1234^^^Hospital^MR", "nobody with this identifier"),
        ("a star", "123*5^^^Hospital^MR", "nobody with this identifier"),
    ):
        yield _one(family, name, with_field(GOOD, "PID", 1, 3, ids), "PID^1^3", says)
    yield _one(family, "a blank in the number", with_field(GOOD, "PID", 1, 3, "12345 ^^^Hospital^MR"), "PID^1^3^1^1",
               "stray blank")  # fmt: skip
    yield _one(family, "no number", with_field(GOOD, "PID", 1, 3, "^^^Hospital^MR"), "PID^1^3^1^1", "is missing")
    pid = GOOD.split("\r")[1]
    yield _one(family, "PID twice", GOOD.replace(pid, f"{pid}\r{pid}"), "PID^2", "a second time")
    yield _one(family, "PID last", without(GOOD, "PID") + f"\r{pid}", "PID^1", "after its results")
    yield _one(family, "two patients", f"{GOOD}\r{pid.replace('12345', '6789')}", "PID^2", "a second time")


def the_order() -> Iterator[Damaged]:
    family = "segments"
    yield _one(family, "no OBR", without(without(GOOD, "OBR", 2), "OBR"), "OBX^1", "under no OBR")
    yield _one(family, "no OBX", "\r".join(GOOD.split("\r")[:4]), "OBX^1", "is missing")
    yield _one(family, "the header alone", HEAD, "OBR^1", "is missing")
    for number in (1, 2):
        yield _one(family, f"OBR {number} asks for nothing", with_field(GOOD, "OBR", number, 4, ""), f"OBR^{number}^4",
                   "is missing")  # fmt: skip
        broken = with_field(GOOD, "OBR", number, 3, "0009fbFFFF9b42b3^^^EUI-64".replace("^^", "^MDC ^"))
        yield _one(family, f"a blank in OBR {number}", broken, f"OBR^{number}^3^1^2", "stray blank")
    for name in ("OBY", "ABC", "EVN", "QRD"):
        yield _one(family, f"{name} is no part of it", f"{GOOD}\r{name}|1", f"{name}^1", "no segment of ORU^R01")
    for line in ("obx|1", "1BX|1", "OB|1", "OBX1|NM", "OBX;8;NM", "free text"):
        yield _one(family, f"{line!r}", f"{GOOD}\r{line}", "OBX^7", "is no segment")


def observations() -> Iterator[Damaged]:
    family = "observation"
    for number in range(1, 8):
        yield _one(family, f"OBX {number} without OBX-3", with_field(GOOD, "OBX", number, 3, ""), f"OBX^{number}^3",
                   "is missing")  # fmt: skip
        yield _one(family, f"OBX {number} without OBX-11", with_field(GOOD, "OBX", number, 11, ""), f"OBX^{number}^11",
                   "has no status")  # fmt: skip
        yield _one(family, f"OBX {number} final", with_field(GOOD, "OBX", number, 11, "final"), f"OBX^{number}^11",
                   "'final' is no status")  # fmt: skip
    for number, before in ((2, 4), (3, 5), (4, 6), (5, 7), (5, 4), (7, 10)):
        yield _one(family, f"OBX {number} has set id {before}", with_field(GOOD, "OBX", number, 1, str(before)),
                   f"OBX^{number}^1", "stands twice")  # fmt: skip
    for told in ("x", "-1", "1.5", "99999", "1e3"):
        yield _one(family, f"set id {told}", with_field(GOOD, "OBX", 4, 1, told), "OBX^4^1", "is no set id")
    for type_ in ("XX", "NUM", "nm", "INT", "N"):
        yield _one(family, f"type {type_}", with_field(GOOD, "OBX", 4, 2, type_), "OBX^4^2", "no type of value")
    yield _one(family, "no type", with_field(GOOD, "OBX", 4, 2, ""), "OBX^4^2", "has a value and no type")
    for type_ in ("ST", "TX", "FT", "CWE"):
        yield _one(family, f"a rate as {type_}", with_field(GOOD, "OBX", 4, 2, type_), "OBX^4^2",
                   f"heart_rate is a number, and {type_}")  # fmt: skip
    for type_ in ("TS", "DT", "TM", "DTM"):
        yield _one(family, f"a rhythm as {type_}", with_field(GOOD, "OBX", 5, 2, type_), "OBX^5^5", f"is no {type_}")
    yield _one(family, "a value that cannot be obtained", with_field(GOOD, "OBX", 4, 11, "X"), "OBX^4^5",
               "status X says that there is none")  # fmt: skip
    for status in "DW":
        yield _one(family, f"status {status} of what is not here", with_field(GOOD, "OBX", 4, 11, status), "OBX^4^11",
                   "takes back what is not here")  # fmt: skip
    yield _one(family, "nothing known here", without(GOOD, "OBX", 4), "OBX^4", "nothing in this message")


BAD_NUMBERS = ("sixty", "6o", "60 bpm", "60,5", "1_000", "nan", "inf", "1e3", "--60", "+-6", "6.0.5", "0x3C", ".",
               "-", "%60", "60;70", "1" * 17)  # fmt: skip


def numbers() -> Iterator[Damaged]:
    family = "number"
    for text in BAD_NUMBERS:
        yield _one(family, f"NM {text!r}", with_field(GOOD, "OBX", 4, 5, text), "OBX^4^5", "is no number")
    waveform = field_of(GOOD, "OBX", 7, 5).split("^")
    for place in range(1, len(waveform) + 1):
        samples = list(waveform)
        samples[place - 1] = "- 5"
        yield _one(family, f"sample {place} of the waveform", with_field(GOOD, "OBX", 7, 5, "^".join(samples)),
                   f"OBX^7^5^1^{place}", "is no number")  # fmt: skip
    yield _one(family, "several rates", with_field(GOOD, "OBX", 4, 5, "60~61"), "OBX^4^5", "several values")
    yield _one(family, "components", with_field(GOOD, "OBX", 4, 5, "60^61"), "OBX^4^5", "has components")
    yield _one(family, "below nothing", with_field(GOOD, "OBX", 4, 5, "-5"), "OBX^4^5", "below 0")
    for text in ("60", "^", "^60^x", ">>^60", "^^60"):
        broken = with_field(with_field(GOOD, "OBX", 4, 2, "SN"), "OBX", 4, 5, text)
        yield _one(family, f"SN {text!r}", broken, "OBX^4^5", "is no SN")


def units() -> Iterator[Damaged]:
    family = "unit"
    yield _one(family, "none", with_field(GOOD, "OBX", 4, 6, ""), "OBX^4^6", "has no unit")
    for text in (
        "bpm", "/min", "264864", "264864^MDC_DIM_BEAT_PER_MIN", "264864^^MDC", "264896^MDC_DIM_BEAT_PER_MIN^MDC",
        "264864^MDC_DIM_RESP_PER_MIN^MDC", "BPM^^UCUM", "bpm^bpm^UCUM", "/MIN^^UCUM", "264864^MDC_DIM_BEAT_PER_MIN^LN",
    ):  # fmt: skip
        yield _one(family, text, with_field(GOOD, "OBX", 4, 6, text), "OBX^4^6", "is no unit read here")
    for text in ("mm[Hg]^^UCUM", "%^^UCUM", "mL^^UCUM", "266016^MDC_DIM_MMHG^MDC"):
        yield _one(family, f"a rate in {text}", with_field(GOOD, "OBX", 4, 6, text), "OBX^4^6", "is not a unit of rate")
    both = "264864^MDC_DIM_BEAT_PER_MIN^MDC^%^percent^UCUM"
    yield _one(family, "two", with_field(GOOD, "OBX", 4, 6, both), "OBX^4^6", "says two units")
    yield _one(family, "a blank", with_field(GOOD, "OBX", 4, 6, "/min ^^UCUM"), "OBX^4^6^1^1", "stray blank")


def characters() -> Iterator[Damaged]:
    family = "characters"
    for number in (*range(0x20), 0x7F):
        if chr(number) not in "\r\n\x0b\x1c":  # ends of segments and frames: test_mllp.py has those
            yield _one(family, f"{number:#04x}", with_field(GOOD, "OBX", 5, 5, f"A{chr(number)}B"), "OBX^5^5",
                       f"({number:#04x})")  # fmt: skip
    yield _one(family, "Latin 1 as ASCII", with_field(with_field(GOOD, "MSH", 1, 18, ""), "PID", 1, 5, "Müller"),
               "PID^1^5", "is not ASCII")  # fmt: skip
    as_utf8 = with_field(GOOD, "MSH", 1, 18, "UNICODE UTF-8")
    yield _one(family, "Latin 1 as UTF-8", with_field(as_utf8, "PID", 1, 5, "Müller"), "PID^1^5", "is not UNI")
    for name in ("UTF-16", "8859/99", "utf8", "ISO IR87"):
        yield _one(family, f"charset {name}", with_field(GOOD, "MSH", 1, 18, name), "MSH^1^18", "no character set")
    for escape, says in (
        ("\\Z1\\", "is no escape"), ("\\C2842\\", "is no escape"), ("\\XG1\\", "is no escape"), ("\\F", "does not end"),
        ("\\X0D\\", "does not print"), ("\\X0B\\", "does not print"), ("\\X1C0D\\", "does not print"),
    ):  # fmt: skip
        yield _one(family, f"escape {escape}", with_field(GOOD, "OBX", 5, 5, f"A{escape}B"), "OBX^5^5", says)
    utf16 = GOOD.encode("utf-16-le")
    yield _one(family, "UTF-16", utf16, "MSH^1^1", "control character (0x00)")


def sizes() -> Iterator[Damaged]:
    family = "size"
    yield _one(family, "segments", GOOD + "\rNTE|1||x" * 1000, "MSH^1", "segments")
    yield _one(family, "fields", GOOD + "\rNTE|" + "|" * 100, "NTE^1", "fields")
    yield _one(family, "parts", with_field(GOOD, "OBX", 7, 5, "1^" * 17_000 + "1"), "MSH^1", "too many parts")
    yield _one(family, "bytes", with_field(GOOD, "OBX", 5, 5, "x" * 262_144), "MSH^1", "bytes long")


def cut_short() -> Iterator[Damaged]:
    """The frame is whole, the message in it is not."""
    family = "cut short"
    head, rate = HEAD.split("|"), GOOD.split("\r")[7].split("|")
    for field in range(2, 12):
        text = "|".join(head[:field])
        yield _one(family, f"after MSH-{field}", text, "MSH^1^9" if field < 9 else "MSH^1^12", "is missing")
    for field in range(3, 11):  # the status comes after what it speaks of
        text = "\r".join([*GOOD.split("\r")[:7], "|".join(rate[: field + 1])])
        yield _one(family, f"after OBX-{field}", text, "OBX^4^11", "has no status")
    for segment in range(1, 3):
        text = "\r".join(GOOD.split("\r")[: segment + 1])
        yield _one(family, f"after segment {segment + 1}", text, "OBR^1", "is missing")


def readings() -> Iterator[Damaged]:
    """A unit's own: in UNIT OBX 4 and 5 are flow, 6 to 8 pressure, then set suction, battery, fluid, mains, state."""
    family = "reading"
    yield _one(family, "no serial", with_field(UNIT, "OBX", 1, 18, ""), "OBX^4^18", "no serial number")
    yield _one(family, "a strange serial", with_field(UNIT, "OBX", 1, 18, "SN 41"), "OBX^4^18", "is no serial number")
    yield _one(family, "an unregistered unit", with_field(UNIT, "OBX", 1, 18, "SN-99"), "OBR^1", "not registered")
    yield _one(family, "two serials", with_field(UNIT, "OBX", 1, 18, "SN-41~SN-42"), "OBX^1^18", "several instances")
    yield _one(family, "two units", with_field(UNIT, "OBX", 6, 18, "SN-42"), "OBX^4^18", "two units")
    yield _one(
        family, "another patient's unit", with_field(UNIT, "OBX", 1, 18, "SN-42"), "PID^1^3", "another patient's"
    )
    yield _one(family, "another patient", with_field(UNIT, "PID", 1, 3, "6789^^^^MR"), "PID^1^3", "another patient's")
    yield _one(family, "nobody here", with_field(UNIT, "PID", 1, 3, "777^^^^MR"), "PID^1^3", "nobody with this")
    yield _one(
        family, "no count", with_field(UNIT, "MSH", 1, 13, ""), "MSH^1^13", "count of the unit's reading is missing"
    )
    for count in ("x", "-1", "1.5", "12345678901234567"):
        yield _one(family, f"count {count}", with_field(UNIT, "MSH", 1, 13, count), "MSH^1^13", "is no count")
    yield _one(family, "a count beyond all", with_field(UNIT, "MSH", 1, 13, "9" * 16), "MSH^1^13", "out of range")
    for which, measure in ((4, "flow"), (6, "pressure"), (9, "set_suction"), (10, "battery"), (11, "fluid")):
        yield _one(
            family, f"{measure} without unit", with_field(UNIT, "OBX", which, 6, ""), f"OBX^{which}^6", "has no unit"
        )
        yield _one(
            family, f"{measure} in words", with_field(UNIT, "OBX", which, 5, "some"), f"OBX^{which}^5", "no number"
        )
        yield _one(
            family, f"{measure} as text", with_field(UNIT, "OBX", which, 2, "ST"), f"OBX^{which}^2", "is a number"
        )
        yield _one(
            family, f"{measure} by weight", with_field(UNIT, "OBX", which, 6, "kg^^UCUM"), f"OBX^{which}^6", "kg"
        )
        bound = with_field(with_field(UNIT, "OBX", which, 2, "SN"), "OBX", which, 5, "<^5")
        yield _one(family, f"{measure} as a bound", bound, f"OBX^{which}^5", "is a bound")
        yield _one(family, f"{measure} beyond meaning", with_field(UNIT, "OBX", which, 5, "900000000"),
                   f"OBX^{which}^5", "is beyond")  # fmt: skip
        yield _one(family, f"{measure} corrected", with_field(UNIT, "OBX", which, 11, "C"), f"OBX^{which}^11",
                   "not corrected by message")  # fmt: skip
    for which, measure in ((10, "battery"), (11, "fluid")):
        yield _one(
            family, f"{measure} below nothing", with_field(UNIT, "OBX", which, 5, "-1"), f"OBX^{which}^5", "below zero"
        )
    for which, word in ((12, "maybe"), (12, "y"), (13, "SPINNING"), (13, "run")):
        yield _one(family, f"word {word}", with_field(UNIT, "OBX", which, 5, word), f"OBX^{which}^5", "is no word")
    yield _one(family, "largest flow in L", with_field(UNIT, "OBX", 5, 6, "L/min^^UCUM"), "OBX^5^6", "is in L/min")
    yield _one(family, "largest flow alone", without(UNIT, "OBX", 4), "OBX^4", "without flow")
    flow = next(line for line in UNIT.split("\r") if "|FLOW^" in line)
    yield _one(family, "flow twice", UNIT + "\r" + flow.replace("OBX|4", "OBX|14"), "OBX^14", "flow stands twice")
    yield _one(family, "of another moment", with_field(UNIT, "OBX", 6, 14, "20210426110000+0000"), "OBX^6^14",
               "of another moment")  # fmt: skip


FAMILIES = (
    the_header, the_kind, separators, times, the_patient, the_order, observations, numbers, units, characters, sizes,
    cut_short, readings,
)  # fmt: skip
