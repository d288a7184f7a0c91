"""Do 90 % limits of the work to come hold it 90 times in 100? Storms simulated by the thousand.

Whole tenths of a minute; seeds are fixed. The idea: a storm's vehicles are drawn, all of them; the
first are inspected, and the limits that the product gives from these are asked whether the
work of the others, known here, lies between. Each storm has its own parameters from wide ranges:
8 to 60 vehicles inspected, up to 400 booked, up to a fifth of those not seen staying away.

Of a 90 % interval 86 to 94 % is asked. Measured with the 2,000 storms of each kind of a soak, per
cent that held (all work, repair, removal), and all work by the number inspected:

                all  repair  removal   8-11  12-19  20-34  35-60
    by dents   89.2    89.1     89.5   95.2   89.4   88.8   88.7
    lognormal  90.6    89.8     90.5   87.1   91.7   89.9   91.2
    two sorts  90.4    90.3     90.3   90.3   92.4   88.5   90.8
    weibull    89.8    90.0     88.8   94.7   90.2   86.0   91.0

With 8 to 11 inspected, of whom there were 124 to 152 a kind, the Bayesian bootstrap held in 86.3,
76.2, 79.9 and 86.2.

Whether a crew is done in time hangs on its pace as well. Crews are simulated that work vehicles off
one after the other, and the day on which all is done is looked up among the chances of each day: of
2,000 such storms 94.8 per cent were done within 90 % limits where days so far say how much days
differ, and 59.5 where their mean is taken as certain. 94.8 is more than asked: that vehicles are
done whole makes days differ more than the crew does, and limits rather too wide than too close.

And limits are held against Student's, where vehicles are normal, and those of dents against scipy's
negative binomial.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from fractions import Fraction
from functools import cache
from heapq import heapreplace
from math import ceil, sqrt
from typing import NamedTuple

import numpy as np
import pytest
from scipy import stats

from hailcalc.storm.forecast import (
    Booking,
    Calendar,
    Crew,
    Inspected,
    Question,
    Real,
    Whole,
    Work,
    at_chance,
    dents_to_come,
    finishing,
    intervals,
    pace_so_far,
    work_to_come,
)

STORMS, SOAKED = 600, 2000
DRAWS = 800
FEW = 11
"""Vehicles inspected up to which resampling alone is asked as well."""

LEAST, MOST = 86.0, 94.0
BY_INSPECTED = ((8, 11), (12, 19), (20, 34), (35, 60))

Random = np.random.Generator


def log_uniform(random: Random, low: float, high: float) -> float:
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def dented(random: Random, vehicles: int) -> Whole:
    """Negative binomial dents: 15 to 250 a vehicle on average, shape 0.6 to 6."""
    mean, shape = log_uniform(random, 15, 250), log_uniform(random, 0.6, 6)
    return random.poisson(random.gamma(shape, mean / shape, vehicles)).astype(np.int64)


def by_dents(random: Random, vehicles: int) -> Real:
    """Minutes: 5 to 60, and 1 to 4 a dent, less each the more there are; a scatter of 2 to 20 %."""
    dents = 1 + dented(random, vehicles)
    minutes = random.uniform(5, 60) + random.uniform(1, 4) * dents ** random.uniform(0.75, 1)
    return np.asarray(minutes * random.lognormal(0, random.uniform(0.02, 0.2), vehicles))


def lognormal(random: Random, vehicles: int) -> Real:
    """Nothing that the forecast assumes: coefficients of variation from 0.3 to 1.5."""
    middle, spread = random.uniform(60, 600), random.uniform(0.3, 1.1)
    return random.lognormal(np.log(middle), spread, vehicles)


def two_sorts(random: Random, vehicles: int) -> Real:
    """One in ten to every other vehicle stood outside and took 2 to 8 times the work."""
    outside = random.random(vehicles) < random.uniform(0.1, 0.5)
    minutes = random.uniform(30, 120) * np.where(outside, random.uniform(2, 8), 1)
    return np.asarray(minutes * random.lognormal(0, random.uniform(0.1, 0.4), vehicles))


def weibull(random: Random, vehicles: int) -> Real:
    """From more skewed than exponential to nearly normal: shape 0.9 to 3."""
    return np.asarray(random.uniform(60, 600) * random.weibull(random.uniform(0.9, 3), vehicles))


def removal_of(repair: Real, random: Random) -> Real:
    """Four operations of 15 to 150 minutes; the heavier the vehicle, the likelier is each."""
    base = random.uniform(0.2, 0.95)
    heavy = np.minimum(repair / repair.mean(), 3)
    likely = (1 - (1 - base) ** heavy) * random.uniform(0.3, 1, (4, 1))
    needed = random.random((4, len(repair))) < likely
    return np.asarray((needed * random.uniform(15, 150, (4, 1))).sum(axis=0))


KINDS: dict[str, Callable[[Random, int], Real]] = {
    "by dents": by_dents,
    "lognormal": lognormal,
    "two sorts": two_sorts,
    "weibull": weibull,
}


class Storm(NamedTuple):
    """Whether the limits held: of all work, of repair, of removal; and those of resampling alone.

    `resampled` is asked only of storms with few vehicles inspected.
    """

    inspected: int
    total: bool
    repair: bool
    removal: bool
    resampled: bool | None


def within(draws: Whole, truth: int) -> bool:
    [limits] = intervals(draws, [90])
    return limits.lower <= truth <= limits.upper


def tenths(minutes: Real) -> Whole:
    return np.rint(10 * minutes).astype(np.int64)


def storm(kind: str, random: Random) -> Storm:
    seen = int(random.integers(8, 61))
    booked = int(random.integers(seen + 1, 401))
    minutes = KINDS[kind](random, booked)
    columns = tenths(minutes), tenths(removal_of(minutes, random))
    share = Fraction(int(random.integers(0, 201)), 1000)
    comes = random.random(booked) >= float(share)
    comes[:seen] = True
    known = Inspected(columns[0][:seen], columns[1][:seen], np.zeros(seen, bool))
    work = work_to_come(known, Booking(booked, stays_away=share), draws=DRAWS)
    repair, removal = (int(column[comes].sum()) for column in columns)
    resampled = None
    if seen <= FEW:
        alone = resampled_alone(known.repair + known.removal, booked - seen, share, random)
        resampled = within(alone, repair + removal)
    return Storm(
        seen,
        within(work.total, repair + removal),
        within(work.repair, repair),
        within(work.removal, removal),
        resampled,
    )


def resampled_alone(seen: Whole, further: int, share: Fraction, random: Random) -> Whole:
    """All work by D. B. Rubin's Bayesian bootstrap (1981, Annals of Statistics 9, 130-134).

    Vehicles seen get random weights, and further ones are picked from them by these.
    """
    coming = random.binomial(further, float(1 - share), DRAWS)
    weights = random.dirichlet(np.ones(len(seen)), DRAWS)
    return np.asarray(seen.sum() + random.multinomial(coming, weights) @ seen)


@cache
def storms(kind: str, number: int) -> tuple[Storm, ...]:
    random = np.random.default_rng([list(KINDS).index(kind), number, 6])
    return tuple(storm(kind, random) for _ in range(number))


def held(found: Iterable[bool | None]) -> float:
    """Per cent that held."""
    asked = list(found)
    return 100 * sum(map(bool, asked)) / len(asked)


def chance_alone(number: int) -> float:
    """Two standard deviations, in per cent, of a coverage of 90 % counted so many times."""
    return 200 * sqrt(0.9 * 0.1 / number)


def require_coverage(kind: str, number: int) -> None:
    found = storms(kind, number)
    assert LEAST <= held(each.total for each in found) <= MOST
    assert LEAST <= held(each.repair for each in found) <= MOST
    assert LEAST <= held(each.removal for each in found) <= MOST
    for low, high in BY_INSPECTED:
        some = [each.total for each in found if low <= each.inspected <= high]
        allowed = chance_alone(len(some))
        assert LEAST - allowed <= held(some) <= MOST + allowed


@pytest.mark.parametrize("kind", list(KINDS))
def test_limits_hold_the_work_still_to_come(kind: str) -> None:
    require_coverage(kind, STORMS)


@pytest.mark.soak
@pytest.mark.parametrize("kind", list(KINDS))
def test_limits_hold_the_work_still_to_come_of_more_storms(kind: str) -> None:
    require_coverage(kind, SOAKED)


def test_from_few_vehicles_resampling_alone_would_hold_too_rarely() -> None:
    """Why the scatter and the mean are drawn as well."""
    found = [each for kind in KINDS for each in storms(kind, STORMS) if each.inspected <= FEW]
    assert held(each.resampled for each in found) < LEAST
    assert held(each.total for each in found) > held(each.resampled for each in found) + 5


HOURS = 9
MOST_HELD_BY_DAYS = 98.0
"""Whole vehicles make days differ more than crews do, so that limits are rather too wide."""


class Crewed(NamedTuple):
    """A storm on the morning after so many days, and the days that its work then took."""

    work: Work
    crew: Crew
    sold: Whole
    took: int


def crewed(random: Random) -> Crewed:
    """2 to 10 technicians after 5 to 15 days, with work for about 3 to 20 more.

    A vehicle takes 5 to 40 % more or less than its minutes say, a technician up to 25 %, and a day
    gets up to 50 % more or less done (standard deviations on the log scale). Some of the vehicles
    that are not done are not inspected either.
    """
    people, past, future = (int(random.integers(*span)) for span in ((2, 11), (5, 16), (3, 21)))
    minutes = lognormal(random, 4000)
    pace = log_uniform(random, 0.7, 2.2)
    speed = pace * random.lognormal(0, random.uniform(0.05, 0.4), len(minutes))
    person = random.lognormal(0, random.uniform(0, 0.25), people)
    day = random.lognormal(0, random.choice([0, random.uniform(0, 0.5)]), 400)
    mornings = np.concatenate([[0], np.cumsum(day * HOURS * 60)])
    free = [(0.0, k) for k in range(people)]
    ends: list[float] = []
    while sum(end for end, _ in free) < people * mornings[past + future]:
        at, k = free[0]
        at += minutes[len(ends)] / (speed[len(ends)] * person[k])
        heapreplace(free, (at, k))
        ends.append(at)
    on = np.searchsorted(mornings, ends) - 1
    done, sold = on < past, tenths(minutes[: len(ends)])
    seen = done | (random.random(len(ends)) > random.random())
    inspected = Inspected(sold[seen], np.zeros(seen.sum(), np.int64), done[seen])
    stopped = np.interp([end for end, _ in free], mornings, np.arange(len(mornings)))
    return Crewed(
        work_to_come(inspected, Booking(len(ends), stays_away=Fraction(0)), draws=DRAWS),
        Crew(people, Fraction(HOURS), pace_so_far(inspected, people * past, Fraction(HOURS))),
        np.bincount(on[done], sold[done], past).astype(np.int64),
        ceil(np.maximum(stopped - past, 0).mean()),
    )


def chance_of_being_done(storm: Crewed, days: int, *, certain: bool) -> float:
    if days == 0:
        return 0
    today = date(2026, 5, 18)
    every_day = tuple(today + timedelta(number) for number in range(days + 2))
    calendar, question = Calendar(today, every_day), Question(every_day[days - 1], Fraction(9, 10))
    sold = None if certain else storm.sold
    return float(finishing(storm.work, storm.crew, calendar, question, sold).crew.chance)


def held_by_days(number: int) -> tuple[float, float]:
    """Per cent of storms done within 90 % limits of the day; and with a pace taken as certain.

    Days are whole: where in the chance of its day a storm falls is drawn.
    """
    random = np.random.default_rng([number, 9])
    found: list[list[bool]] = [[], []]
    while len(found[0]) < number:
        storm = crewed(random)
        if storm.work.done < 8 or not storm.took:
            continue
        part = random.random()
        for certain in (False, True):
            before, after = (
                chance_of_being_done(storm, days, certain=certain)
                for days in (storm.took - 1, storm.took)
            )
            found[certain].append(0.05 <= before + part * (after - before) <= 0.95)
    return held(found[0]), held(found[1])


@pytest.mark.parametrize("number", [75, pytest.param(SOAKED, marks=pytest.mark.soak)])
def test_limits_of_the_last_day_hold_where_a_pace_taken_as_certain_does_not(number: int) -> None:
    held_by_it, held_by_certain = held_by_days(number)
    assert LEAST <= held_by_it <= MOST_HELD_BY_DAYS
    assert held_by_certain < 75


def dents_coverage(number: int) -> tuple[float, float]:
    """Per cent of storms whose dents to come lie in the limits, and in Poisson's."""
    random = np.random.default_rng([number, 8])
    wide, narrow = [], []
    for _ in range(number):
        seen, further = int(random.integers(8, 61)), int(random.integers(1, 341))
        dents = dented(random, seen + further)
        found = dents_to_come(dents[:seen], np.full(DRAWS, further))
        truth = int(dents[seen:].sum())
        wide.append(within(found.overdispersed, truth))
        narrow.append(within(found.poisson, truth))
    return held(wide), held(narrow)


