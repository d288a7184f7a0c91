"""Storms side by side: a ranking with intervals, and the chance that one beats another.

The vehicles of a storm are taken as a sample of those that such a storm brings. Each resample draws
as many vehicles again, with replacement, and works the measure out anew; the storm's fixed costs
stay as they are (the percentile bootstrap: Efron 1979, Annals of Statistics 7, 1-26). That as many
come again is taken for granted. With few vehicles such limits are too narrow, so below
`FEWEST_FOR_LIMITS` there are none, and below `FEW` the reports caution. All sums are whole numbers
and the limits are values of resamples (nearest rank), so no amount is ever a float. The generator
is seeded by the storm's name: the same books give the same figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Literal, NamedTuple, get_args
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from hailcalc.money import round_half_away
from hailcalc.problems import InputError, Problem
from hailcalc.storm.economics import Sample, StormFigures

Measure = Literal[
    "margin", "per-vehicle", "per-technician-day", "per-repair-hour", "share", "revenue"
]
MEASURES: tuple[Measure, ...] = get_args(Measure)
MEASURE_LABELS: dict[Measure, str] = {
    "margin": "Margin",
    "per-vehicle": "Margin a vehicle",
    "per-technician-day": "Margin a technician-day",
    "per-repair-hour": "Margin an hour of repair sold",
    "share": "Margin of revenue, %",
    "revenue": "Revenue",
}
RESAMPLES = 4000
LEVEL = 90
FEWEST_FOR_LIMITS = 5
"""With fewer vehicles there are no limits and no chances: draws of three know next to nothing."""
FEW = 30
"""With fewer vehicles the limits are narrower than they say (common practice, no source)."""
_SEED = 20_260_512
_BLOCK = 2_000_000
"""Places drawn at a time, which bounds the memory."""

Whole = NDArray[np.int64]


class Measured(NamedTuple):
    """A measure of a storm with its interval: minor units, or hundredths of a per cent of `share`.

    None where there is no divisor (no vehicle, no hour sold, no revenue); the limits also where
    the vehicles are too few.
    """

    value: int | None
    low: int | None
    high: int | None


class BreakEven(NamedTuple):
    """Vehicles like these that pay for the fixed costs, with its interval.

    None where they never do, `high` also where some resamples never do; both limits where the
    vehicles are too few.
    """

    vehicles: int | None
    low: int | None
    high: int | None


class Ranked(NamedTuple):
    """A storm in a comparison: its figures in its own currency, its measures in the common one."""

    figures: StormFigures
    measures: dict[Measure, Measured]
    break_even: BreakEven

    @property
    def priced(self) -> int:
        """Vehicles that the figures are of."""
        return len(self.figures.sample.claims)

    @property
    def has_limits(self) -> bool:
        """Whether its vehicles are enough to draw limits from."""
        return enough_for_limits(self.figures)


class Comparison(NamedTuple):
    """Storms by a measure, the best first. `chances[i][j]`: that storm i beats storm j, by it.

    `rates` are what one unit of another currency is worth in `currency`.
    """

    by: Measure
    storms: tuple[Ranked, ...]
    chances: tuple[tuple[Fraction | None, ...], ...]
    currency: str
    decimals: int
    rates: dict[str, Fraction]
    level: int
    resamples: int


def compare(
    storms: Sequence[StormFigures],
    by: Measure = "margin",
    *,
    rates: Mapping[str, Fraction] | None = None,
    level: int = LEVEL,
    resamples: int = RESAMPLES,
) -> Comparison:
    """Compare storms by a measure, in the currency of the first.

    `rates[code]` says what one unit of another currency is worth in the first one's. Raises
    InputError for storms without vehicles, twice the same, or in currencies without a rate, and
    for a rate of the first storm's own currency.
    """
    _require_comparable(storms, rates or {})
    currency, decimals = storms[0].storm.storm.currency, storms[0].storm.decimals
    drawn = [resampled(each, resamples) for each in storms]
    worth = [_worth(each, currency, decimals, rates or {}) for each in storms]
    values = [
        {
            name: measured(sums, each, name, rate) if enough_for_limits(each) else None
            for name in MEASURES
        }
        for sums, each, rate in zip(drawn, storms, worth, strict=True)
    ]
    ranked = []
    for each, sums, rate, resample in zip(storms, drawn, worth, values, strict=True):
        whole = totals_of(each.sample)
        measures = {
            name: _with_interval(measured(whole, each, name, rate), resample[name], level)
            for name in MEASURES
        }
        ranked.append(Ranked(each, measures, break_even(each, sums, level)))
    order = sorted(range(len(ranked)), key=lambda at: _rank(ranked[at].measures[by].value, at))
    return Comparison(
        by=by,
        storms=tuple(ranked[at] for at in order),
        chances=tuple(
            tuple(
                None if one == other else _chance(values[one][by], values[other][by])
                for other in order
            )
            for one in order
        ),
        currency=currency,
        decimals=decimals,
        rates={
            code: rate
            for code, rate in (rates or {}).items()
            if code in {each.storm.storm.currency for each in storms}
        },
        level=level,
        resamples=resamples,
    )


def _worth(
    storm: StormFigures, currency: str, decimals: int, rates: Mapping[str, Fraction]
) -> Fraction:
    """What a minor unit of a storm's currency is in minor units of the common one."""
    own = storm.storm.storm.currency
    if own == currency:
        return Fraction(1)
    return rates[own] * Fraction(10**decimals, 10**storm.storm.decimals)


def enough_for_limits(storm: StormFigures) -> bool:
    """Whether a storm has enough vehicles for limits and chances."""
    return len(storm.sample.claims) >= FEWEST_FOR_LIMITS


