"""Two counters on one panel: what both found, what one found, and what neither did."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.counting.twocounts import kappa, plausible_difference, two_counts
from tests.effort import examples


@st.composite
def two(draw: st.DrawFn, most: int = 80) -> tuple[int, int, int]:
    both, only_a, only_b = (draw(st.integers(0, most)) for _ in range(3))
    return both + only_a, both + only_b, both


def test_two_counts_of_a_roof() -> None:
    found = two_counts(90, 80, 72)
    assert (found.only_a, found.only_b, found.union) == (18, 8, 98)
    assert (found.rate_a, found.rate_b) == (Fraction(9, 10), Fraction(4, 5))
    assert found.chapman == Fraction(91 * 81, 73) - 1
    assert found.lower == 98
    assert found.upper is not None
    assert found.lower <= found.chapman <= found.upper
    assert "independently" in found.assumptions


@settings(max_examples=examples(200))
@given(two())
def test_the_parts_add_up_and_limits_hold_the_union(counts: tuple[int, int, int]) -> None:
    n1, n2, both = counts
    found = two_counts(n1, n2, both)
    assert found.only_a + found.both == n1
    assert found.only_b + found.both == n2
    assert found.union == found.only_a + found.only_b + found.both
    assert found.union <= found.lower
    assert found.chapman >= found.union - 1
    assert (found.upper is None) == (both == 0)
    assert found.upper is None or found.upper >= found.lower


def as_few(n1: int, n2: int, both: int, dents: int) -> Fraction:
    """The chance of fewer in common, and half of that of just as many, number by number."""
    ways = [comb(n1, j) * comb(dents - n1, n2 - j) for j in range(both + 1)]
    return Fraction(2 * sum(ways[:-1]) + ways[-1], 2 * comb(dents, n2))


@settings(max_examples=examples(150))
@given(two(25))
def test_limits_are_the_numbers_under_which_the_count_is_no_rarity(
    counts: tuple[int, int, int],
) -> None:
    found = two_counts(*counts)
    tail = Fraction(25, 1000)
    assert as_few(*counts, found.lower) > tail
    if found.lower > found.union:
        assert as_few(*counts, found.lower - 1) <= tail
    if found.upper is not None:
        assert 1 - as_few(*counts, found.upper) > tail
        assert 1 - as_few(*counts, found.upper + 1) <= tail
    else:
        assert 1 - as_few(*counts, 10**6) > tail


@settings(max_examples=examples(150))
@given(two())
def test_the_counters_may_change_places(counts: tuple[int, int, int]) -> None:
    n1, n2, both = counts
    one, other = two_counts(n1, n2, both), two_counts(n2, n1, both)
    assert (one.rate_a, one.rate_b) == (other.rate_b, other.rate_a)
    assert (one.chapman, one.variance) == (other.chapman, other.variance)
    assert (one.lower, one.upper) == (other.lower, other.upper)


def test_counters_who_agree_on_every_dent_leave_nothing_unseen() -> None:
    found = two_counts(60, 60, 60)
    assert found.chapman == 60
    assert found.variance == 0
    assert (found.lower, found.upper) == (60, 60)


def test_counters_with_no_dent_in_common_set_no_upper_limit() -> None:
    found = two_counts(10, 3, 0)
    assert found.rate_a == 0
    assert found.rate_b == 0
    assert found.lower >= 13
    assert found.upper is None


def test_who_found_nothing_says_nothing_of_the_other() -> None:
    found = two_counts(0, 12, 0)
    assert found.rate_a == 0
    assert found.rate_b is None
    assert (found.union, found.lower, found.upper) == (12, 12, None)
    assert two_counts(0, 0, 0).chapman == 0


@pytest.mark.parametrize("counts", [(5, 4, 5), (5, 4, -1), (-1, 4, 0)])
def test_no_more_can_be_in_common_than_either_found(counts: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="dents in common"):
        two_counts(*counts)


def test_kappa_is_one_for_full_agreement_and_below_none_for_contradiction() -> None:
    assert kappa([(1, 1), (2, 2), (3, 3)]) == 1
    assert kappa([(1, 2), (2, 1)]) == -1
    assert kappa([(1, 1), (1, 2), (2, 1), (2, 2)]) == 0


def test_kappa_has_no_value_where_chance_alone_agrees() -> None:
    assert kappa([]) is None
    assert kappa([(2, 2), (2, 2)]) is None
    assert kappa([(1, 2), (1, 2)]) == 0


def test_two_careful_counts_of_a_hundred_differ_by_a_few() -> None:
    # 1.96 · √(200 · 0.1) = 8.77
    assert plausible_difference(104, 96, Fraction(9, 10)) == 8
    assert plausible_difference(104, 96, Fraction(1)) == 0
    assert plausible_difference(0, 0, Fraction(1, 2)) == 0


@settings(max_examples=examples(200))
@given(st.integers(0, 5000), st.integers(0, 5000), st.fractions(0, 1, max_denominator=1000))
def test_a_plausible_difference_is_the_last_whole_dent_within(
    n1: int, n2: int, rate: Fraction
) -> None:
    dents = plausible_difference(n1, n2, rate)
    square = Fraction(196, 100) ** 2 * (n1 + n2) * (1 - rate)
    assert dents**2 <= square < (dents + 1) ** 2


@pytest.mark.parametrize("rate", [Fraction(-1, 10), Fraction(11, 10)])
def test_a_share_is_between_nothing_and_all(rate: Fraction) -> None:
    with pytest.raises(ValueError, match="a rate from 0 to 1"):
        plausible_difference(5, 5, rate)
