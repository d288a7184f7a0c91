"""Sample squares: a battered panel counted in squares and scaled to its area.

Sides in mm, areas in cm², counts by size class. k dents in n squares of side s stand for
k · A / (n · s²) on a panel of area A: exact arithmetic on figures that the sheet prints (A
is taken in whole cm²), rounded half away from zero. The size classes are scaled alike and
rounded by largest remainder, so that they add up to that total; a class with a larger part
cut off is rounded up first, a smaller coin before a larger one where parts are equal.

The margin comes from `limits`: Garwood's exact limits of k, or wider ones between squares
where these disagree more than chance allows, scaled by the same A / (n · s²), the lower
limit rounded down but never below the k that were seen, the upper limit rounded up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from hailcalc.claimfile import Sample
from hailcalc.counting.limits import SampleLimits, sample_limits
from hailcalc.money import plain, round_half_away, rounded
from hailcalc.problems import Place, Problem

Tally = dict[str, int]


class Scaled(NamedTuple):
    """Counts of a whole panel by coin, and how many of them carry each mark."""

    tally: Tally
    marked: dict[str, Tally]

    @property
    def total(self) -> int:
        """All dents."""
        return sum(self.tally.values())


class SampleEstimate(NamedTuple):
    """What the squares say of the whole panel.

    `factor` is A / (n · s²); `estimate`, `lower` and `upper` are the panel's counts at the estimate
    and at its 95 % limits.
    """

    side_mm: Decimal
    per_square: tuple[int, ...]
    area_cm2: int
    squares_cm2: Fraction
    limits: SampleLimits
    estimate: Scaled
    lower: Scaled
    upper: Scaled

    @property
    def counted(self) -> int:
        """Dents in all squares."""
        return sum(self.per_square)

    @property
    def factor(self) -> Fraction:
        """Panel's area over the squares' area."""
        return self.area_cm2 / self.squares_cm2


def whole_cm2(area_mm2: Fraction) -> int:
    """An area in whole cm², rounded half up, as it is printed and computed with."""
    return round_half_away(area_mm2.numerator, area_mm2.denominator * 100)


def estimate_sample(sample: Sample, area_cm2: int, coins: Sequence[str]) -> SampleEstimate:
    """Scale checked sample squares to a panel of `area_cm2`.

    `coins` is the order of the coins by size; a coin that it lacks comes last.
    """
    per_square = tuple(sum(square.tally.values()) for square in sample.squares)
    seen = Scaled(
        _in_order(_added(square.tally for square in sample.squares), coins),
        {
            mark: _added(square.marked.get(mark, {}) for square in sample.squares)
            for mark in dict.fromkeys(mark for square in sample.squares for mark in square.marked)
        },
    )
    squares_cm2 = _squares_cm2(sample)
    factor = area_cm2 / squares_cm2
    limits = sample_limits(per_square)
    counted = sum(per_square)
    total = round_half_away(counted * factor.numerator, factor.denominator)
    lower = max(counted, floor(Fraction(limits.lower) * factor))
    upper = ceil(Fraction(limits.upper) * factor)
    return SampleEstimate(
        side_mm=sample.side_mm,
        per_square=per_square,
        area_cm2=area_cm2,
        squares_cm2=squares_cm2,
        limits=limits,
        estimate=scaled_to(seen, total, factor),
        lower=scaled_to(seen, min(lower, total)),
        upper=scaled_to(seen, max(upper, total)),
    )


def _squares_cm2(sample: Sample) -> Fraction:
    return len(sample.squares) * Fraction(sample.side_mm) ** 2 / 100


def scaled_to(seen: Scaled, total: int, factor: Fraction | None = None) -> Scaled:
    """`seen` times `factor`, the sizes rounded by largest remainder so that they add up to `total`.

    The factor is total over seen unless it is given; then `total` is seen × factor, rounded.
    """
    if not seen.total:
        return Scaled({}, {})
    times = Fraction(total, seen.total) if factor is None else factor
    exact = {coin: number * times for coin, number in seen.tally.items()}
    tally = {coin: floor(number) for coin, number in exact.items()}
    by_remainder = sorted(exact, key=lambda coin: tally[coin] - exact[coin])
    for coin in by_remainder[: total - sum(tally.values())]:
        tally[coin] += 1
    marked = {
        mark: {coin: min(tally[coin], rounded(number * times)) for coin, number in sizes.items()}
        for mark, sizes in seen.marked.items()
    }
    return Scaled(tally, marked)


def _added(tallies: Iterator[Mapping[str, int]]) -> Tally:
    total: Tally = {}
    for tally in tallies:
        for coin, number in tally.items():
            total[coin] = total.get(coin, 0) + number
    return total


def _in_order(tally: Tally, coins: Sequence[str]) -> Tally:
    known = {coin: tally[coin] for coin in coins if coin in tally}
    return known | tally


def sample_problems(
    sample: Sample, area_mm2: Fraction, widest_mm: float, where: Place, file: str
) -> Iterator[Problem]:
    """Squares that cannot be squares of this panel, wherever they were put.

    `widest_mm` is the diameter of the widest circle on the panel: a larger square fits nowhere.
    """
    place: Place = (*where, "sample")
    side = plain(sample.side_mm)
    square_mm2 = Fraction(sample.side_mm) ** 2
    number = f"{len(sample.squares)} square{'' if len(sample.squares) == 1 else 's'}"
    if float(sample.side_mm) > widest_mm + 1:
        yield Problem(
            file,
            (*place, "side_mm"),
            f"squares of {side} mm",
            f"squares that fit on the panel; the widest circle on it is {widest_mm:.0f} mm",
        )
    elif len(sample.squares) * square_mm2 > area_mm2:
        found = f"{number} of {side} mm, "
        found += f"{whole_cm2(len(sample.squares) * square_mm2):,} cm² together"
        expected = f"squares side by side within the panel's {whole_cm2(area_mm2):,} cm²"
        yield Problem(file, (*place, "squares"), found, expected)
    if not any(sum(square.tally.values()) for square in sample.squares):
        found = f"{number} without a dent"
        expected = "dents to scale; a panel so empty is counted dent by dent"
        yield Problem(file, (*place, "squares"), found, expected)
    placed = sum(square.at is not None for square in sample.squares)
    if 0 < placed < len(sample.squares):
        found = f"{placed} of {len(sample.squares)} squares with a place on the panel"
        yield Problem(file, (*place, "squares"), found, "a place for every square, or for none")
