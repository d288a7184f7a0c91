"""What sample squares say: limits that are wide enough, from figures that stand in the sentence."""

from __future__ import annotations

import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hailcalc.counting.limits import (
    LEVEL,
    LEVEL_OF_FEW,
    T_TABLE,
    gamma_q,
    index_of_dispersion,
    poisson_limits,
    sample_limits,
)
from tests.effort import examples

squares = st.lists(st.integers(0, 60), min_size=1, max_size=12)
EVEN = [9, 12, 7, 11, 8, 10]
SWARMS = [2, 15, 7, 30, 1, 9]


def test_squares_that_agree_are_taken_as_scattered_dents() -> None:
    limits = sample_limits(EVEN)
    assert limits.method == "Poisson"
    assert (limits.lower, limits.upper) == (Decimal("43.17"), Decimal("73.86"))
    assert limits.because == (
        "index of dispersion 1.84 for 5 degrees of freedom (p = 0.870), not below 0.25: the "
        "squares agree as chance would have it; Garwood's exact Poisson limits of 57: "
        "43.17 and 73.86"
    )


def test_squares_that_differ_like_a_swarm_give_wider_limits() -> None:
    limits = sample_limits(SWARMS)
    assert limits.method == "between squares"
    garwood = poisson_limits(sum(SWARMS))
    assert limits.lower < garwood[0]
    assert limits.upper > garwood[1]
    assert "the squares differ too much for Poisson limits to be safe" in limits.because


def test_one_square_says_nothing_about_the_scatter() -> None:
    limits = sample_limits([7])
    assert limits.method == "Poisson"
    assert limits.dispersion is None
    assert (limits.lower, limits.upper) == (Decimal("2.81"), Decimal("14.43"))
    assert "one square cannot show" in limits.because


def test_empty_squares_still_leave_room_for_dents_elsewhere() -> None:
    limits = sample_limits([0, 0, 0])
    assert (limits.lower, limits.upper) == (Decimal(0), Decimal("3.69"))
    assert limits.dispersion is None
    assert limits.because.startswith("no dent in 3 squares; ")


def test_with_few_squares_less_difference_is_enough_to_distrust_them() -> None:
    few, many = [7, 12, 13], [7, 12, 14, 6, 13, 11]
    assert LEVEL < index_of_dispersion(few).p < LEVEL_OF_FEW
    assert LEVEL < index_of_dispersion(many).p < LEVEL_OF_FEW
    assert sample_limits(few).method == "between squares"
    assert sample_limits(many).method == "Poisson"


@settings(max_examples=examples(300))
@given(squares)
def test_no_limits_are_narrower_than_exact_poisson_ones(counts: list[int]) -> None:
    limits = sample_limits(counts)
    low, high = poisson_limits(sum(counts))
    assert 0 <= limits.lower <= low <= sum(counts) <= high <= limits.upper
    if limits.method == "Poisson":
        assert low - float(limits.lower) < 0.01 + 1e-9
        assert float(limits.upper) - high < 0.01 + 1e-9


@settings(max_examples=examples(300))
@given(squares)
def test_the_order_of_the_squares_does_not_matter(counts: list[int]) -> None:
    assert sample_limits(counts) == sample_limits(sorted(counts))


@settings(max_examples=examples(300))
@given(st.lists(st.integers(0, 60), min_size=2, max_size=40))
def test_a_pocket_calculator_finds_the_limits_from_the_sentence(counts: list[int]) -> None:
    limits = sample_limits(counts)
    assume(limits.method == "between squares")
    figures = re.search(
        r"s = (?P<s>[\d.]+), Student's t (?P<t>[\d.]+), "
        r"r = (?P=t) × (?P=s) × √(?P<n>\d+) / (?P<k>\d+) = (?P<r>[\d.]+), "
        r"(?P=k) divided and multiplied by 1 \+ r \+ r²/2: (?P<low>[\d.]+) and (?P<up>[\d.]+); "
        r"on neither side narrower than .* of (?P=k): (?P<glow>[\d.]+) and (?P<gup>[\d.]+)$",
        limits.because,
    )
    assert figures is not None, limits.because
    value = {name: Decimal(text) for name, text in figures.groupdict().items()}
    assert value["n"] == len(counts)
    assert value["k"] == sum(counts)
    assert value["t"] == T_TABLE[min(30, len(counts) - 1)]
    root = value["t"] * value["s"] * value["n"].sqrt() / value["k"]
    assert value["r"] == root.quantize(Decimal("0.001"), ROUND_CEILING)
    factor = 1 + value["r"] + value["r"] ** 2 / 2
    assert value["low"] == (value["k"] / factor).quantize(Decimal("0.01"), ROUND_FLOOR)
    assert value["up"] == (value["k"] * factor).quantize(Decimal("0.01"), ROUND_CEILING)
    assert limits.lower == min(value["low"], value["glow"])
    assert limits.upper == max(value["up"], value["gup"])
    mean = Fraction(sum(counts), len(counts))
    variance = sum((count - mean) ** 2 for count in counts) / (len(counts) - 1)
    assert 0 <= Fraction(value["s"]) - Fraction(float(variance) ** 0.5) < Fraction("0.0101")


