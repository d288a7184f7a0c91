"""Base prices by a compiled loop, where numba is installed (`pip install hailcalc[fast]`).

No rule is written here. A rule for mixed sizes whose terms are linear in the counts (layers,
each, share) is *asked* for its shape: `linear_terms` gives `mixed_terms` one dent of each size in
turn and notes which counts make up a term's dents, its weight and the divisor. The loop then
multiplies and looks up what it is told, and rounds by `round_half_away` itself, compiled from the
same lines. Rules that choose a size (largest, most) are not linear and stay with numpy, as does
everything without numba; the results are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from hailcalc.matrix import mixed_terms
from hailcalc.matrix.model import Mixed
from hailcalc.money import round_half_away
from hailcalc.portfolio.rows import Whole, Yes


class LinearTerms(NamedTuple):
    """A mixed rule as numbers, for counts c by column, a row a term t.

    Σ (weight_t + weights[t] · c) × table_t[dents[t] · c] / (divisor + divisors · c).
    """

    dents: Whole
    weight: Whole
    weights: Whole
    divisor: int
    divisors: Whole


def linear_terms(mixed: Mixed, columns: int) -> LinearTerms | None:
    """The shape of a mixed rule, found by asking it; None if it is not linear."""
    nothing = [0] * columns
    weight, _, divisor = _asked(mixed, nothing)
    dents: Whole = np.zeros((len(weight), columns), np.int64)
    weights: Whole = np.zeros_like(dents)
    divisors: Whole = np.zeros(columns, np.int64)
    for column in range(columns):
        one = [*nothing[:column], 1, *nothing[column + 1 :]]
        for_one, dents_of_one, divisor_of_one = _asked(mixed, one)
        weights[:, column] = for_one - weight
        dents[:, column] = dents_of_one
        divisors[column] = divisor_of_one - divisor
    found = LinearTerms(dents, weight, weights, divisor, divisors)
    return found if _holds(found, mixed, columns) else None


def _asked(mixed: Mixed, counts: Sequence[int]) -> tuple[Whole, Whole, int]:
    """Weights, dents and the divisor of a rule's terms for some counts."""
    terms, divisor = mixed_terms(mixed, counts)
    weights: Whole = np.array([int(term.weight) for term in terms], np.int64)
    dents: Whole = np.array([int(term.dents) for term in terms], np.int64)
    return weights, dents, int(divisor)


def _holds(terms: LinearTerms, mixed: Mixed, columns: int) -> bool:
    """Whether the shape says what the rule says, on many counts."""
    random = np.random.Generator(np.random.PCG64(1))
    some = random.integers(0, 2, (200, columns)) * random.integers(1, 40, (200, columns))
    for counts in some.tolist():
        weight, dents, divisor = _asked(mixed, counts)
        if (
            (terms.weight + terms.weights @ counts != weight).any()
            or (terms.dents @ counts != dents).any()
            or terms.divisor + int(terms.divisors @ counts) != divisor
        ):
            return False
    return True


Loop = Callable[[Whole, Whole, tuple[Whole, ...], Yes, Whole, Whole], None]
"""Takes panels, where their grids begin, counts by column, which panels are due, the tables by
term, and the array that the base prices go into: 0 where none is due."""


@lru_cache(maxsize=16)
def base_loop(mixed: Mixed, columns: int, denominator: int) -> Loop | None:
    """The loop for a mixed rule; None without numba, or for a rule that is not linear.

    It is compiled when it is first called, in about a second. The rule's shape is a constant of
    it, so what is multiplied by nought falls away and nothing is divided that need not be.
    """
    terms = linear_terms(mixed, columns)
    try:
        from numba import njit
    except ImportError:
        return None
    if terms is None:
        return None
    compiled: Any = njit(nogil=True)
    rounded = compiled(round_half_away)
    dents, weights = _constant(terms.dents), _constant(terms.weights)
    (weight,), (divisors,) = _constant(terms.weight[None]), _constant(terms.divisors[None])
    divisor, number = terms.divisor, len(terms.weight)

    def loop(panel: Any, starts: Any, counts: Any, due: Any, tables: Any, amounts: Any) -> None:
        for at in range(len(amounts)):
            if not due[at]:
                amounts[at] = 0
                continue
            start = starts[panel[at]]
            value = 0
            over = divisor
            for column in range(columns):
                over += divisors[column] * counts[column][at]
            over = max(over, 1)
            for term in range(number):
                looked_up = start
                times = weight[term]
                for column in range(columns):
                    looked_up += dents[term][column] * counts[column][at]
                    times += weights[term][column] * counts[column][at]
                value += times * tables[term, looked_up]
            amounts[at] = rounded(value, over * denominator)

    made: Loop = compiled(loop)
    return made


def _constant(rows: Whole) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(int(each) for each in row) for row in rows)
