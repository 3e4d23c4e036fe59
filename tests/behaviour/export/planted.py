"""Invented drains with an identifier of each of the 18 kinds planted wherever a text can stand, and a search for them.

The kinds: Safe Harbor, 45 CFR 164.514(b)(2)(i)(A) to (R), as reprinted at
www.hopkinsmedicine.org/institutional_review_board/hipaa_research/de_identified_data.html. Everything here is drawn by
chance: no real person, place or number.
"""

from __future__ import annotations

import base64
import csv
import gzip
import html
import io
import json
import random
import re
import unicodedata
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, unquote

import polars

from behaviour.store.a_drain import LAYOUT_TEXT, RULE, START_MS, log_rows, log_text, stamp
from slackwater.assessment.assess import assess
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import INDICATIONS, OPERATIONS, read_episode
from slackwater.export.material import Material, Removal, Stretch, of_files
from slackwater.protocol.load import load_protocol
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log

KINDS = {
    "A": "name", "B": "place smaller than a state", "C": "date", "D": "telephone", "E": "fax", "F": "e-mail",
    "G": "social security", "H": "medical record", "I": "health plan", "J": "account", "K": "certificate or licence",
    "L": "vehicle and its plate", "M": "device and its serial number", "N": "URL", "O": "IP address", "P": "biometric",
    "Q": "picture", "R": "any other unique number or code",
}  # fmt: skip
_BEGIN = ("Zwir", "Quen", "Osch", "Fjal", "Krum", "Wolp", "Yttr", "Xand", "Hjol", "Blim")
_MIDDLE = ("nba", "dela", "atzi", "lörg", "mgra", "tinge", "belka", "ürsto", "vendro", "schka")
_END = ("ch", "mann", "stein", "witz", "berga", "quist", "ödt", "hausen", "ovic", "lund")


def _name(chance: random.Random) -> str:
    return chance.choice(_BEGIN) + chance.choice(_MIDDLE) + chance.choice(_END)


def _digits(chance: random.Random, many: int) -> str:
    """Digits no two of which repeat at once, so that flows and times do not look like them."""
    out = [chance.randint(1, 9)]
    while len(out) < many:
        out.append(chance.choice([digit for digit in range(10) if digit != out[-1]]))
    return "".join(map(str, out))


def identity(chance: random.Random) -> dict[str, str]:
    """One invented person: an identifier of each kind, as it would be written."""
    first, last, town = _name(chance), _name(chance), _name(chance)
    number = lambda many: _digits(chance, many)  # noqa: E731
    born = f"{chance.randint(1931, 1999)}-{chance.randint(1, 12):02}-{chance.randint(10, 28)}"
    host = f"{_name(chance).encode('ascii', 'ignore').decode().lower()}{number(3)}.example"
    blob = base64.b64encode(chance.randbytes(24)).decode()
    return {
        "A": f"{first} {last}", "B": f"{_name(chance)}gasse {number(2)}, {number(5)} {town}",
        "C": born, "D": f"+43 {number(3)} {number(3)} {number(4)}", "E": f"Fax 0{number(3)}/{number(7)}",
        "F": f"{last.encode('ascii', 'ignore').decode().lower()}.{number(4)}@{host}",
        "G": f"{number(3)}-{number(2)}-{number(4)}", "H": f"MRN{number(9)}", "I": f"HPB-{number(4)}-{number(6)}",
        "J": f"AT{number(2)} {number(4)} {number(4)} {number(4)}", "K": f"LIC/{number(8)}-{first[:2].upper()}",
        "L": f"W-{number(5)} QZX VIN{number(8)}", "M": f"SN-{number(6)}-QX{number(4)}",
        "N": f"https://{host}/patients/{number(8)}?q={last}", "O": f"203.0.113.{chance.randint(10, 99)}:{number(5)}",
        "P": f"iris:{blob}", "Q": f"data:image/jpeg;base64,{base64.b64encode(chance.randbytes(36)).decode()}",
        "R": f"trial-{number(4)}-{_name(chance)}-{number(4)}",
    }  # fmt: skip


