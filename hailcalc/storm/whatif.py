"""What if: one change to a storm, reckoned over the vehicles that it really had.

The same vehicles are priced and costed before and after, and both are resampled together, so the
interval of the difference knows that it is the same storm. What is held fixed is said: more
technicians or days cost more and sell nothing more by themselves, since the vehicles are those
in the book.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import numpy as np

from hailcalc.problems import InputError, Problem, shown
from hailcalc.storm.compare import LEVEL, RESAMPLES, drawn_places, interval
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

    `low` and `high` are the limits of the margin's difference.
    """

    change: Change
    before: StormFigures
    after: StormFigures
    rows: tuple[DifferenceRow, ...]
    low: int
    high: int
    level: int


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
        return Change(words, "Crew, days and pay stay; so does what was counted.", matrix, storm)
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
        words = f"{technicians} technicians in place of {storm.crew.technicians}"
    else:
        data["storm"]["work_days"] = days
        data["storm"]["last_day"] = storm.storm.last_day.isoformat()
        words = f"{days} days worked in place of {storm.days}"
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
    fixed = changed.fixed_total - before.fixed_total
    moved = changed.sample.contribution - before.sample.contribution
    draws = drawn_places(before.storm.storm.name, len(moved), resamples)
    differences = np.concatenate([moved[places].sum(axis=1) for places in draws]) - fixed
    low, high = interval(differences, level)
    return WhatIf(change, before, changed, tuple(_rows(before, changed)), low, high, level)


def _rows(before: StormFigures, after: StormFigures) -> Iterator[DifferenceRow]:
    """Revenue and costs by kind, in the order of the figures, then the totals."""
    for sign, names in ((1, ("revenue",)), (-1, ("direct_costs", "fixed_costs"))):
        first, second = (
            {
                (name, each.kind): (each.label, sign * each.amount)
                for name in names
                for each in getattr(figures, name)
            }
            for figures in (before, after)
        )
        for key in dict.fromkeys([*first, *second]):
            label = (first.get(key) or second[key])[0]
            yield DifferenceRow(
                label if sign > 0 else f"Cost: {label}",
                first.get(key, ("", 0))[1],
                second.get(key, ("", 0))[1],
            )
    yield DifferenceRow("Margin", before.margin, after.margin)
