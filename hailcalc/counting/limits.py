"""Counting statistics: what a count of dents in sample squares says about the expected count.

Counts are whole dents; limits are of the sum over all squares, two-sided, 95 % unless told
otherwise; probabilities are plain fractions of one.

The idea: dents that fall without regard to one another are Poisson, and Garwood's exact limits
hold (F. Garwood 1936, Biometrika 28, 437-442). Hail that came in swarms, or a panel that bends
out of the hail, makes squares differ more than that; then the limits come from the differences
between the squares. Which of the two it is says the index of dispersion (R. A. Fisher 1925,
Statistical Methods for Research Workers), sum of (k - mean)^2 / mean, chi-square with one degree
of freedom less than squares.

What was measured: 8,000 simulated panels a case, 1.5 m by 1.2 m, 300 to 900 dents, squares of
200 mm picked at random; how often the limits, scaled to the panel, hold its true number:

- Garwood alone: scattered dents 96-98 %; dents in swarms (Neyman-Scott, negative binomial,
  variance 2 to 5 times the mean) 64-87 %. So a test is needed.
- A test at 0.05, then k plus and minus t·s·√n: swarms 89-96 % in 5 to 10 squares, too low with
  few squares, because the test misses what it should find and because counts are skewed.
- As here: see `LEVEL` and `LEVEL_OF_FEW`. k is multiplied and divided by q = 1 + r + r²/2 with
  r = t·s·√n / k. That is e^r to its second power: it allows for the skew as a log scale does,
  needs no exponential key, and does not run away where there are but two squares (t = 12.706).

The true number is that of the panel at hand, of which a tenth to a quarter was counted and not
estimated; so limits for scattered dents are somewhat on the safe side, Garwood's already.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import Literal, NamedTuple

LEVEL = 0.25
"""Poisson is rejected where chance gives such squares less often than this (5 squares or more).

Laxer than a test for its own sake: taking swarms for scattered dents costs coverage, the reverse
only width. Measured with 5, 6, 8, 10 squares: swarms and sloping density from 93.2, 94.7, 95.8,
96.3 % up, to 96.9 %; scattered dents 97.4 to 98.6 %, of which Garwood alone has 96.6 to 98.1 %.
At 0.20 scattered dents have 97.2 to 98.5 %, and swarms in 5 squares came down to 92.8 %.
"""

LEVEL_OF_FEW = 0.50
"""The same for fewer than five squares, where the test hardly ever finds anything.

Measured with 2, 3, 4 squares: swarms from 91.3, 94.4, 95.1 % up (at 0.25: 85.7, 91.0, 93.1 %),
scattered dents 98.1 to 98.4 %. Two squares stay a poor sample, and their limits say so.
"""

_FEW = 5

_T_95 = (
    "12.706 4.303 3.182 2.776 2.571 2.447 2.365 2.306 2.262 2.228 "
    "2.201 2.179 2.160 2.145 2.131 2.120 2.110 2.101 2.093 2.086 "
    "2.080 2.074 2.069 2.064 2.060 2.056 2.052 2.048 2.045 2.042"
)

T_TABLE: dict[int, Decimal] = {
    degrees: Decimal(value) for degrees, value in enumerate(_T_95.split(), start=1)
}
"""Student's t, two-sided 95 %, by degrees of freedom, as in Fisher's table (from memory).

Beyond 30 degrees the entry for 30 is used, which is a little wide."""

_HUNDREDTH = Decimal("0.01")
_THOUSANDTH = Decimal("0.001")
_EPSILON = 1e-17
_TINY = 1e-300


class Dispersion(NamedTuple):
    """Index of dispersion: sum of (k - mean)^2 / mean, its degrees, the upper tail's chance."""

    index: Fraction  # type: ignore[assignment]  # hides tuple.index, which nobody asks of it
    degrees: int
    p: float


