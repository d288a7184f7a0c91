"""The one rounding rule against the decimal module's ROUND_HALF_UP (halves away from zero).

The General Decimal Arithmetic Specification's round-half-up works on the magnitude: "if the
discarded digits represent greater than or equal to half, the result is incremented", whatever
the sign (wording from memory). So it is the rule for discounts too.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.money import round_half_away, rounded


def half_up(value: Decimal) -> int:
    with localcontext(prec=80):
        return int(value.quantize(Decimal(1), ROUND_HALF_UP))


@given(st.integers(-(10**15), 10**15), st.integers(0, 8))
def test_any_decimal_rounds_as_round_half_up_does(digits: int, places: int) -> None:
    assert round_half_away(digits, 10**places) == half_up(Decimal(digits).scaleb(-places))


@given(st.integers(-(10**12), 10**12))
def test_every_half_goes_away_from_zero(whole: int) -> None:
    halves = 2 * whole + 1
    expected = half_up(Decimal(halves) / 2)
    assert round_half_away(halves, 2) == expected
    assert rounded(Fraction(halves, 2)) == expected
    assert abs(expected) > abs(Fraction(halves, 2))


@given(st.integers(-(10**12), 10**12), st.integers(1, 10**6))
def test_a_rounded_figure_is_never_more_than_a_half_away(numerator: int, denominator: int) -> None:
    found = round_half_away(numerator, denominator)
    assert abs(found - Fraction(numerator, denominator)) <= Fraction(1, 2)
    assert round_half_away(-numerator, denominator) == -found


@pytest.mark.parametrize(
    ("numerator", "denominator", "expected"),
    [(5, 2, 3), (-5, 2, -3), (1, 2, 1), (-1, 2, -1), (249, 100, 2), (-249, 100, -2), (0, 7, 0)],
)
def test_known_values(numerator: int, denominator: int, expected: int) -> None:
    assert round_half_away(numerator, denominator) == expected
