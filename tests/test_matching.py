"""Two counters' marks on one panel: the same dent is found again, and no other is put in its place.

Millimetres. What is best is worked out in the tests by trying all pairings, in whole micrometres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.counting.matching import Mark, Matching, match_marks
from tests.effort import examples

GATE = 20.0

# A coarse grid makes ties, a fine one makes near misses.
places = st.one_of(
    st.integers(0, 8).map(lambda step: 5.0 * step),
    st.integers(0, 60_000).map(lambda um: um / 1000),
)
marks = st.tuples(places, places, st.sampled_from([8.0, 12.5, 17.9, 24.3]))


def counts(most: int) -> st.SearchStrategy[list[Mark]]:
    return st.lists(marks, max_size=most)


def value(
    a: Sequence[Mark], b: Sequence[Mark], pairs: Sequence[tuple[int, int]], gate: float
) -> tuple[int, int, int]:
    """What pairs are worth: gain, how many, and less is better of size differences."""
    gain = differ = 0
    for i, j in pairs:
        dx, dy, size = (round(p * 1000) - round(q * 1000) for p, q in zip(a[i], b[j], strict=True))
        square = dx * dx + dy * dy
        assert square <= round(gate * 1000) ** 2
        gain += round(gate * 1000) - (isqrt(4 * square) + 1) // 2
        differ += abs(size)
    return gain, len(pairs), -differ


def pairings(
    a: Sequence[Mark], b: Sequence[Mark], gate: float, start: int = 0, taken: int = 0
) -> Iterator[list[tuple[int, int]]]:
    """All ways to pair, each mark at most once."""
    if start == len(a):
        yield []
        return
    yield from pairings(a, b, gate, start + 1, taken)
    for j in range(len(b)):
        dx, dy = (round(a[start][k] * 1000) - round(b[j][k] * 1000) for k in (0, 1))
        if not taken >> j & 1 and dx * dx + dy * dy <= round(gate * 1000) ** 2:
            for rest in pairings(a, b, gate, start + 1, taken | 1 << j):
                yield [(start, j), *rest]


def test_a_dent_marked_twice_a_little_apart_is_one_dent() -> None:
    a = [(100.0, 100.0, 18.0), (400.0, 250.0, 12.0)]
    b = [(403.0, 248.0, 12.5), (700.0, 90.0, 15.0), (98.0, 101.0, 17.5)]
    assert match_marks(a, b, GATE) == Matching(((0, 2), (1, 0)), (), (1,))


def test_the_obvious_pair_stands_though_two_far_fetched_ones_were_possible() -> None:
    a = [(100.0, 0.0, 15.0), (81.0, 0.0, 15.0)]
    b = [(100.0, 0.0, 15.0), (119.0, 0.0, 15.0)]
    assert match_marks(a, b, GATE).pairs == ((0, 0),)


def test_a_chain_is_shifted_where_the_whole_fits_better() -> None:
    a = [(0.0, 0.0, 15.0), (11.0, 0.0, 15.0)]
    b = [(10.0, 0.0, 15.0), (23.0, 0.0, 15.0)]
    # 1-0 is the closest pair, yet 0-0 and 1-1 are 10 + 8 inside the gate, and 1-0 alone 19.
    assert match_marks(a, b, GATE).pairs == ((1, 0),)
    # Two millimetres nearer, the two pairs are 10 + 10.
    assert match_marks(a, [b[0], (21.0, 0.0, 15.0)], GATE).pairs == ((0, 0), (1, 1))


def test_marks_at_the_gate_belong_together_and_a_thousandth_beyond_do_not() -> None:
    a = [(0.0, 0.0, 15.0)]
    assert match_marks(a, [(12.0, 16.0, 15.0)], GATE).pairs == ((0, 0),)
    assert match_marks(a, [(12.0, 16.001, 15.0)], GATE).pairs == ()


def test_of_equally_near_marks_the_one_of_like_size_is_taken() -> None:
    a = [(0.0, 0.0, 15.0)]
    b = [(3.0, 0.0, 24.0), (0.0, 3.0, 16.0), (-3.0, 0.0, 6.0)]
    assert match_marks(a, b, GATE) == Matching(((0, 1),), (), (0, 2))


def test_more_pairs_are_taken_where_the_fit_is_the_same() -> None:
    # In a row: b1, 11 mm, a0, 2 mm, b0, 11 mm, a1. 0-0 alone is 18 inside the gate; 0-1 and
    # 1-0, 9 each, are as much and two.
    a = [(11.0, 0.0, 15.0), (24.0, 0.0, 30.0)]
    b = [(13.0, 0.0, 15.0), (0.0, 0.0, 30.0)]
    assert match_marks(a, b, GATE).pairs == ((0, 1), (1, 0))


def test_a_gate_of_nothing_pairs_only_what_coincides() -> None:
    a = [(1.0, 2.0, 15.0), (5.0, 5.0, 15.0)]
    assert match_marks(a, [(1.0, 2.0, 9.0), (5.0, 5.001, 15.0)], 0).pairs == ((0, 0),)


def test_a_gate_below_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="expected 0 or more"):
        match_marks([], [], -1)


@settings(max_examples=examples(300))
@given(counts(5), counts(5), st.sampled_from([0.0, 7.071, 15.0, 25.0, 90.0]))
def test_no_other_pairing_is_better(a: list[Mark], b: list[Mark], gate: float) -> None:
    found = match_marks(a, b, gate)
    best = max(value(a, b, pairs, gate) for pairs in pairings(a, b, gate))
    assert value(a, b, found.pairs, gate) == best


@settings(max_examples=examples(200))
@given(counts(30), counts(30), st.sampled_from([5.0, 12.0, 40.0]))
def test_every_mark_is_paired_once_or_stands_alone(
    a: list[Mark], b: list[Mark], gate: float
) -> None:
    found = match_marks(a, b, gate)
    assert sorted([i for i, _ in found.pairs] + list(found.only_a)) == list(range(len(a)))
    assert sorted([j for _, j in found.pairs] + list(found.only_b)) == list(range(len(b)))
    assert list(found.pairs) == sorted(found.pairs)
    assert found.only_a == tuple(sorted(found.only_a))


@settings(max_examples=examples(200))
@given(counts(25), counts(25))
def test_neither_who_counted_first_nor_the_order_of_marks_changes_how_well_they_fit(
    a: list[Mark], b: list[Mark]
) -> None:
    found = value(a, b, match_marks(a, b, GATE).pairs, GATE)
    swapped = match_marks(b, a, GATE).pairs
    assert value(b, a, swapped, GATE) == found
    assert value(a[::-1], b, match_marks(a[::-1], b, GATE).pairs, GATE) == found


@settings(max_examples=examples(100))
@given(counts(40), st.sampled_from([0.0, 12.0, 40.0]))
def test_a_count_against_itself_leaves_nothing_over(a: list[Mark], gate: float) -> None:
    found = match_marks(a, a, gate)
    assert (found.only_a, found.only_b) == ((), ())
    assert value(a, a, found.pairs, gate) == (len(a) * round(gate * 1000), len(a), 0)
