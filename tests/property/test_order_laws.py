"""Laws of an order of suction: its exact value outlives every change of unit, and no slip by ten goes unasked."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from slackwater.episode.order import ASKED_BELOW_CMH2O, ASKED_FROM_CMH2O, Known, SuctionOrder, suction_order
from slackwater.quantities.suction import digits, exactly
from slackwater.quantities.units import Quantity, unit

UNITS = ("cmH2O", "kPa", "mmHg", "hPa", "mbar", "Pa")
known = st.builds(
    Known,
    operation=st.sampled_from(("lobectomy", "none")),
    last=st.one_of(
        st.none(),
        st.builds(lambda n, u: Quantity(-n * unit(u).factor, unit(u)), st.integers(1, 40), st.sampled_from(UNITS)),
    ),
    delivered_cmh2o=st.one_of(st.none(), st.floats(-60, 0)),
)
decimals = st.decimals("0.001", "400", places=3).map(str)


def order(text: str, symbol: str, told: Known) -> SuctionOrder:
    return suction_order(text, symbol, told)


@given(decimals, st.sampled_from(UNITS), known)
def test_the_order_is_the_typed_number_exactly(text: str, symbol: str, told: Known) -> None:
    found = order(text, symbol, told)
    assert found.cmh2o == -Fraction(text) * unit(symbol).factor
    assert Fraction(found.level) == -Fraction(text)
    again = suction_order(found.level, found.unit, told)
    assert (again.level, again.unit, again.cmh2o) == (found.level, found.unit, found.cmh2o)
    assert found.quantity is not None
    assert exactly(found.quantity) in found.reading_back


@given(st.integers(-(10**6), 10**6), st.integers(0, 6))
def test_digits_are_the_number_and_no_more(number: int, places: int) -> None:
    value = Fraction(number, 10**places)
    assert Fraction(digits(value)) == value
    assert not digits(value).endswith(".")


@given(decimals, st.sampled_from(("kPa", "mmHg", "hPa", "Pa")), known)
def test_saying_it_in_another_unit_never_changes_the_value(text: str, symbol: str, told: Known) -> None:
    """Each unit is an exact share of another, so there and back is the same number."""
    here = Fraction(text) * unit(symbol).factor
    there = here / unit("cmH2O").factor
    assert there * unit("cmH2O").factor == here
    assert order(text, symbol, told).cmh2o == -here


@given(st.fractions(ASKED_BELOW_CMH2O, ASKED_FROM_CMH2O), st.sampled_from((10, Fraction(1, 10))), known)
def test_a_slip_of_the_point_is_always_asked_about(level: Fraction, slip: Fraction, told: Known) -> None:
    text = f"{float(level):.2f}"
    typed = Fraction(text) * slip
    if not ASKED_BELOW_CMH2O <= Fraction(text) < ASKED_FROM_CMH2O:
        return
    found = order(digits(typed), "cmH2O", told)
    assert "factor_ten" in [one.id for one in found.questions]


@given(st.integers(ASKED_BELOW_CMH2O, ASKED_FROM_CMH2O - 1), known)
def test_kpa_typed_for_cmh2o_and_cmh2o_for_kpa_are_always_asked_about(level: int, told: Known) -> None:
    assert "factor_ten" in [one.id for one in order(str(level), "kPa", told).questions]
    kpa = f"{level / 10.197162:.2f}"
    assert "factor_ten" in [one.id for one in order(kpa, "cmH2O", told).questions]


@given(decimals, st.sampled_from(UNITS), known)
def test_the_words_of_every_question_name_the_order_and_never_a_bare_number(
    text: str, symbol: str, told: Known
) -> None:
    for question in order(text, symbol, told).questions:
        assert exactly(Quantity(-Fraction(text) * unit(symbol).factor, unit(symbol))) in question.text
