"""A matrix's rules tabulated for whole books: arrays to look up instead of questions to ask.

Everything here is made from the compiled matrix that single claims are priced with. Cells are its
integer tables, laid end to end. What an extra asks of a panel is asked once for each *kind* of
panel there can be (panel, body, metal, paint, access: a few thousand) by `extras.picked` itself,
and the answers are kept by the kind's number. Removal sets are looked up by the mask of pushed
panels, group by group of panels that share operations, and found by `removal.cheapest_set` the
first time that a mask is met.

Whole numbers are 64 bits wide where `fits_64_bits` shows that nothing can overflow, else
Python's own in arrays of objects: slower, and as exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product
from typing import NamedTuple

import numpy as np

from hailcalc.claimfile import Aim
from hailcalc.estimate import CompiledMatrix
from hailcalc.estimate.compiled import UNITS_PER_MM
from hailcalc.extras import ExtraRule, PanelKind, Picked, picked
from hailcalc.matrix import mixed_terms
from hailcalc.portfolio.rows import ACCESSES, EQUIPMENT, METALS, PANEL_AT, Whole
from hailcalc.removal import Removal, cheapest_set, removal_of
from hailcalc.vehicle import BODIES, PANELS

MAX_OVERSIZE = 500
"""Most oversize dents on one panel, as in a claim file."""
MAX_MM = 500
MINUTE_UNITS = 10_000
"""Minutes of operations are whole ten-thousandths, since a file gives them four decimals."""
_MOST_MONEY_DIGITS = 10
"""Digits before the decimals of a sum in a file (`fields.Unsigned`)."""
_UNKNOWN = -1


class TabulatedExtra(NamedTuple):
    """An extra, and by kind of panel which dents it counts: a position in `ways`, or -1."""

    rule: ExtraRule
    ways: tuple[Picked, ...]
    way_of_kind: Whole
    everywhere: bool
    """One and the same way on every kind of panel."""


@dataclass(frozen=True)
class RemovalGroup:
    """Panels of one body that share operations: sums by the mask of those that are pushed.

    `labour`, `fasteners` (minor units) and `minutes` (over MINUTE_UNITS) are filled in as masks
    are met; labour is -1 where a mask was not met yet.
    """

    removal: Removal
    weights: tuple[int, ...]
    panels: tuple[str, ...]
    positions: Whole
    labour: Whole
    fasteners: Whole
    minutes: Whole


@dataclass(frozen=True)
class TabulatedMatrix:
    """A compiled matrix as arrays. `groups` grows with the sorts of vehicle that are met."""

    compiled: CompiledMatrix
    number: type
    """What amounts are reckoned in: np.int64, or object for Python's own whole numbers."""
    last: Whole
    """By panel: the highest count that its grid prices, -1 without a grid."""
    start: Whole
    """By panel: where its grid begins in `terms`' tables."""
    tables: tuple[Whole, ...]
    """By term of the mixed rule: Σ sign × cell, by grid and count, times the numerator."""
    stacked: Whole
    """The same, a row a term."""
    denominator: int
    extras: tuple[TabulatedExtra, ...]
    groups: dict[tuple[int, int, Aim], tuple[RemovalGroup, ...]] = field(default_factory=dict)


def kind_number(panel: Whole, body: Whole, metal: Whole, repainted: Whole, access: Whole) -> Whole:
    """The number of a kind of panel, from its positions."""
    number = panel.astype(np.int64)
    for part, size in (
        (body, len(BODIES)),
        (metal, len(METALS)),
        (repainted, 2),
        (access, len(ACCESSES)),
    ):
        number = number * size + part
    return number


def tabulate(compiled: CompiledMatrix) -> TabulatedMatrix:
    """A compiled matrix's rules as tables for whole books."""
    tables = compiled.tables
    number = np.int64 if fits_64_bits(compiled) else object
    unit = _unit(compiled)
    starts, total = [], 0
    for grid in tables.grids:
        starts.append(total)
        total += grid.last + 1
    grid_of = [tables.grid_of.get(panel) for panel in PANELS]
    # The shape of the terms does not depend on the counts; any will do to ask for it.
    terms, _ = mixed_terms(tables.mixed, [1] * len(tables.columns))
    by_term = tuple(
        np.array(
            [
                sum(sign * cells[column] for sign, column in term.cells) * unit.numerator
                for grid in tables.grids
                for cells in grid.values
            ],
            dtype=number,
        )
        for term in terms
    )
    return TabulatedMatrix(
        compiled=compiled,
        number=number,
        last=np.array(
            [-1 if grid is None else tables.grids[grid].last for grid in grid_of], np.int64
        ),
        start=np.array([0 if grid is None else starts[grid] for grid in grid_of], np.int64),
        tables=by_term,
        stacked=np.stack(by_term),
        denominator=unit.denominator,
        extras=tuple(_tabulated(rule) for rule in compiled.extras if rule.of != "vehicle"),
    )


def _unit(compiled: CompiledMatrix) -> Fraction:
    """What one of the tables' units is worth in minor units, in lowest terms."""
    return Fraction(compiled.tables.base_numerator, compiled.tables.base_denominator)


def _tabulated(rule: ExtraRule) -> TabulatedExtra:
    ways: dict[Picked, int] = {}
    numbers = []
    for panel, body, metal, repainted, access in product(
        PANELS, BODIES, METALS, (False, True), ACCESSES
    ):
        which = picked(rule, PanelKind(panel, body, metal, repainted, access))
        numbers.append(-1 if which is None else ways.setdefault(which, len(ways)))
    way_of_kind = np.array(numbers, np.int8)
    return TabulatedExtra(rule, tuple(ways), way_of_kind, not way_of_kind.any())


