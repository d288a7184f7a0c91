"""The plan of a whole vehicle: push, glue or replace for every panel, at least cost or time.

What a panel costs by each method is known beforehand; what couples the panels is the trim,
which comes off once for all that need it, and the fixed extras that fall due if anything on
the vehicle is repaired. Both are operations that options need: `hailcalc.access.choice` finds
the best choice exactly. Costs are exact rationals of minor units, taxed, before the roundings
of vehicle lines; minutes are exact too. One integer a choice holds the aim, then the other
measure, then the number of operations, then a preference of push to glue to replacing, so that
there is one best plan and no doubt which.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from hailcalc.access.choice import Choice, Option, choose, groups
from hailcalc.access.rules import METHODS, Method
from hailcalc.claimfile import Aim
from hailcalc.removal import Removal


class MethodCost(NamedTuple):
    """One method for one panel: what its own lines add to the total, and the time they take.

    `open` says that a plan may choose it; one that rules forbid is here to be asked about.
    `repairs` that it has a priced repair line; `pushed` that the panel has to be opened.
    """

    method: Method
    cost: Fraction
    minutes: Fraction
    repairs: bool
    pushed: bool
    open: bool


class Fixed(NamedTuple):
    """What falls due once if anything on the vehicle is repaired."""

    cost: Fraction
    minutes: Fraction


class Table(NamedTuple):
    """All methods of all panels, as the chooser takes them."""

    methods: tuple[tuple[MethodCost, ...], ...]
    options: tuple[tuple[Option, ...], ...]
    costs: tuple[int, ...]
    apart: tuple[tuple[int, ...], ...]


Picks = tuple[int, ...]
"""For each panel the position of its method."""


def tabulate(
    panels: Sequence[tuple[str, Sequence[MethodCost]]], removal: Removal, fixed: Fixed, aim: Aim
) -> Table:
    """Make ready for choosing: `panels` with their names, in the order of the sheet."""
    methods = tuple(tuple(each) for _, each in panels)
    ranks = [[METHODS.index(cost.method) for cost in each] for each in methods]
    own = [
        _digits(
            [[cost.cost for cost in each] for each in methods],
            [rule.cost for rule in removal.operations] + [fixed.cost],
        ),
        _digits(
            [[cost.minutes for cost in each] for each in methods],
            [Fraction(rule.minutes) for rule in removal.operations] + [fixed.minutes],
        ),
    ]
    if aim == "minutes":
        own.reverse()
    number = _Digits([[0] * len(each) for each in methods], [1] * len(removal.operations) + [0])
    last = len(ranks) - 1
    preferred = _Digits(
        [[rank * 3 ** (last - at) for rank in each] for at, each in enumerate(ranks)],
        [0] * (len(removal.operations) + 1),
    )
    whole = _composed([*own, number, preferred])
    # Fixed extras that fall due whatever is chosen would only tie all panels into one group.
    due = 0 if _certain(methods, fixed) else 1 << len(removal.operations)
    options = tuple(
        tuple(
            Option(weight, _ways(name, cost, removal, due))
            for cost, weight in zip(each, weights, strict=True)
        )
        for (name, each), weights in zip(panels, whole.options, strict=True)
    )
    return Table(methods, options, tuple(whole.operations), tuple(groups(options)))


def _certain(methods: Sequence[Sequence[MethodCost]], fixed: Fixed) -> bool:
    """Whether the fixed extras fall due in any case, even with one panel left out."""
    repaired = sum(all(cost.repairs for cost in each if cost.open) for each in methods)
    return repaired > 1 or not (fixed.cost or fixed.minutes)


class _Digits(NamedTuple):
    """One measure in whole units, from zero up: by option of each panel, and by operation."""

    options: list[list[int]]
    operations: list[int]


def _digits(options: list[list[Fraction]], operations: list[Fraction]) -> _Digits:
    """Exact fractions over one denominator; a panel's options count from its least."""
    scale = lcm(*(value.denominator for each in [*options, operations] for value in each))
    least = [min(each, default=Fraction(0)) for each in options]
    return _Digits(
        [
            [int((value - low) * scale) for value in each]
            for each, low in zip(options, least, strict=True)
        ],
        [int(value * scale) for value in operations],
    )


def _composed(measures: Sequence[_Digits]) -> _Digits:
    """Measures as one integer, the first the most significant."""
    whole = measures[0]
    for measure in measures[1:]:
        beyond = 1 + sum(map(max, filter(None, measure.options))) + sum(measure.operations)
        whole = _Digits(
            [
                [high * beyond + low for high, low in zip(*each, strict=True)]
                for each in zip(whole.options, measure.options, strict=True)
            ],
            [
                high * beyond + low
                for high, low in zip(whole.operations, measure.operations, strict=True)
            ],
        )
    return whole


def _ways(panel: str, cost: MethodCost, removal: Removal, due: int) -> tuple[int, ...]:
    """Sets of operations of which a method needs one, the fixed extras among them."""
    also = due if cost.repairs else 0
    if not cost.pushed:
        return (also,)
    return tuple(way | also for way in removal.ways.get(panel, (0,)))


def best(table: Table) -> Picks:
    """The best plan: of each panel the position of its method."""
    picks = [0] * len(table.methods)
    for group in table.apart:
        for at, pick in zip(group, _chosen(table, group, None, None), strict=True):
            picks[at] = pick
    return tuple(picks)


def best_with(table: Table, plan: Picks, panel: int, method: int) -> Picks:
    """The best plan that takes a certain method on one panel, given the best one of all."""
    group = next(group for group in table.apart if panel in group)
    picks = list(plan)
    for at, pick in zip(group, _chosen(table, group, panel, method), strict=True):
        picks[at] = pick
    return tuple(picks)


def best_without(table: Table, plan: Picks, panel: int) -> Picks:
    """The best plan if a panel were not there; its own pick is kept and means nothing."""
    group = tuple(at for group in table.apart if panel in group for at in group if at != panel)
    picks = list(plan)
    for at, pick in zip(group, _chosen(table, group, None, None), strict=True):
        picks[at] = pick
    return tuple(picks)


def _chosen(table: Table, group: Sequence[int], panel: int | None, method: int | None) -> list[int]:
    """The best methods within a group, `method` on `panel` if one is given."""
    may = [
        [method] if at == panel and method is not None
        else [position for position, cost in enumerate(table.methods[at]) if cost.open]
        for at in group
    ]  # fmt: skip
    options = [
        [table.options[at][position] for position in each]
        for at, each in zip(group, may, strict=True)
    ]
    choice: Choice = choose(options, table.costs)
    return [each[pick] for each, pick in zip(may, choice.picks, strict=True)]