WRITTEN: dict[str, Callable[[str], str]] = {
    "plain": str, "upper": str.upper, "lower": str.lower, "spaced": " ".join,
    "url": lambda text: quote(text, safe=""), "base64": lambda text: base64.b64encode(text.encode()).decode(),
    "json": lambda text: json.dumps(text)[1:-1], "html": lambda text: "".join(f"&#{ord(one)};" for one in text),
    "hex": lambda text: text.encode().hex(),
    "dashes": lambda text: re.sub(r"(.{3})", r"\1-", text),
}  # fmt: skip
"""Ways in which somebody, or some program, may have written it."""


def slug(text: str) -> str:
    """As a plain word of an episode or a rule: small letters, digits, underscores."""
    return "x" + re.sub(r"[^a-z0-9]+", "_", _plain(text).lower())[:36].strip("_")


@dataclass(frozen=True)
class Planted:
    """A drain that names somebody everywhere. `where`: kind and way of writing of each place."""

    number: int
    of: Material
    who: Mapping[str, str]
    where: Mapping[str, tuple[str, str]]
    rule: bytes


FREE = (
    "patient", "drain number", "other drain", "unit shared with", "space shared with", "site", "goal", "log file",
    "chart file", "layout file", "serial", "second serial", "bad cell", "rule name", "rule version", "rule file",
    "approved by", "rule source", "rule notes", "clause source", "clause say", "removed by", "note row", "site row",
    "row of an unknown item", "note of fluid", "note of an order", "note of a clamp", "note of a cough",
    "by of fluid", "by of an order", "by of swing", "drain of a row", "destination", "lot", "kind of hold",
)  # fmt: skip
WORDS = ("indication", "operation", "clause id", "rule excludes", "rule indication", "unknown item")


def planted(number: int, *, in_rule: bool = True) -> Planted:
    """The drain of that number: 18 kinds, each in at least one free text; the same number, the same drain.

    in_rule: also in what a rule is called by, and in its own words.
    """
    chance = random.Random(number)
    who = identity(chance)
    kinds = [*KINDS, *chance.choices(list(KINDS), k=len(FREE) - len(KINDS))]
    chance.shuffle(kinds)
    where = {place: (kind, chance.choice(list(WRITTEN))) for place, kind in zip(FREE, kinds, strict=True)}
    where |= {place: (chance.choice([kind for kind in KINDS if kind not in "PQ"]), "word") for place in WORDS}
    texts = {
        place: slug(who[kind]) if way == "word" else WRITTEN[way](who[kind]) for place, (kind, way) in where.items()
    }
    texts |= {place: f"{texts[place]} other" for place in ("other drain", "unit shared with", "space shared with")}
    if not in_rule:
        own = {"rule name": "small-50", "rule version": "1", "clause id": "air", "rule excludes": "invasive"}
        texts |= {**own, "rule indication": "empyema"}
        where = {place: told for place, told in where.items() if place not in (*own, "rule indication")}
    rule = _rule(texts, chance)
    of = of_files(_found(texts, rule, chance))
    stretches = tuple(
        Stretch(what, texts[place], START_MS + 1_800_000, of.found.as_of_ms)
        for what, place in (("trip", "destination"), ("canister", "lot"), ("hold", "kind of hold"))
    )
    of = replace(of, removal=Removal("planned", of.found.as_of_ms, texts["removed by"]), stretches=stretches)
    return Planted(number, of, who, where, rule)