def fits_64_bits(compiled: CompiledMatrix) -> bool:
    """Whether no figure on the way to an amount can leave 64 bits, whatever a book holds."""
    tables = compiled.tables
    most_dents = max(grid.last for grid in tables.grids) + MAX_OVERSIZE
    cell = max(max(cells) for grid in tables.grids for cells in grid.values)
    unit = _unit(compiled)
    several = len(tables.columns) if tables.mixed in ("layers", "each") else 1
    weight = max(grid.last for grid in tables.grids) if tables.mixed == "share" else 1
    steps = [2 * weight * (cell * unit.numerator * several + unit.denominator)]
    base = cell * unit * several + 1
    if compiled.oversize is not None:
        beyond = compiled.oversize
        dent = beyond.fixed + beyond.per_unit * MAX_MM * UNITS_PER_MM
        steps.append(2 * dent + 2 * beyond.denominator)
        base += MAX_OVERSIZE * (Fraction(dent, beyond.denominator) + 1)
    extras = Fraction(0)
    for rule in compiled.extras:
        rate = abs(rule.rate)
        if rule.unit != "percent":
            units = tables.repair_rate if rule.unit == "minutes" else 1
            steps.append(2 * rate.numerator * units * most_dents + 120 * rate.denominator)
            extras += rate * most_dents * units + 1
        elif rule.of != "vehicle":
            worked_on = base + extras
            steps.append(int(2 * rate.numerator * worked_on * most_dents))
            steps.append(400 * rate.denominator * most_dents)
            extras += worked_on * rate / 100 + 1
    money = 10 ** (_MOST_MONEY_DIGITS + tables.decimals)
    given = len(PANELS) * max(base + extras, Fraction(money)) + 8 * money
    removal = sum(rule.labour + (rule.fastener_amount or 0) for rule in compiled.removal)
    vehicle = given + removal + compiled.minimum
    for rate in (
        *(rule.rate for rule in compiled.extras if rule.of == "vehicle" and rule.unit == "percent"),
        *(
            Fraction(text)
            for text in (
                compiled.matrix.tax.labour,
                compiled.matrix.tax.parts,
                compiled.matrix.tax.sublet,
            )
        ),
    ):
        steps.append(int(2 * abs(rate.numerator) * vehicle) + 200 * rate.denominator)
        vehicle += vehicle * abs(rate) / 100
    # Minutes sold are amounts × 600 over the repair rate.
    steps.append(int(1200 * vehicle) + 2 * tables.repair_rate)
    return max(steps) < 2**63


def removal_groups(
    matrix: TabulatedMatrix, body: int, equipment: int, aim: Aim
) -> tuple[RemovalGroup, ...]:
    """The groups of panels that share operations on a body with that equipment."""
    found = matrix.groups.get((body, equipment, aim))
    if found is None:
        has = tuple(sorted(name for at, name in enumerate(EQUIPMENT) if equipment >> at & 1))
        removal = removal_of(matrix.compiled.removal, BODIES[body], has)
        found = tuple(_group(removal, aim, panels, matrix.number) for panels in _sharing(removal))
        matrix.groups[body, equipment, aim] = found
    return found


def _sharing(removal: Removal) -> list[tuple[str, ...]]:
    """Panels parted so that no operation serves two groups, in the sheet's order."""
    groups: list[tuple[int, tuple[str, ...]]] = []
    for panel in sorted(removal.ways, key=PANEL_AT.__getitem__):
        touched = 0
        for way in removal.ways[panel]:
            touched |= way
        members: tuple[str, ...] = (panel,)
        apart = []
        for operations, others in groups:
            if operations & touched:
                touched |= operations
                members = others + members
            else:
                apart.append((operations, others))
        groups = [*apart, (touched, members)]
    return [members for _, members in groups]


def _group(removal: Removal, aim: Aim, panels: Sequence[str], number: type) -> RemovalGroup:
    kinds: tuple[type, ...] = (number, number, np.int64)
    sums: list[Whole] = [np.full(1 << len(panels), _UNKNOWN, kind) for kind in kinds]
    for column in sums:
        column[0] = 0
    return RemovalGroup(
        removal=removal,
        weights=removal.weights(aim),
        panels=tuple(panels),
        positions=np.array([PANEL_AT[panel] for panel in panels], np.int64),
        labour=sums[0],
        fasteners=sums[1],
        minutes=sums[2],
    )


def look_up(group: RemovalGroup, pushed: Whole) -> tuple[Whole, Whole, Whole]:
    """Labour, fasteners and minutes (over MINUTE_UNITS) of removal for masks of pushed panels."""
    index = np.zeros(len(pushed), np.int64)
    for bit, position in enumerate(group.positions):
        index |= (pushed >> position & 1) << bit
    labour = group.labour[index]
    if (labour == _UNKNOWN).any():
        for mask in np.unique(index[labour == _UNKNOWN]):
            _fill(group, int(mask))
        labour = group.labour[index]
    return labour, group.fasteners[index], group.minutes[index]


def _fill(group: RemovalGroup, mask: int) -> None:
    """Find the operations for a mask that was not met before."""
    removal = group.removal
    pushed = [panel for bit, panel in enumerate(group.panels) if mask >> bit & 1]
    off = cheapest_set(removal, pushed, group.weights)
    rules = [rule for at, rule in enumerate(removal.operations) if off >> at & 1]
    minutes = sum((Fraction(rule.minutes) for rule in rules), Fraction(0))
    group.minutes[mask] = int(minutes * MINUTE_UNITS)
    group.fasteners[mask] = sum(rule.fastener_amount or 0 for rule in rules)
    # Last, since it is what says that the mask is known.
    group.labour[mask] = sum(rule.labour for rule in rules)