class SampleLimits(NamedTuple):
    """95 % limits of the sum over the squares, rounded outward, and the words for the sheet."""

    lower: Decimal
    upper: Decimal
    method: Literal["Poisson", "between squares"]
    dispersion: Dispersion | None
    because: str


def gamma_q(a: float, x: float) -> float:
    """The regularised upper incomplete gamma function Q(a, x), for a of a half or more.

    Good to 1e-12 of its value: a series below a + 1, a continued fraction above.
    """
    if not (a >= 0.5 and x >= 0):
        raise ValueError(f"gamma_q({a}, {x}): expected a of 0.5 or more and x of 0 or more")
    if x == 0:
        return 1.0
    if math.isinf(x):
        return 0.0
    density = _poisson_density(a, x)
    if x < a + 1:
        return 1.0 - density * _series(a, x)
    return density * a * _continued_fraction(a, x)


def _poisson_density(a: float, x: float) -> float:
    """x^a e^-x / Γ(a + 1), without the cancellation of large logarithms.

    Stirling's error and the deviance apart, as C. Loader 2000 computes binomial
    probabilities (from memory).
    """
    if a < 15:
        return math.exp(a * math.log(x) - x - math.lgamma(a + 1))
    return math.exp(-_stirling_error(a) - _deviance(a, x)) / math.sqrt(2 * math.pi * a)


def _stirling_error(a: float) -> float:
    """What log Γ(a + 1) is above Stirling's formula."""
    square = a * a
    coefficients = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188, -691 / 360360)
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total / square + coefficient
    return total / a


def _deviance(a: float, x: float) -> float:
    """a·log(a/x) + x - a; near a = x by the series of the logarithm."""
    v = (a - x) / (a + x)
    if abs(v) > 0.1:
        return a * math.log(a / x) + x - a
    total, power, n = (a - x) * v, 2 * a * v, 1
    while True:
        power *= v * v
        n += 2
        larger = total + power / n
        if larger == total:
            return total
        total = larger


def _series(a: float, x: float) -> float:
    """1 + x/(a+1) + x²/((a+1)(a+2)) + …"""
    term = total = 1.0
    n = a
    while term > total * _EPSILON:
        n += 1
        term *= x / n
        total += term
    return total


def _continued_fraction(a: float, x: float) -> float:
    """Γ(a, x) / (x^a e^-x), by Lentz's method."""
    b = x + 1 - a
    c, d = 1 / _TINY, 1 / b
    value = d
    n = 0
    while True:
        n += 1
        numerator = n * (a - n)
        b += 2
        d = 1 / ((numerator * d + b) or _TINY)
        c = (b + numerator / c) or _TINY
        value *= c * d
        if abs(c * d - 1) < 4e-16 or n > 100_000:
            return value


def poisson_limits(count: int, level: Fraction | float = 0.95) -> tuple[float, float]:
    """Garwood's exact limits for the mean of a Poisson count, both tails alike."""
    if count < 0 or not 0 < level < 1:
        raise ValueError(f"{count} at level {level}: expected a count and a level between 0 and 1")
    tail = float((1 - level) / 2)
    lower = _quantile(count, 1 - tail) if count else 0.0
    return lower, _quantile(count + 1, tail)


def _quantile(a: int, chance: float) -> float:
    """The x at which Q(a, x), which falls, is `chance`: Newton's steps within a bracket."""
    low, high = 0.0, max(2.0 * a, a + 10.0)
    while gamma_q(a, high) > chance:
        high *= 2
    x = float(a)
    for _ in range(200):
        excess = gamma_q(a, x) - chance
        if excess > 0:
            low = x
        else:
            high = x
        slope = _poisson_density(a, x) * a / x
        step = excess / slope if slope > 0 else math.inf
        following = x + step
        if not low < following < high:
            following = (low + high) / 2
        if abs(following - x) <= 4e-16 * x:
            return following
        x = following
    return x


