"""What if: one change to a storm, reckoned over the vehicles that it really had.

The same vehicles are priced and costed before and after, and both are resampled together, so the
interval of the difference knows that it is the same storm. What is held fixed is said: more
technicians or days cost more and sell nothing more by themselves, since the vehicles are those
in the book; and fewer could not do the same work at any pace, so the pace that the change asks for
stands beside its margin.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any, NamedTuple

import numpy as np

from hailcalc.columns import counted
from hailcalc.problems import InputError, Problem, shown
from hailcalc.storm.compare import (
    LEVEL,
    MEASURE_LABELS,
    RESAMPLES,
    Measure,
    drawn_places,
    enough_for_limits,
    interval,
    measured,
    totals_of,
)
from hailcalc.storm.economics import StormFigures
from hailcalc.storm.model import Storm, storm_from_data

PAY_KEYS = ("by", "share", "day", "removal_share", "removal_hour", "estimator_day")


class Change(NamedTuple):
    """One change: `matrix` another matrix, or else keys of the storm file that change."""

    words: str
    held: str
    matrix: str | None
    storm: Storm


class DifferenceRow(NamedTuple):
    """One figure before and after, minor units."""

    label: str
    before: int
    after: int

    @property
    def difference(self) -> int:
        """After less before."""
        return self.after - self.before


class WhatIf(NamedTuple):
    """A storm before and after a change: every figure that moves, the margins, their difference.

    `rows` end with the margin; `measures` are the margin by what it took. `low` and `high` are the
    limits of the margin's difference: None where no vehicle adds to it (then it is the same
    whatever vehicles come), and where the vehicles are too few to draw from.
    """

    change: Change
    before: StormFigures
    after: StormFigures
    rows: tuple[DifferenceRow, ...]
    measures: tuple[DifferenceRow, ...]
    low: int | None
    high: int | None
    level: int

    @property
    def paces(self) -> tuple[Fraction, Fraction]:
        """Hours of repair sold in an hour of a technician, before and after."""
        return pace_sold(self.before), pace_sold(self.after)


def change_of(
    storm: Storm,
    *,
    matrix: str | None = None,
    pay: str | None = None,
    technicians: int | None = None,
    days: int | None = None,
) -> Change:
    """The change that exactly one of these asks for. Raises InputError otherwise.

    `pay` is KEY=VALUE with a key of [pay]; `share=` and `day=` also change how pay goes.
    """
    asked = [matrix, pay, technicians, days]
    number = sum(each is not None for each in asked)
    if number != 1:
        raise InputError(
            [
                Problem(
                    "what if",
                    (),
                    f"{number or 'no'} changes",
                    "one of --matrix, --pay, --technicians, --days",
                )
            ]
        )
    data = storm.model_dump(mode="json", exclude_unset=True)
    if matrix is not None:
        words = f"every vehicle priced under {matrix}"
        held = (
            "Crew, days and pay stay; so does what was counted. Discounts, and what was asked and "
            "paid in supplements, stay as they were under the old matrix."
        )
        return Change(words, held, matrix, storm)
    if pay is not None:
        return Change(
            f"pay with {pay}",
            "What is charged, the crew and the days stay.",
            None,
            storm_from_data(_with_pay(data, pay), "what if"),
        )
    held = "The vehicles and what they are charged stay: no more are repaired, and no fewer."
    if technicians is not None:
        data["crew"]["technicians"] = technicians
        words = f"{counted(technicians, 'technician')} in place of {storm.crew.technicians}"
    else:
        data["storm"]["work_days"] = days
        data["storm"]["last_day"] = storm.storm.last_day.isoformat()
        words = f"{counted(days or 0, 'day')} worked in place of {storm.days}"
        held += " Lot and lodging stay paid to the last day."
    return Change(words, held, None, storm_from_data(data, "what if"))


def _with_pay(data: dict[str, Any], pay: str) -> dict[str, Any]:
    key, equals, value = pay.partition("=")
    if not equals or key not in PAY_KEYS:
        expected = f"KEY=VALUE, the key one of {', '.join(PAY_KEYS)}"
        raise InputError([Problem("what if", ("pay",), shown(pay), expected)])
    table = dict(data["pay"]) | {key: value}
    for one, other in (("share", "day"), ("day", "share"), ("removal_share", "removal_hour"),
                       ("removal_hour", "removal_share")):  # fmt: skip
        if key == one:
            table.pop(other, None)
            if one in ("share", "day"):
                table["by"] = one
    return data | {"pay": table}


def what_if(
    before: StormFigures,
    change: Change,
    after: Callable[[Change], StormFigures],
    *,
    level: int = LEVEL,
    resamples: int = RESAMPLES,
) -> WhatIf:
    """Reckon a change over a storm's own vehicles; `after` prices and costs them under it.

    Raises InputError if the vehicles are not the same ones afterwards.
    """
    changed = after(change)
    if before.sample.claims != changed.sample.claims:
        missing = len(set(before.sample.claims) ^ set(changed.sample.claims))
        found = f"{missing} vehicles that can be priced in one case alone"
        raise InputError([Problem("what if", (), found, "the same vehicles before and after")])
    if not before.sample.claims:
        raise InputError(
            [Problem(before.storm.storm.name, (), "a storm without vehicles", "priced vehicles")]
        )
    low = high = None
    moved = changed.sample.contribution - before.sample.contribution
    if moved.any() and enough_for_limits(before):
        fixed = changed.fixed_total - before.fixed_total
        draws = drawn_places(before.storm.storm.name, len(moved), resamples)
        differences = np.concatenate([moved[places].sum(axis=1) for places in draws]) - fixed
        low, high = interval(differences, level)
    rows, measures = tuple(_rows(before, changed)), tuple(_measures(before, changed))
    return WhatIf(change, before, changed, rows, measures, low, high, level)


def pace_sold(figures: StormFigures) -> Fraction:
    """Hours of repair sold under the matrix in an hour of a technician on the days worked."""
    hours = figures.technician_days * Fraction(figures.storm.storm.hours_a_day)
    return Fraction(figures.repair_tenths, 600) / hours


def _kinds(figures: StormFigures) -> Iterator[tuple[str, int]]:
    """Every kind of revenue, and every kind of cost as a negative amount."""
    yield from ((each.label, each.amount) for each in figures.revenue)
    yield from ((f"Cost: {each.label}", -each.amount) for each in figures.direct_costs)
    yield from ((f"Cost: {each.label} (fixed)", -each.amount) for each in figures.fixed_costs)


def _rows(before: StormFigures, after: StormFigures) -> Iterator[DifferenceRow]:
    """Revenue and costs by kind, in the order of the figures, then the totals."""
    first, second = (dict(_kinds(figures)) for figures in (before, after))
    for label in dict.fromkeys([*first, *second]):
        yield DifferenceRow(label, first.get(label, 0), second.get(label, 0))
    yield DifferenceRow("Margin", before.margin, after.margin)


_MEASURES: tuple[Measure, ...] = ("per-vehicle", "per-technician-day")


def _measures(before: StormFigures, after: StormFigures) -> Iterator[DifferenceRow]:
    """The margin by what it took, rounded as a storm's own figures are."""
    for name in _MEASURES:
        values = [
            measured(totals_of(each.sample), each, name, Fraction(1)) for each in (before, after)
        ]
        first, second = (0 if value is None else int(value[0]) for value in values)
        yield DifferenceRow(MEASURE_LABELS[name], first, second)
