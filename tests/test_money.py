"""Money: decimal strings in files, whole minor units inside, the same string back."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.money import currency_decimals, decimals_of, minor_units, money_text, rounded


@pytest.mark.parametrize(
    ("text", "decimals", "amount"),
    [
        ("84.50", 2, 8450),
        ("84.5", 2, 8450),
        ("84", 2, 8400),
        ("0", 2, 0),
        ("-5", 2, -500),
        ("-0.05", 2, -5),
        ("1250", 0, 1250),
        ("0.001", 3, 1),
        ("84.500", 2, 8450),
    ],
)
def test_a_written_sum_is_a_whole_number_of_minor_units(
    text: str, decimals: int, amount: int
) -> None:
    assert minor_units(text, decimals) == amount


@pytest.mark.parametrize(("text", "decimals"), [("84.505", 2), ("1.5", 0), ("0.0001", 3)])
def test_a_part_of_a_minor_unit_is_no_sum(text: str, decimals: int) -> None:
    with pytest.raises(ValueError, match=f"more than {decimals} decimals"):
        minor_units(text, decimals)


@pytest.mark.parametrize(
    ("amount", "decimals", "text"),
    [
        (8450, 2, "84.50"),
        (5, 2, "0.05"),
        (-5, 2, "-0.05"),
        (0, 2, "0.00"),
        (-12345, 2, "-123.45"),
        (1250, 0, "1250"),
        (-3, 0, "-3"),
        (1, 3, "0.001"),
    ],
)
def test_minor_units_are_written_with_all_decimals(amount: int, decimals: int, text: str) -> None:
    assert money_text(amount, decimals) == text


@given(st.integers(-(10**12), 10**12), st.integers(0, 4))
def test_a_sum_written_and_read_is_the_same_sum(amount: int, decimals: int) -> None:
    text = money_text(amount, decimals)
    assert minor_units(text, decimals) == amount
    assert decimals_of(text) == decimals
    assert Fraction(text) == Fraction(amount, 10**decimals)


@pytest.mark.parametrize(("text", "count"), [("84", 0), ("84.5", 1), ("84.50", 2), ("-0.125", 3)])
def test_decimals_are_counted_as_written(text: str, count: int) -> None:
    assert decimals_of(text) == count


@given(st.fractions(), st.integers(-(10**6), 10**6))
def test_rounding_does_not_depend_on_whole_units_beside_it_but_at_halves(
    value: Fraction, whole: int
) -> None:
    if value.denominator != 2:
        assert rounded(value + whole) == rounded(value) + whole


@given(st.fractions(), st.fractions())
def test_a_larger_figure_never_rounds_to_a_smaller_one(one: Fraction, other: Fraction) -> None:
    small, large = sorted([one, other])
    assert rounded(small) <= rounded(large)


@pytest.mark.parametrize("code", ["XAU", "XTS", "XXX"])
def test_gold_and_the_testing_code_are_no_money(code: str) -> None:
    assert currency_decimals(code) is None