def _found(texts: Mapping[str, str], rule: bytes, chance: random.Random) -> Any:
    minutes = chance.randint(75, 110)
    layout = Layout.from_toml(LAYOUT_TEXT, texts["layout file"])
    serials = [re.sub(r'[,"\n]', ";", texts[name]) for name in ("serial", "second serial")]
    half = minutes // 2
    leak = chance.choice((0, 20, 120))
    lines = [*log_rows(0, half, serials[0], leak), *log_rows(half, minutes, serials[1], leak)]
    cells = lines[half // 2].split(",")
    lines[half // 2] = ",".join([cells[0], re.sub(r'[,"\n]', ";", texts["bad cell"]), *cells[2:]])
    episode = _episode(texts, chance)
    return assess(
        [read_log(log_text(lines), layout, texts["log file"])],
        chart=read_chart(_chart(texts), texts["chart file"]),
        episode=read_episode(episode.encode(), "episode.toml"),
        protocol=load_protocol(rule, texts["rule file"]),
    )


def _episode(texts: Mapping[str, str], chance: random.Random) -> str:
    say = lambda name: json.dumps(texts[name], ensure_ascii=False)  # noqa: E731
    named = chance.random() < 0.5  # else words of the lists
    indication = texts["rule indication"] if chance.random() < 0.3 else chance.choice(INDICATIONS)
    return "\n".join(
        [
            f"goal = {say('goal')}", f"indication = {say('indication') if named else json.dumps(indication)}",
            'breathing = "own"', "[patient]", f"id = {say('patient')}",
            f"age_years = {chance.choice((54, 77, 90, 104))}",
            "weight_kg = 71", "[drain]", f"number = {say('drain number')}", 'side = "left"', 'space = "pleural"',
            f"site = {say('site')}", f"shares_unit_with = [{say('unit shared with')}]",
            f"shares_space_with = [{say('space shared with')}]", f"other_drains = [{say('other drain')}]",
            f'connected_at = "{stamp(0)}"', "[operation]",
            f"kind = {say('operation') if named else json.dumps(chance.choice(OPERATIONS))}", f'end = "{stamp(-90)}"',
        ]
    )  # fmt: skip


def _chart(texts: Mapping[str, str]) -> bytes:
    own = texts["drain number"]
    rows = [
        (10, "fluid_output", "20", "mL", texts["note of fluid"], own, texts["by of fluid"]),
        (15, "suction_ordered", "-10", "cmH2O", texts["note of an order"], own, texts["by of an order"]),
        (20, "swing", "present", "", "", own, texts["by of swing"]),
        (25, "clamp", "on", "", f"handling {texts['note of a clamp']}", own, ""),
        (27, "clamp", "off", "", texts["note of a clamp"], own, ""),
        (30, "cough", "no_leak", "", texts["note of a cough"], own, ""),
        (32, "note", texts["note row"], "", "", own, ""),
        (33, "site", texts["site row"], "", "", own, ""),
        (34, texts["unknown item"], texts["row of an unknown item"], "", "", own, ""),
        (40, "fluid_output", "15", "mL", "", texts["drain of a row"], ""),
        (60, "tube_open", "yes", "", "", own, ""),
        (65, "fluid_output", "10", "mL", "", own, ""),
        (66, "weight", "71", "kg", "", "", ""),
    ]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", "item", "value", "unit", "note", "drain", "by"])
    writer.writerows([stamp(at), *rest] for at, *rest in rows)
    return out.getvalue().encode()


def _rule(texts: Mapping[str, str], chance: random.Random) -> bytes:
    say = lambda name: json.dumps(texts[name], ensure_ascii=False)  # noqa: E731
    applies = [f"excludes = [{say('rule excludes')}]"]
    if chance.random() < 0.7:
        applies.append(f'indication = [{say("rule indication")}, "lung_resection"]')
    made = RULE.decode().replace('name = "small-50"', f"name = {say('rule name')}")
    made = made.replace('version = "1"', f"version = {say('rule version')}\nnotes = {say('rule notes')}")
    made = made.replace('status = "example"', f'status = "approved"\napproved_by = {say("approved by")}')
    made = made.replace('source = "invented for the tests"', f"source = {say('rule source')}")
    made = made.replace("[applies]", "\n".join(["[applies]", *applies]))
    made = made.replace('id = "air"', f"id = {say('clause id')}\nsource = {say('clause source')}")
    extra = (
        f'[[escalation]]\nid = "much"\nmeasure = "fluid_output"\nis = "at_least"\nlimit = "900 mL"\nwithin = "1 h"\n'
        f'data_age = "4 h"\nsay = {say("clause say")}\nsource = {say("clause source")}\n'
    )
    return (made + extra).encode()


# --- the search -------------------------------------------------------------------------------------


def everything(name: str, data: bytes) -> Iterator[str]:
    """All that can be read of a file: archives opened, Parquet decoded with its metadata, and the bytes as they are."""
    yield name
    if data[:2] == b"\x1f\x8b":
        yield from everything(name, gzip.decompress(data))
    elif data[:4] == b"PK\x03\x04":
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            for one in packed.namelist():
                yield from everything(one, packed.read(one))
    elif data[:4] == b"PAR1":
        frame = polars.read_parquet(io.BytesIO(data))
        yield json.dumps([frame.columns, str(frame.schema), polars.read_parquet_metadata(io.BytesIO(data))])
        words = [column for column, kind in frame.schema.items() if kind in (polars.String, polars.Enum)]
        yield frame.select(words).unique().write_csv() if words else ""
        for column in (one for one in frame.columns if "age" in one.split("_")):
            yield "\n".join(f"{column} {value}" for value in frame[column])
        whole = [column for column, kind in frame.schema.items() if kind.is_integer() or kind.is_temporal()]
        yield frame.select(whole).unique().write_csv() if whole else ""
    else:
        yield data.decode("utf-8", "replace")


def _plain(text: str) -> str:
    """Without accents."""
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()


_PARTS = re.compile(r'[,\n"\'{}\[\]<>|]+')


def squeezed(text: str) -> str:
    """Letters and digits alone, cells apart: however it was split by case, spaces or dashes."""
    return re.sub(r"[^a-z0-9|]+", "", _PARTS.sub("|", _plain(text)).casefold())


def looked_through(files: Mapping[str, bytes]) -> tuple[str, str]:
    """The files as one text with what was escaped in them undone, and that squeezed."""
    whole = "\n".join(part for name, data in files.items() for part in everything(name, data))
    undone = {whole, html.unescape(whole), unquote(whole)}
    undone.add(re.sub(r"\\u([0-9a-fA-F]{4})", lambda found: chr(int(found[1], 16)), whole))
    return "\n".join(sorted(undone)), "|".join(squeezed(text) for text in sorted(undone))


def needles(kind: str, text: str) -> set[str]:
    """What betrays it in a squeezed text: itself and its longer parts, and so written in base64 and in hexadecimal."""
    parts = {text, *re.split(r"[\s,/@?=;&|]+", text)} if kind in "ABFNPQR" else {text}
    forms = {squeezed(slug(text)[1:]), text.encode().hex()}
    for part in parts:
        forms |= {one for one in squeezed(part).split("|") if len(one) >= (8 if one.isdigit() else 6)}
    for skipped in range(3):  # base64 of a text that begins anywhere
        coded = base64.b64encode(b"\0" * skipped + text.encode()).decode().rstrip("=")
        forms.add(squeezed(coded[4 if skipped else 0 : -2]))
    return {one for one in forms if len(one) >= 6 and one not in _COMMON}


_COMMON = {"patients", "base64", "jpeg", "example", "dataimage", "dataimagejpeg"}


def hits(files: Mapping[str, bytes], drain: Planted) -> dict[str, set[str]]:
    """What of this person is in the files: the needles found, by kind. Dates are sought as they may be written."""
    whole, small = looked_through(files)
    found = {kind: {one for one in needles(kind, text) if one in small} for kind, text in drain.who.items()}
    year, month, day = drain.who["C"].split("-")
    found["C"] -= {squeezed(drain.who["C"])}  # eight digits: numbers beside each other may be the same
    for digits in (year + month + day, day + month + year):
        found["C"] |= set(re.findall(rf"(?<!\d){r'[ ._/-]{0,3}'.join(digits)}(?!\d)", whole))
    # The real year, though not in the middle of an id; and milliseconds since 1970 of the real days.
    found["C"] |= set(re.findall(rf"(?<![\w-])2041-[01]\d|(?<!\d){str(START_MS)[:6]}\d{{7}}(?!\d)", whole))
    if drain.of.found.episode.age_years == 104:
        found["C"] |= set(re.findall(r"\bage[^0-9a-z]{0,9}(?:years)?[^0-9a-z]{0,9}104", whole))
    found["M"] |= {"serialNumber"} & set(re.findall("serialNumber", whole))
    return {kind: ones for kind, ones in found.items() if ones}