@settings(max_examples=examples(300))
@given(squares.filter(lambda counts: len(counts) > 1 and sum(counts) > 0))
def test_the_printed_p_stands_on_the_side_of_the_level_that_decided(counts: list[int]) -> None:
    limits = sample_limits(counts)
    printed = re.search(
        r"\(p (?:= ([\d.]+)|under 0\.001)\), (not )?below ([\d.]+):", limits.because
    )
    assert printed is not None, limits.because
    p = Fraction(printed[1] or 0)
    assert (p >= Fraction(printed[3])) == (printed[2] is not None)
    assert (limits.method == "Poisson") == (printed[2] is not None)


@settings(max_examples=examples(200))
@given(squares.filter(lambda counts: len(counts) > 1 and sum(counts) > 0))
def test_the_index_is_the_squared_differences_over_the_mean(counts: list[int]) -> None:
    mean = Fraction(sum(counts), len(counts))
    found = index_of_dispersion(counts)
    assert found.index == sum((count - mean) ** 2 for count in counts) / mean
    assert found.degrees == len(counts) - 1


def test_equal_squares_have_no_dispersion() -> None:
    found = index_of_dispersion([4, 4, 4])
    assert found.index == 0
    assert found.p == 1


@pytest.mark.parametrize("counts", [[], [5], [0, 0], [3, -1]])
def test_an_index_needs_two_squares_and_a_dent(counts: list[int]) -> None:
    with pytest.raises(ValueError, match="two or more squares"):
        index_of_dispersion(counts)


@pytest.mark.parametrize("counts", [[], [3, -1]])
def test_limits_need_counts(counts: list[int]) -> None:
    with pytest.raises(ValueError, match="one or more squares"):
        sample_limits(counts)


def test_limits_grow_with_the_count() -> None:
    rows = [poisson_limits(count) for count in range(200)]
    for (low, high), (next_low, next_high) in pairwise(rows):
        assert low < next_low
        assert high < next_high


@settings(max_examples=examples(100))
@given(st.integers(0, 20_000), st.floats(0.5, 0.999))
def test_poisson_limits_leave_the_stated_chance_outside(count: int, level: float) -> None:
    low, high = poisson_limits(count, level)
    assert gamma_q(count + 1, high) == pytest.approx((1 - level) / 2, rel=1e-9)
    if count:
        assert 1 - gamma_q(count, low) == pytest.approx((1 - level) / 2, rel=1e-9)
    else:
        assert low == 0


def test_a_level_may_be_an_exact_rational() -> None:
    assert poisson_limits(10, Fraction(19, 20)) == pytest.approx(poisson_limits(10, 0.95))


@pytest.mark.parametrize(("count", "level"), [(-1, 0.95), (3, 0), (3, 1), (3, 95)])
def test_a_level_is_between_nought_and_one(count: int, level: float) -> None:
    with pytest.raises(ValueError, match="expected a count and a level"):
        poisson_limits(count, level)


def test_gamma_at_its_ends_and_outside() -> None:
    assert gamma_q(3, 0) == 1
    assert gamma_q(3, float("inf")) == 0
    for a, x in ((0.25, 1.0), (1.0, -1.0), (float("nan"), 1.0), (1.0, float("nan"))):
        with pytest.raises(ValueError, match="expected a of"):
            gamma_q(a, x)


def test_students_t_falls_towards_the_normal_value() -> None:
    assert list(T_TABLE) == list(range(1, 31))
    values = list(T_TABLE.values())
    assert all(earlier > later > Decimal("1.96") for earlier, later in pairwise(values))