def _rank(value: int | None, at: int) -> tuple[bool, int, int]:
    """Highest first; storms without the measure last."""
    return value is None, -(value or 0), at


def _require_comparable(storms: Sequence[StormFigures], rates: Mapping[str, Fraction]) -> None:
    problems = []
    first = storms[0].storm.storm.currency
    names = [each.storm.storm.name for each in storms]
    if first in rates:
        expected = f"rates of other currencies alone: all is compared in {first}"
        problems.append(Problem("rates", (first,), "a rate", expected))
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            problems.append(Problem(name, (), f"the storm {names.count(name)} times", "each once"))
    for each in storms:
        header = each.storm.storm
        if len(each.sample.claims) == 0:
            problems.append(Problem(header.name, (), "a storm without vehicles", "priced vehicles"))
        if header.currency != first and header.currency not in rates:
            problems.append(
                Problem(
                    header.name,
                    ("storm", "currency"),
                    f"{header.currency} beside {first}",
                    f"one currency, or what one {header.currency} is worth: "
                    f"--rate {header.currency}=…",
                )
            )
    if problems:
        raise InputError(problems)


class Sums(NamedTuple):
    """Sums over the vehicles of resamples: vehicles, revenue, contribution, tenths of a minute."""

    vehicles: int
    revenue: Whole
    contribution: Whole
    repair_tenths: Whole


def totals_of(sample: Sample) -> Sums:
    """The sums of the vehicles as they are, in arrays of one."""
    return Sums(
        len(sample.claims),
        *(
            column.sum(keepdims=True)
            for column in (sample.revenue, sample.contribution, sample.repair_tenths)
        ),
    )


def resampled(storm: StormFigures, resamples: int) -> Sums:
    """The sums of so many resamples of a storm's vehicles."""
    sample = storm.sample
    draws = drawn_places(storm.storm.storm.name, len(sample.claims), resamples)
    columns = (sample.revenue, sample.contribution, sample.repair_tenths)
    sums = [np.concatenate([column[places].sum(axis=1) for places in draws]) for column in columns]
    return Sums(len(sample.claims), *sums)


def drawn_places(name: str, vehicles: int, resamples: int) -> list[NDArray[np.intp]]:
    """Which vehicles each resample draws, in blocks of rows; the same for the same name."""
    random = np.random.Generator(np.random.PCG64([_SEED, crc32(name.encode())]))
    block = max(1, _BLOCK // max(1, vehicles))
    return [
        random.integers(0, vehicles, (min(block, resamples - start), vehicles))
        for start in range(0, resamples, block)
    ]


def measured(sums: Sums, storm: StormFigures, name: Measure, rate: Fraction) -> Whole | None:
    """A measure of each resample, rounded half away from zero; None if it has no divisor."""
    if name == "revenue":
        return _times(sums.revenue, rate)
    margin = sums.contribution - storm.fixed_total
    if name == "margin":
        return _times(margin, rate)
    if name == "share":
        if (sums.revenue <= 0).any():
            return None
        return round_half_away(10_000 * margin, sums.revenue)
    if name == "per-vehicle":
        return _times(margin, rate / sums.vehicles) if sums.vehicles else None
    if name == "per-technician-day":
        return _times(margin, rate / storm.technician_days)
    if (sums.repair_tenths <= 0).any():
        return None
    # Python's own whole numbers: a rate of many decimals would not fit in 64 bits.
    worth, hours = (column.astype(object) for column in (margin, sums.repair_tenths))
    return _narrow(round_half_away(600 * rate.numerator * worth, rate.denominator * hours))


def _times(amounts: Whole, rate: Fraction) -> Whole:
    return _narrow(round_half_away(rate.numerator * amounts.astype(object), rate.denominator))


def _narrow(amounts: Whole) -> Whole:
    """Whole numbers of Python's own as 64-bit ones, into which amounts fit."""
    return amounts.astype(np.int64)


def _with_interval(whole: Whole | None, resample: Whole | None, level: int) -> Measured:
    if whole is None:
        return Measured(None, None, None)
    if resample is None:
        return Measured(int(whole[0]), None, None)
    low, high = interval(resample, level)
    return Measured(int(whole[0]), low, high)


def interval(values: Whole, level: int) -> tuple[int, int]:
    """The middle `level` per cent of values, by nearest rank, the same number cut on both sides."""
    ordered = np.sort(values)
    cut = (100 - level) * len(ordered) // 200
    return int(ordered[cut]), int(ordered[len(ordered) - 1 - cut])


def _chance(one: Whole | None, other: Whole | None) -> Fraction | None:
    """The share of pairs of resamples in which one is above the other; a tie counts half."""
    if one is None or other is None:
        return None
    above, equal = int((one > other).sum()), int((one == other).sum())
    return Fraction(2 * above + equal, 2 * len(one))


def break_even(storm: StormFigures, sums: Sums, level: int) -> BreakEven:
    """How many vehicles like these pay for the storm's fixed costs."""
    whole = totals_of(storm.sample)
    found = _needed(storm, whole.contribution, whole.vehicles)
    value = None if found[0] >= _NEVER else int(found[0])
    if not enough_for_limits(storm):
        return BreakEven(value, None, None)
    low, high = interval(_needed(storm, sums.contribution, sums.vehicles), level)
    return BreakEven(value, *(None if each >= _NEVER else each for each in (low, high)))


_NEVER = 2**62


def _needed(storm: StormFigures, contribution: Whole, vehicles: int) -> Whole:
    """⌈fixed costs / mean contribution⌉; _NEVER where the mean is not above zero."""
    fixed = storm.fixed_total * vehicles
    divisor = np.maximum(contribution, 1)
    needed: Whole = np.where(contribution > 0, -(-fixed // divisor), _NEVER)
    return needed
