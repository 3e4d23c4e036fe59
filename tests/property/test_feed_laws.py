"""Laws of live intake: however readings come, doubled, late, in pieces, sealed or not, the log is the same."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import RefusedInput
from slackwater.feed.line import Amount, LineError, Reported, line_of, read_line
from slackwater.reading.log import STATES
from slackwater.store.live_text import Piece, joined, only, pieces_of, stamp

DIGITS = st.sampled_from(["0", "-1", "40", "40.0", "7.25", "-19.6", "199"])
START_MS = 2_246_000_000_000


@st.composite
def reported(draw: st.DrawFn) -> Reported:
    """Any reading of one unit; numbers and moments repeat now and then."""
    number = draw(st.integers(0, 30))

    def maybe(amount: Amount) -> Amount | None:
        return draw(st.sampled_from([amount, None]))

    flow = Amount(draw(DIGITS), draw(st.sampled_from(["mL/min", "L/min"])), step=draw(st.sampled_from(["", "1"])))
    pressure = Amount(draw(DIGITS), "cmH2O", suction_is=draw(st.sampled_from(["negative", "positive"])))
    return Reported(
        "U-1", number, START_MS + 1000 * number, "end", draw(st.sampled_from(["mean", "sample"])),
        every=maybe(Amount("1", "s")), flow=maybe(flow), pressure=maybe(pressure),
        mains=draw(st.sampled_from([True, False, None])), state=draw(st.sampled_from(STATES)),
    )  # fmt: skip


READINGS = st.lists(reported(), min_size=1, max_size=16)


def log_of(bodies: list[str]) -> list[tuple[bytes, str]]:
    return [(piece.rows, piece.declared.to_json()) for piece in joined(pieces_of(bodies), twice(bodies))]


def twice(bodies: list[str]) -> set[int]:
    """Numbers that stand on several readings, as the record notes them."""
    count = Counter(read_line(body).sequence for body in bodies)
    return {number for number, times in count.items() if times > 1}


@settings(max_examples=60)
@given(READINGS, st.randoms(use_true_random=False))
def test_neither_order_nor_pieces_nor_repeats_change_the_log(readings: list[Reported], draw: object) -> None:
    once = list(dict.fromkeys(map(line_of, readings)))  # as the record keeps them
    expected = log_of(once)
    mixed = list(once)
    draw.shuffle(mixed)  # type: ignore[attr-defined]
    assert log_of(mixed) == expected


@settings(max_examples=60)
@given(READINGS, st.lists(st.integers(0, 25), max_size=4))
def test_pieces_put_together_hold_the_same_rows(readings: list[Reported], cuts: list[int]) -> None:
    """Sealed at any points, and the rest not: the same rows, and the same ones in dispute."""
    once = list(dict.fromkeys(map(line_of, readings)))
    ends = sorted({0, len(once), *(min(cut, len(once)) for cut in cuts)})
    pieces = [piece for begin, end in pairwise(ends) for piece in pieces_of(once[begin:end])]
    assert rows_of(joined(pieces, twice(once))) == rows_of(joined(pieces_of(once), twice(once)))


def rows_of(pieces: list[Piece]) -> list[str]:
    return sorted(line for piece in pieces for line in piece.lines)


@settings(max_examples=60)
@given(READINGS)
def test_one_number_with_two_readings_has_no_value(readings: list[Reported]) -> None:
    once = list(dict.fromkeys(map(line_of, readings)))
    for line in rows_of(joined(pieces_of(once), twice(once))):
        assert ("in-dispute" in line) == (int(line.split(",")[0]) in twice(once))


@settings(max_examples=60)
@given(READINGS, st.integers(0, 31_000), st.integers(0, 31_000))
def test_only_what_lies_within_the_pairing_counts(readings: list[Reported], one: int, other: int) -> None:
    begin, end = START_MS + min(one, other), START_MS + max(one, other)
    once = list(dict.fromkeys(map(line_of, readings)))
    inside = [part for piece in pieces_of(once) if (part := only(piece, [(begin, end)])) is not None]
    told = [(read_line(body).time_ms, 1000 * (read_line(body).every is not None)) for body in once]
    assert len(rows_of(inside)) == sum(begin <= at - every and begin < at <= end for at, every in told)


@given(reported())
def test_the_one_form_reads_back(one: Reported) -> None:
    assert read_line(line_of(one)) == one


@given(st.integers(0, 7_258_118_399_999))
def test_stamps_stand_in_order_of_time(at_ms: int) -> None:
    assert len(stamp(at_ms)) == 24 and stamp(at_ms) < stamp(at_ms + 1)


@settings(max_examples=200)
@given(st.one_of(st.text(max_size=200), st.text(alphabet='{}[]",:-+.eE0123456789 nulltruefasNIy', max_size=80)))
def test_no_text_does_anything_but_read_or_be_refused(text: str) -> None:
    try:
        read_line(text)
    except LineError as error:
        assert isinstance(error, RefusedInput) and "\n" not in str(error)