@pytest.mark.parametrize("number", [400, pytest.param(SOAKED, marks=pytest.mark.soak)])
def test_limits_of_dents_hold_where_poissons_do_not(number: int) -> None:
    held_by_it, held_by_poisson = dents_coverage(number)
    assert LEAST <= held_by_it <= MOST
    assert held_by_poisson < 40


@pytest.mark.parametrize("seen", [8, 15, 30, 60])
@pytest.mark.parametrize("further", [5, 40, 300])
@pytest.mark.parametrize("level", [50, 80, 90])
def test_limits_of_normal_vehicles_are_students(seen: int, further: int, level: int) -> None:
    """m·x̄ ± t·s·√(m + m²/n), Student's limits of the sum of m more after n (scipy.stats.t).

    Vehicles at the quantiles of a normal distribution, whose standard deviation is a twentieth of
    the mean. Within 5 % of the half width: that is 2½ standard deviations of a quantile from 20,000
    draws at 90 %, and the log scale's lean of s/x̄·√(1/n + 1/m) to one side.
    """
    middle = stats.norm.ppf((np.arange(seen) + 0.5) / seen)
    repair = tenths(300 + 15 * middle)
    known = Inspected(repair, np.zeros(seen, np.int64), np.ones(seen, bool))
    booked = Booking(seen + further, stays_away=Fraction(0))
    [found] = intervals(work_to_come(known, booked, draws=20_000).repair, [level])
    t = stats.t.ppf(0.5 + level / 200, seen - 1)
    half = t * repair.std(ddof=1) * sqrt(further + further**2 / seen)
    expected = further * repair.mean()
    assert found.lower == pytest.approx(expected - half, abs=0.05 * half)
    assert found.upper == pytest.approx(expected + half, abs=0.05 * half)


