"""Lines that must be refused, made by family from one good line, each with words of the reason that must be given."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

GOOD: dict[str, Any] = {
    "unit": "FEED-7", "sequence": 41, "time": "2041-03-04T15:19:01+01:00", "marks": "end", "statistic": "mean",
    "every": {"value": 1, "unit": "s"},
    "flow": {"value": 40, "unit": "mL/min", "max": 60, "step": 10, "ceiling": 5000, "rounding": "nearest"},
    "pressure": {"value": -19.6, "unit": "cm[H2O]", "suction_is": "negative", "min": -22, "max": -18, "step": 0.1},
    "set_suction": {"value": 20, "unit": "mbar", "suction_is": "positive"},
    "battery": {"value": 88, "unit": "%"}, "fluid": {"value": 250, "unit": "mL"}, "mains": True, "state": "running",
}  # fmt: skip
AMOUNTS = ("every", "flow", "pressure", "set_suction", "battery", "fluid")


def line(**changes: Any) -> str:
    return json.dumps({**GOOD, **changes})


def without(key: str) -> str:
    return json.dumps({name: value for name, value in GOOD.items() if name != key})


def amount(name: str, **changes: Any) -> str:
    return line(**{name: {**GOOD[name], **changes}})


def malformed() -> Iterator[tuple[bytes, str]]:
    """(line, words of its reason)."""
    for text, why in _all():
        yield text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text, why


def _all() -> Iterator[tuple[str | bytes, str]]:
    good = json.dumps(GOOD)
    # no line of JSON at all
    for text in ("x", "{", "{}}", "{'unit': 1}", good[:-1], good + "x", good + good, "\x00", '{"unit":}', "nul", "01",
                 "[" * 3000, '{"a":' * 700, "\ufeff" + good, good.replace(":", "=", 1), "<xml/>",
                 "unit,sequence"):  # fmt: skip
        yield text, "not JSON"
    for text in ("[]", '"text"', "12", "true", "null", f"[{good}]"):
        yield text, "no JSON object"
    for raw in (b"\xff\xfe{}", good.encode("utf-16"), good.encode().replace(b"FEED", b"F\xe9ED"), b"\xc0\x80"):
        yield raw, "not UTF-8"
    yield line(state="x" * 5000), "characters long"
    yield good + " " * 5000 + "{", "characters long"
    # keys: each that must be there left out, strange ones, and each twice
    for key in ("unit", "sequence", "time", "marks", "statistic"):
        yield without(key), f"{key}: is missing"
    for key in ("Unit", "flows", "suction", "", "patient", "__proto__", "flow ", "TIME", "leak"):
        yield line(**{key: 1}), "no such key"
    for key, value in GOOD.items():
        yield good[:-1] + f", {json.dumps(key)}: {json.dumps(value)}}}", "stands twice"
        yield line(**{key: None}), f"{key}: is null"
        yield line(**{key: [value]}), f"{key}"
    for name in AMOUNTS:
        yield line(**{name: 5}), f"{name}: is no amount"
        yield line(**{name: "5 mL"}), f"{name}: is no amount"
        yield line(**{name: {}}), f"{name}.value: is missing"
        yield line(**{name: {"value": 5}}), f"{name}.unit: is missing"
        yield amount(name, colour="red"), "no such key"
        yield amount(name, unit="furlong"), f"{name}.unit"
        yield amount(name, unit=5), f"{name}.unit: is no text"
        yield amount(name, unit=""), f"{name}.unit: is empty"
        yield amount(name, value="40"), f"{name}.value: is no number"
        yield amount(name, value=None), f"{name}.value: is no number"
        yield amount(name, value=True), f"{name}.value: is no number"
        yield amount(name, value=[4]), f"{name}.value: is no number"
        for digits in ("NaN", "Infinity", "-Infinity"):
            yield _digits(name, digits), f"{digits} is no number"
        for digits in ("1e3", "4E-1", "12345678901", "0." + 41 * "1"):
            yield _digits(name, digits), f"{name}.value: is no plain decimal number"
        for digits in ("+4", "04", ".5", "4.", "1_000", "0x10"):
            yield _digits(name, digits), "not JSON"
        yield good.replace(f'"{name}": {{', f'"{name}": {{"unit": "kPa", '), "stands twice"
    # signs, words, sizes
    for name in ("pressure", "set_suction"):
        yield line(**{name: {"value": 5, "unit": "kPa"}}), f"{name}.suction_is: is missing"
        for word in ("up", "Negative", "minus", "-"):
            yield amount(name, suction_is=word), f"{name}.suction_is"
        yield amount(name, value=900, unit="kPa"), "is beyond"
        yield amount(name, unit="mL/min"), f"{name}.unit"
    for name, value in (("flow", 999_999_999), ("battery", 101), ("fluid", 100_001), ("every", 3601)):
        yield amount(name, value=value), f"{name}.value: is beyond"
    for name in ("battery", "fluid", "every"):
        yield amount(name, value=-1), f"{name}.value: is below zero"
    yield amount("every", value=0), "every.value: is zero"
    for key in ("step", "ceiling"):
        yield amount("flow", **{key: 0}), f"flow.{key}: is zero"
        yield amount("flow", **{key: -1}), f"flow.{key}: is below zero"
    yield amount("flow", unit="ML/min"), "flow.unit"
    yield amount("flow", rounding="up"), "flow.rounding"
    yield amount("flow", suction_is="negative"), "no such key"
    yield amount("battery", max=100), "no such key"
    for word in ("END", "middle", ""):
        yield line(marks=word), "marks"
    for word in ("median", "Mean"):
        yield line(statistic=word), "statistic"
    for word in ("on", "RUNNING", ""):
        yield line(state=word), "state"
    for word in ("yes", 1, 0, "true"):
        yield line(mains=word), "mains: is neither true nor false"
    # who and when
    for serial in ("", " ", "FEED 7", "FEED/7", "FEED#", "+", "F" * 65, "FEED-7\n", "é", "-7", "\x00", "SN\u202e7"):
        yield line(unit=serial), "unit: is no serial number"
    yield line(unit=7), "unit: is no text"
    yield '{"unit": "FEED-7\ud800"' + good[len('{"unit": "FEED-7"'):], "UTF-8"  # fmt: skip
    yield line(unit="FEED-8"), "another unit's"
    for number in (-1, 1.5, "41", True, 10**16, 2**53):
        yield line(sequence=number), "sequence"
    for time in ("2041-03-04T15:19:01", "2041-03-04", "now", "", "15:19:01+01:00", "2041-13-04T15:19:01Z",
                 "2041-02-30T15:19:01Z", "2041-03-04T25:19:01Z", "2041-03-04T15:19:61Z", "2041-03-04T15:19:01 CET",
                 "9999-03-04T15:19:01Z", "1900-01-01T00:00:00Z", "2200-03-04T15:19:01Z", "2041-03-04T15:19:01+99:00",
                 "2041-063T15:19:01Z", "٢٠٤١-03-04T15:19:01Z"):  # fmt: skip
        yield line(time=time), "time"
    yield line(time=2_246_019_541), "time: is no text"
    yield json.dumps({key: GOOD[key] for key in ("unit", "sequence", "time", "marks", "statistic")}), "reports nothing"
    yield json.dumps({key: GOOD[key] for key in ("unit", "sequence", "time", "marks", "statistic", "every")}), "nothing"


def _digits(name: str, digits: str) -> str:
    told = json.dumps({**GOOD, name: {**GOOD[name], "value": "DIGITS"}})
    return told.replace('"DIGITS"', digits)
