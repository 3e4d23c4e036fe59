"""Laws of reading that hold for any log: order, units, conservation, the number grammar, zones."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from behaviour.reading.typed_log import HEADER, layout, read
from slackwater.errors import LogError
from slackwater.quantities import unit
from slackwater.reading.log import NONE, TELLING_FLOWS, Log
from slackwater.reading.zones import zone

BEGUN = datetime(2033, 9, 13, 15, 19, tzinfo=UTC)
FEW = settings(max_examples=60, deadline=None)

cell = st.one_of(
    st.integers(0, 500).map(str),
    st.decimals(0, 90, places=2).map(str),
    st.sampled_from(["", "-3.5", "1e1", "nan", "1_0", '"12"', "x", "١", "7.", ".5", "-8", "\x00"]),
)
row = st.tuples(st.integers(0, 5000), cell, cell)
log_rows = st.lists(row, min_size=2, max_size=30)


def line(second: int, flow: str, pressure: str) -> str:
    return f"{(BEGUN + timedelta(seconds=second)).isoformat()},{flow},{pressure}"


def content(log: Log) -> list[tuple[int, ...]]:
    """Sorted rows without their lines: what a permutation must leave as it is."""
    pressure = log.pressure_mcmh2o
    assert pressure is not None
    columns = [log.time_ms.tolist(), log.flow_ul_per_min.tolist(), pressure.tolist(), log.time_doubtful.tolist()]
    return sorted(zip(*columns, strict=True))


def read_or_say(text: str, **how: object) -> Log | str:
    try:
        return read(text, layout({"time.every": "1 s", **how}), refuse_above=1.0)
    except LogError as error:
        return error.what.split(";")[0]


@FEW
@given(log_rows, st.randoms(use_true_random=False))
def test_the_order_of_rows_and_columns_changes_nothing(rows: list[tuple[int, str, str]], chance: random.Random) -> None:
    one = read_or_say(HEADER + "\n" + "".join(line(*r) + "\n" for r in rows))
    shuffled = list(rows)
    chance.shuffle(shuffled)
    other = read_or_say(
        "Vac,time,Flow\n" + "".join(f"{p},{line(s, f, '').split(',')[0]},{f}\n" for s, f, p in shuffled)
    )
    if isinstance(one, str) or isinstance(other, str):
        assert one == other
        return
    assert content(one) == content(other)
    assert one.flow_step_ul_per_min == other.flow_step_ul_per_min
    assert (one.ledger.read, one.ledger.used, one.ledger.refused) == (
        other.ledger.read, other.ledger.used, other.ledger.refused,
    )  # fmt: skip


@FEW
@given(log_rows)
def test_every_row_is_used_or_refused(rows: list[tuple[int, str, str]]) -> None:
    log = read_or_say(HEADER + "\n" + "".join(line(*r) + "\n" for r in rows))
    if isinstance(log, Log):
        assert log.ledger.read == len(rows)
        assert log.ledger.used + log.ledger.refused == log.ledger.read
        assert log.unread is not None
        assert log.ledger.used == int((~log.unread).sum())


@FEW
@given(st.text(max_size=300))
def test_no_text_brings_anything_but_a_log_or_a_told_error(text: str) -> None:
    for data in (HEADER + "\n" + text, text):
        try:
            log = read(data.encode("utf-8", "surrogatepass"), layout({"time.every": "1 s"}), refuse_above=1.0)
        except LogError as error:
            assert "\n" not in str(error)
            assert len(str(error)) < 600
        else:
            assert log.ledger.used + log.ledger.refused == log.ledger.read


@FEW
@given(st.binary(max_size=200), st.sampled_from(["utf-8", "utf-16", "latin-1", "cp1252", "ascii"]))
def test_no_bytes_bring_anything_but_a_log_or_a_told_error(data: bytes, encoding: str) -> None:
    head = (HEADER + "\n").encode("utf-16-le" if encoding == "utf-16" else encoding)
    for file in (head + data, data):
        try:
            read(file, layout({"time.every": "1 s", "log.encoding": encoding}), refuse_above=1.0)
        except LogError as error:
            assert "\n" not in str(error)


def decimal_text(value: Fraction) -> str:
    """An exact decimal, for values whose denominator has only twos and fives."""
    places = 0
    while (value * 10**places).denominator != 1:
        places += 1
        assert places <= 15
    digits = str(abs(value * 10**places).numerator).rjust(places + 1, "0")
    sign = "-" if value < 0 else ""
    return sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)


FLOWS = st.lists(st.integers(0, 3000), min_size=2, max_size=20)


@FEW
@given(FLOWS, st.sampled_from(["L/min", "mL/h", "L/h"]))
def test_flows_written_in_another_unit_are_the_same_numbers(flows: list[int], other: str) -> None:
    """Invariant 1. Each printed flow is exact in both units, so the stored integers are equal."""

    def text(symbol: str) -> str:
        factor = unit(symbol, "flow").factor
        cells = (decimal_text(Fraction(flow) / factor) for flow in flows)
        return HEADER + "\n" + "".join(line(n, c, "-8") + "\n" for n, c in enumerate(cells))

    one, two = read_or_say(text("mL/min")), read_or_say(text(other), **{"flow.unit": other})
    if isinstance(one, str) or isinstance(two, str):
        assert one == two
        return
    assert one.flow_ul_per_min.tolist() == two.flow_ul_per_min.tolist()
    if len(set(flows)) >= TELLING_FLOWS:  # of fewer, the last printed digit speaks, and that is the unit's
        assert one.flow_step_ul_per_min == two.flow_step_ul_per_min


@FEW
@given(
    st.lists(st.integers(-3000, 1000), min_size=2, max_size=20),
    st.sampled_from(["kPa", "hPa", "mbar", "mmHg"]),
    st.sampled_from(["negative", "positive"]),
)
def test_pressures_written_in_another_unit_and_sign_differ_by_less_than_a_thousandth(
    tenths: list[int], other: str, suction_is: str
) -> None:
    """Invariant 1, and haz-A08: sign flip and convention flip together change nothing."""

    def text(symbol: str, sign: int) -> str:
        factor = unit(symbol, "pressure").factor
        cells = (decimal_text(Fraction(round(sign * Fraction(p, 10) / factor * 10**9), 10**9)) for p in tenths)
        return HEADER + "\n" + "".join(line(n, "10", c) + "\n" for n, c in enumerate(cells))

    one = read(text("cmH2O", 1), layout({"time.every": "1 s"}))
    how = layout({"time.every": "1 s", "pressure.unit": other, "pressure.suction_is": suction_is})
    two = read(text(other, -1 if suction_is == "positive" else 1), how)
    assert one.pressure_mcmh2o is not None
    assert two.pressure_mcmh2o is not None
    assert int(np.abs(one.pressure_mcmh2o - two.pressure_mcmh2o).max()) <= 1


NUMBER = re.compile(r"[+\-−]?([0-9]{1,15}(\.[0-9]{0,40})?|\.[0-9]{1,40})([eE][+-]?[0-9]{1,2})?", re.ASCII)


@settings(max_examples=300, deadline=None)
@given(st.text("0123456789.,+-−eE_ nainf١²x", min_size=1, max_size=18))
@example("1_000")
@example("1e400")
@example("0x1")
@example("-.5")
@example("5.")
@example("000000000000010")
@example("1234567890123456")
@example("0.1234567890123456")
def test_a_cell_is_a_number_just_where_the_reference_grammar_says_so(text: str) -> None:
    """haz-H07: the quick walk and the careful reader together against one pattern."""
    stripped = text.strip(" ")
    data = f"time;Flow\n{BEGUN.isoformat()};{text}\n{BEGUN.isoformat()};100\n"
    log = read(data, layout({"log.separator": ";", "time.every": "1 s"}, pressure=None), refuse_above=1.0)
    right = NUMBER.fullmatch(stripped)
    if not stripped:
        assert log.flow_ul_per_min.tolist() == [NONE, 100_000]
    elif right and abs(Fraction(stripped.replace("−", "-"))) <= 200_000:
        assert log.flow_ul_per_min.tolist() == [round(Fraction(stripped.replace("−", "-")) * 1000), 100_000]
    else:
        assert log.ledger.refused == 1


ZONES = [
    "Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca", "Asia/Kolkata", "Pacific/Apia",
    "America/St_Johns", "Asia/Gaza", "Europe/Dublin", "Pacific/Chatham", "America/Sao_Paulo", "UTC", "+05:45",
]  # fmt: skip


@pytest.mark.parametrize("name", ZONES)
def test_local_times_are_placed_as_the_zones_own_rules_say(name: str) -> None:
    """haz-B03, against the standard library's `fold`, one stamp at a time, over transitions and between."""
    rules = UTC if name == "UTC" else zone(name).rules if name[0] == "+" else ZoneInfo(name)
    chance = random.Random(name)
    days = [chance.randrange(0, 60 * 365) for _ in range(20)]
    begin = datetime(1975, 1, 1, tzinfo=UTC)
    changes = zone(name).changes(0, 2_000_000_000_000)[-40:]
    near = [
        datetime.fromtimestamp(c.at_ms / 1000, UTC) + timedelta(minutes=m)
        for c in changes
        for m in (-61, -31, -1, 0, 1, 29, 59)
    ]
    moments = [moment.astimezone(rules).replace(tzinfo=None) for moment in near]
    moments += [moment + timedelta(minutes=15) for moment in moments]
    moments += [(begin + timedelta(days=day, minutes=chance.randrange(1440))).replace(tzinfo=None) for day in days]
    epoch = datetime(1970, 1, 1)  # noqa: DTZ001 -- wall-clock on purpose
    local = np.array([round((moment - epoch).total_seconds() * 1000) for moment in moments], np.int64)
    utc, twice, never = zone(name).to_utc(local)
    for n, moment in enumerate(moments):
        first, second = (moment.replace(tzinfo=rules, fold=fold) for fold in (0, 1))
        real = [t for t in (first, second) if t.astimezone(UTC).astimezone(rules).replace(tzinfo=None) == moment]
        instants = {round(t.timestamp() * 1000) for t in real}
        assert bool(never[n]) == (not instants), moment
        assert bool(twice[n]) == (len(instants) == 2), moment
        if instants:
            assert int(utc[n]) == min(instants), moment
    assert len(zone(name).to_utc(local[:0])[0]) == 0