def test_dents_of_a_known_shape_are_scipys_negative_binomial() -> None:
    """Where 3,000 vehicles were seen, next to nothing is unknown: scipy.stats.nbinom of 40 more."""
    shape, mean = 1.5, 80.0
    dents = stats.nbinom.rvs(shape, shape / (shape + mean), size=3000, random_state=4)
    found = dents_to_come(np.asarray(dents, np.int64), np.full(20_000, 40)).overdispersed
    law = stats.nbinom(40 * shape, shape / (shape + dents.mean()))
    width = law.ppf(0.95) - law.ppf(0.05)
    for chance in (Fraction(1, 20), Fraction(1, 2), Fraction(19, 20)):
        assert at_chance(found, chance) == pytest.approx(law.ppf(float(chance)), abs=0.06 * width)


@pytest.mark.parametrize(("seen", "total"), [(12, 240), (30, 45)])
def test_poissons_dents_are_scipys(seen: int, total: int) -> None:
    """More dents after `total` on `seen` vehicles, with Jeffreys' prior: scipy.stats.nbinom."""
    dents = np.full(seen, total // seen)
    dents[: total % seen] += 1
    found = dents_to_come(dents.astype(np.int64), np.full(20_000, 25)).poisson
    law = stats.nbinom(total + 0.5, seen / (seen + 25))
    for chance in (Fraction(1, 20), Fraction(1, 2), Fraction(19, 20)):
        assert abs(at_chance(found, chance) - law.ppf(float(chance))) <= 0.06 * law.std() + 1


def test_dents_are_what_plain_integration_gives() -> None:
    """The same posterior on a grid of shape and scale, every chance of a count by scipy's nbinom.

    The prior: 1/√r even from √(1/1000) to √20, and the scale's as θ^-½ (1 + θ)^-½.
    """
    seen, further = np.array([3, 11, 0, 25, 7, 2]), 4
    variation = np.linspace(sqrt(1 / 1000), sqrt(20), 400)
    share = (np.arange(400) + 0.5) / 400  # 1 / (1 + θ)
    shape, chance = np.meshgrid(variation**-2, share, indexing="ij")
    weight = np.prod([stats.nbinom.pmf(k, shape, chance) for k in seen], axis=0)
    # dθ = -d(share) / share², and θ^-½ (1 + θ)^-½ is share / √(1 - share).
    weight /= chance * np.sqrt(1 - chance)
    weight /= weight.sum()
    found = dents_to_come(seen, np.full(40_000, further)).overdispersed
    for level in (0.05, 0.25, 0.5, 0.75, 0.95):
        count = at_chance(found, Fraction(str(level)))
        truth = float((weight * stats.nbinom.cdf(count, further * shape, chance)).sum())
        drawn = float((found <= count).mean())
        assert drawn == pytest.approx(truth, abs=0.0075)  # three standard deviations
