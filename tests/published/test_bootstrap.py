"""Intervals of `hailcalc.storm.compare` against scipy's bootstrap (percentile method).

`scipy.stats.bootstrap(..., method="percentile")` draws with a generator of its own, so the two
agree within Monte Carlo error. A limit at probability p from B draws has the standard error
sqrt(p (1 - p) / B) / f, with f the density of the draws there (David and Nagaraja: Order
Statistics, 2003, section 2.5, *from memory*); f is taken from a normal density with the draws'
mean and deviation, to which sums over two hundred vehicles come close. Two independent runs
differ by the root of two times that; five of those are allowed, and the linear interpolation of
scipy's limits lies well within.
"""

from __future__ import annotations

from math import exp, pi, sqrt
from typing import Any

import numpy as np
import pytest
from scipy.stats import bootstrap, norm

from hailcalc.storm.compare import Measure, compare
from hailcalc.storm.economics import economics
from tests.storm.invented import random_book, storm

DRAWS = 8_000
ALLOWED = 5


@pytest.mark.parametrize("level", [80, 90, 95])
@pytest.mark.parametrize(
    "measure", ["margin", "per-vehicle", "revenue", "per-repair-hour", "share"]
)
def test_limits_agree_with_scipys(measure: Measure, level: int) -> None:
    book, panels = random_book(200, seed=21)
    of = economics(storm(costs={"lead": "25.00", "other": "3000.00"}), book, panels)
    revenue, contribution, tenths = (
        np.asarray(column, dtype=float)
        for column in (of.sample.revenue, of.sample.contribution, of.sample.repair_tenths)
    )
    fixed = float(of.fixed_total)

    def statistic(brought: Any, added: Any, minutes: Any, axis: int = -1) -> Any:
        margin = added.sum(axis=axis) - fixed
        if measure == "margin":
            return margin
        if measure == "revenue":
            return brought.sum(axis=axis)
        if measure == "per-vehicle":
            return margin / added.shape[axis]
        if measure == "share":
            return 10_000 * margin / brought.sum(axis=axis)
        return 600 * margin / minutes.sum(axis=axis)

    theirs = bootstrap(
        (revenue, contribution, tenths),
        statistic,
        n_resamples=DRAWS,
        paired=True,
        vectorized=True,
        confidence_level=level / 100,
        method="percentile",
        rng=np.random.default_rng(5),
    )
    ours = compare([of], level=level, resamples=DRAWS).storms[0].measures[measure]
    deviation = float(np.std(theirs.bootstrap_distribution))
    p = (1 - level / 100) / 2
    z = norm.ppf(p)
    error = sqrt(p * (1 - p) / DRAWS) * deviation / (exp(-z * z / 2) / sqrt(2 * pi))
    allowed = ALLOWED * sqrt(2) * error + 1
    assert ours.low is not None
    assert ours.high is not None
    assert abs(ours.low - theirs.confidence_interval.low) < allowed
    assert abs(ours.high - theirs.confidence_interval.high) < allowed
    # The allowance is a small part of the interval, so that a wrong one would be seen.
    assert allowed < 0.15 * (ours.high - ours.low)
