"""Counting statistics against published values and against scipy and scikit-learn.

Whole dents; places in millimetres. The idea: what the product works out with nothing but
arithmetic is held against tables in print and against libraries that go about it another way.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment
from scipy.special import gammaincc
from scipy.stats import chi2, hypergeom, poisson
from scipy.stats import t as student
from sklearn.metrics import cohen_kappa_score

from hailcalc.counting.limits import T_TABLE, gamma_q, index_of_dispersion, poisson_limits
from hailcalc.counting.matching import match_marks
from hailcalc.counting.twocounts import kappa, two_counts
from tests.effort import examples

# F. Garwood 1936, Fiducial limits for the Poisson distribution, Biometrika 28, 437-442:
# 95 % limits, to the decimals printed here.
GARWOOD_95 = {
    0: ("0", "3.689"),
    1: ("0.025", "5.572"),
    2: ("0.242", "7.225"),
    5: ("1.623", "11.668"),
    10: ("4.795", "18.390"),
    25: ("16.18", "36.90"),
}
# The same, 25 counted, at other levels.
GARWOOD_25 = {"0.90": ("17.38", "34.92"), "0.99": ("14.00", "41.00")}


def as_printed(value: float, like: str) -> str:
    """`value` with as many decimals as `like`."""
    return f"{value:.{len(like.partition('.')[2])}f}"


@pytest.mark.parametrize("count", list(GARWOOD_95))
def test_limits_are_garwoods(count: int) -> None:
    low, high = poisson_limits(count)
    printed = GARWOOD_95[count]
    assert (as_printed(low, printed[0]), as_printed(high, printed[1])) == printed


@pytest.mark.parametrize("level", list(GARWOOD_25))
def test_limits_at_other_levels_are_garwoods(level: str) -> None:
    low, high = poisson_limits(25, Fraction(level))
    printed = GARWOOD_25[level]
    assert (as_printed(low, printed[0]), as_printed(high, printed[1])) == printed


@pytest.mark.parametrize("count", [*range(120), 500, 2000, 20_000])
def test_limits_are_scipys_quantiles_of_chi_square(count: int) -> None:
    """Garwood's form: half the quantiles of chi-square at 2k and 2k + 2 degrees."""
    low, high = poisson_limits(count)
    assert high == pytest.approx(chi2.ppf(0.975, 2 * count + 2) / 2, rel=1e-12)
    if count:
        assert low == pytest.approx(chi2.ppf(0.025, 2 * count) / 2, rel=1e-12)


@pytest.mark.parametrize("count", [1, 7, 60, 900])
def test_beyond_the_limits_the_count_is_rarer_than_one_in_forty(count: int) -> None:
    """scipy.stats.poisson, by summing the chances of counts."""
    low, high = poisson_limits(count)
    assert poisson.sf(count - 1, low) == pytest.approx(0.025, rel=1e-9)
    assert poisson.cdf(count, high) == pytest.approx(0.025, rel=1e-9)


@settings(max_examples=examples(400))
@given(st.integers(1, 40_000), st.floats(-7, 9))
def test_incomplete_gamma_is_scipys(halves: int, deviations: float) -> None:
    a = halves / 2
    x = a + deviations * a**0.5
    assume(x > 0)
    assert gamma_q(a, x) == pytest.approx(gammaincc(a, x), rel=1e-12)


@settings(max_examples=examples(100))
@given(st.lists(st.integers(0, 50), min_size=2, max_size=15).filter(any))
def test_the_dispersion_test_is_scipys_chi_square(counts: list[int]) -> None:
    found = index_of_dispersion(counts)
    index = np.var(counts) / np.mean(counts) * len(counts)
    assert float(found.index) == pytest.approx(index, abs=1e-9)
    assert found.p == pytest.approx(chi2.sf(float(found.index), len(counts) - 1), rel=1e-12)


def test_students_t_is_scipys_to_three_decimals() -> None:
    assert {degrees: str(value) for degrees, value in T_TABLE.items()} == {
        degrees: f"{student.ppf(0.975, degrees):.3f}" for degrees in range(1, 31)
    }


# D. G. Chapman's estimator (1951, Univ. Calif. Publ. Stat. 1, 131-160), worked examples:
# first count, second count, in common, estimate to two decimals.
CHAPMAN = [(15, 10, 5, "28.33"), (100, 100, 20, "484.76")]


@pytest.mark.parametrize(("n1", "n2", "both", "estimate"), CHAPMAN)
def test_the_estimate_is_chapmans(n1: int, n2: int, both: int, estimate: str) -> None:
    assert f"{float(two_counts(n1, n2, both).chapman):.2f}" == estimate


def test_chapman_is_below_lincoln_and_petersens_plain_quotient() -> None:
    found = two_counts(15, 10, 5)
    assert Fraction(15 * 10, 5) == 30 > found.chapman


def test_the_variance_is_sebers() -> None:
    """G. A. F. Seber 1970, Biometrics 26, put in by hand for 15, 10 and 5 in common:
    16 · 11 · 10 · 5 / (6² · 7)."""
    assert two_counts(15, 10, 5).variance == Fraction(8800, 252)


@settings(max_examples=examples(60))
@given(st.integers(1, 60), st.integers(0, 40), st.integers(0, 40))
def test_limits_of_the_true_number_are_scipys_hypergeometric(
    both: int, only_a: int, only_b: int
) -> None:
    n1, n2 = both + only_a, both + only_b
    found = two_counts(n1, n2, both)
    assert found.upper is not None

    def as_few(dents: int) -> float:
        chance = hypergeom(dents, n1, n2)
        return float(chance.cdf(both) - chance.pmf(both) / 2)

    assert as_few(found.lower) > 0.025 - 1e-9
    assert found.lower == found.union or as_few(found.lower - 1) <= 0.025 + 1e-9
    assert as_few(found.upper) < 0.975 + 1e-9
    assert as_few(found.upper + 1) >= 0.975 - 1e-9


@settings(max_examples=examples(80))
@given(st.lists(st.tuples(st.integers(1, 4), st.integers(1, 4)), min_size=2, max_size=40))
def test_kappa_is_scikit_learns(pairs: list[tuple[int, int]]) -> None:
    found = kappa(pairs)
    assume(found is not None)
    assert found is not None
    first, second = zip(*pairs, strict=True)
    assert float(found) == pytest.approx(cohen_kappa_score(first, second), abs=1e-12)


@pytest.mark.parametrize(
    ("dents", "width", "gate"), [(40, 200, 20), (120, 400, 20), (300, 1200, 20), (200, 300, 60)]
)
@pytest.mark.parametrize("seed", range(4))
def test_pairs_of_marks_are_as_good_as_scipys_assignment(
    dents: int, width: int, gate: int, seed: int
) -> None:
    """scipy.optimize.linear_sum_assignment on the full table, where a pair beyond the gate is
    worth nothing, as is leaving two marks unpaired."""
    rng = np.random.default_rng([seed, dents, gate])
    a, b = rng.integers(0, width, (2, dents, 2))
    b = b[: dents - 7]
    distances = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
    gains = gate * 1000 - np.rint(distances * 1000)
    gains[distances > gate] = 0
    best = gains[linear_sum_assignment(gains, maximize=True)].sum()
    found = match_marks(
        [(float(x), float(y), 15.0) for x, y in a],
        [(float(x), float(y), 15.0) for x, y in b],
        gate,
    )
    assert all(distances[i, j] <= gate for i, j in found.pairs)
    assert sum(gains[i, j] for i, j in found.pairs) == best