def index_of_dispersion(counts: Sequence[int]) -> Dispersion:
    """How much the squares differ, for their mean; needs two squares and one dent."""
    number, total = len(counts), sum(counts)
    if number < 2 or total <= 0 or min(counts) < 0:
        raise ValueError("expected counts of two or more squares, with at least one dent")
    # Σ(k - mean)² / mean, multiplied out: n·Σk²/K - K.
    index = Fraction(number * sum(count * count for count in counts), total) - total
    degrees = number - 1
    return Dispersion(index, degrees, gamma_q(degrees / 2, float(index) / 2))


def sample_limits(counts: Sequence[int]) -> SampleLimits:
    """95 % limits of the sum over sample squares, by the method that the squares call for."""
    if not counts or min(counts) < 0:
        raise ValueError("expected the counts of one or more squares, none below 0")
    total = sum(counts)
    low, high = poisson_limits(total)
    lower, upper = _outward(low, ROUND_FLOOR), _outward(high, ROUND_CEILING)
    garwood = f"Garwood's exact Poisson limits of {total}: {lower} and {upper}"
    if len(counts) == 1:
        because = f"one square cannot show whether the dents are scattered evenly; {garwood}"
        return SampleLimits(lower, upper, "Poisson", None, because)
    if total == 0:
        because = f"no dent in {len(counts)} squares; {garwood}"
        return SampleLimits(lower, upper, "Poisson", None, because)
    dispersion = index_of_dispersion(counts)
    level = LEVEL if len(counts) >= _FEW else LEVEL_OF_FEW
    found = _found(dispersion)
    if dispersion.p >= level:
        because = f"{found}, not below {level:.2f}: the squares agree as chance would have it; "
        return SampleLimits(lower, upper, "Poisson", dispersion, because + garwood)
    down, up, figures = _between_squares(counts)
    because = (
        f"{found}, below {level:.2f}: the squares differ too much for Poisson limits to be safe; "
        f"{figures}; on neither side narrower than {garwood}"
    )
    return SampleLimits(min(lower, down), max(upper, up), "between squares", dispersion, because)


def _found(dispersion: Dispersion) -> str:
    # Rounded down, so that the printed p stands on the same side of the level as p itself.
    thousandths = int(dispersion.p * 1000)
    p = f"p = 0.{thousandths:03}" if 0 < thousandths < 1000 else "p = 1"
    if thousandths == 0:
        p = "p under 0.001"
    noun = "degree" if dispersion.degrees == 1 else "degrees"
    return (
        f"index of dispersion {_decimal(dispersion.index):.2f} for {dispersion.degrees} {noun} "
        f"of freedom ({p})"
    )


def _between_squares(counts: Sequence[int]) -> tuple[Decimal, Decimal, str]:
    """Limits k / q and k × q from the squares' own scatter.

    s and r are rounded up as they are printed and the limits worked out from the printed
    figures, so that a pocket calculator finds the very same.
    """
    number, total = len(counts), sum(counts)
    variance = Fraction(
        number * sum(count * count for count in counts) - total * total, number * (number - 1)
    )
    s = _decimal(variance).sqrt().quantize(_HUNDREDTH, ROUND_CEILING)
    t = T_TABLE[min(number - 1, max(T_TABLE))]
    r = (t * s * Decimal(number).sqrt() / total).quantize(_THOUSANDTH, ROUND_CEILING)
    q = 1 + r + r * r / 2
    lower = (total / q).quantize(_HUNDREDTH, ROUND_FLOOR)
    upper = (total * q).quantize(_HUNDREDTH, ROUND_CEILING)
    figures = (
        f"standard deviation between {number} squares s = {s}, Student's t {t}, "
        f"r = {t} × {s} × √{number} / {total} = {r}, "
        f"{total} divided and multiplied by 1 + r + r²/2: {lower} and {upper}"
    )
    return lower, upper, figures


def _decimal(value: Fraction) -> Decimal:
    return Decimal(value.numerator) / value.denominator


def _outward(value: float, rounding: str) -> Decimal:
    return Decimal(value).quantize(_HUNDREDTH, rounding)
