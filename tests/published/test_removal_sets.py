"""Removal sets against an integer programme (scipy.optimize.milp, the HiGHS solver), against
every set there is, and their order against the standard library's topological sorter.

Operations open panels and need others off first. Costs are minor units: the rounded labour and
the fasteners, before tax. The idea: the choice is a set cover with precedence, for which general
solvers exist; on few operations all 2^n sets can be tried, which settles ties as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import combinations, groupby
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from hailcalc.matrix import compile_tables, matrix_from_data, require_matrix
from hailcalc.removal import Removal, cheapest_set, compile_removal, removal_of, removal_order
from hailcalc.vehicle import PANELS, PART_OF_PANEL
from tests.effort import examples

MATRIX: dict[str, Any] = {
    "matrix": {
        "name": "removal-only",
        "currency": "USD",
        "effective": "2026-03-01",
        "columns": ["dime"],
        "cells": "minutes",
        "within_band": "flat",
        "stacking": "add",
    },
    # 60.00 an hour: a minute is 1.00, so that a cost can be read off the file.
    "rates": {"repair": "60.00", "removal": "60.00"},
    "grid": [{"name": "all", "panels": ["hood"], "bands": [1], "last": 9, "rows": [[10]]}],
}


@dataclass(frozen=True)
class Work:
    """One operation: cents, what it needs off first (positions), what it opens."""

    cents: int
    fastener_cents: int
    after: tuple[int, ...]
    opens: tuple[str, ...]

    @property
    def cost(self) -> int:
        return self.cents + self.fastener_cents


@st.composite
def work(draw: st.DrawFn, most: int) -> list[Work]:
    """Operations of which each may need some that stand before it in some order of their own."""
    count = draw(st.integers(1, most))
    order = draw(st.permutations(range(count)))
    rank = {position: place for place, position in enumerate(order)}
    panels = PANELS[: draw(st.integers(1, 7))]
    made: list[Work] = []
    for position in range(count):
        earlier = [other for other in range(count) if rank[other] < rank[position]]
        after = draw(st.lists(st.sampled_from(earlier), max_size=2, unique=True)) if earlier else []
        opens = draw(st.lists(st.sampled_from(panels), min_size=1, max_size=3, unique=True))
        cents = draw(st.sampled_from([0, 500, 600, 600, 700, 1100, 1200, 1850]))
        fastener_cents = draw(st.sampled_from([0, 0, 100, 650]))
        made.append(Work(cents, fastener_cents, tuple(after), tuple(opens)))
    return made


def compiled(operations: Sequence[Work]) -> Removal:
    data = MATRIX | {
        "removal": [
            {
                "id": f"op-{position}",
                "label": f"Operation {position}",
                "minutes": f"{operation.cents // 100}.{operation.cents % 100:02}",
                "after": [f"op-{other}" for other in operation.after],
                "opens": list(operation.opens),
                "fasteners": 1,
                "fastener_price": f"{operation.fastener_cents / 100:.2f}",
            }
            for position, operation in enumerate(operations)
        ]
    }
    matrix = require_matrix(matrix_from_data(data))
    return removal_of(compile_removal(matrix, compile_tables(matrix)), "sedan", ())


def cheapest(operations: Sequence[Work], pushed: Sequence[str]) -> int:
    removal = compiled(operations)
    return cheapest_set(removal, pushed, removal.by_cost)


def members(mask: int, count: int) -> tuple[int, ...]:
    return tuple(position for position in range(count) if mask >> position & 1)


def serves(operations: Sequence[Work], chosen: Sequence[int], pushed: Sequence[str]) -> bool:
    """Whether everything needed is off too, and every pushed panel that can be opened is open."""
    off = set(chosen)
    openable = {panel for operation in operations for panel in operation.opens}
    opened = {panel for position in chosen for panel in operations[position].opens}
    return all(off.issuperset(operations[position].after) for position in chosen) and (
        openable.intersection(pushed) <= opened
    )


def least_cost(operations: Sequence[Work], pushed: Sequence[str]) -> int:
    """The optimum as the solver finds it."""
    count = len(operations)
    rows: list[list[int]] = []
    least: list[int] = []
    for position, operation in enumerate(operations):
        for other in operation.after:  # x[other] − x[position] ≥ 0
            row = [0] * count
            row[other], row[position] = 1, -1
            rows.append(row)
            least.append(0)
    for panel in pushed:
        row = [int(panel in operation.opens) for operation in operations]
        if any(row):
            rows.append(row)
            least.append(1)
    constraints = [LinearConstraint(np.array(rows), lb=np.array(least))] if rows else []
    found = milp(
        c=np.array([operation.cost for operation in operations]),
        integrality=np.ones(count),
        bounds=Bounds(0, 1),
        constraints=constraints,
        options={"mip_rel_gap": 0},
    )
    assert found.success
    cost: int = round(found.fun)
    return cost


panels_pushed = st.lists(st.sampled_from(PANELS[:8]), max_size=7, unique=True)


@settings(max_examples=examples(200))
@given(work(22), panels_pushed)
def test_the_chosen_set_costs_what_an_integer_programme_finds(
    operations: list[Work], pushed: list[str]
) -> None:
    chosen = members(cheapest(operations, pushed), len(operations))
    assert serves(operations, chosen, pushed)
    assert sum(operations[position].cost for position in chosen) == least_cost(operations, pushed)


@settings(max_examples=examples(200))
@given(work(8), panels_pushed)
def test_of_all_sets_the_cheapest_then_quickest_then_smallest_then_first_is_chosen(
    operations: list[Work], pushed: list[str]
) -> None:
    best = min(
        (
            sum(operations[position].cost for position in chosen),
            sum(operations[position].cents for position in chosen),  # a minute is 1.00
            len(chosen),
            chosen,
        )
        for size in range(len(operations) + 1)
        for chosen in combinations(range(len(operations)), size)
        if serves(operations, chosen, pushed)
    )
    assert members(cheapest(operations, pushed), len(operations)) == best[3]


def parts_of(operations: Sequence[Work]) -> list[str]:
    """Where one stands for each operation: at the first panel that it serves, in sheet order."""
    needs: dict[int, set[int]] = {}
    for position in TopologicalSorter(
        {position: operation.after for position, operation in enumerate(operations)}
    ).static_order():
        before = operations[position].after
        needs[position] = {position}.union(*(needs[other] for other in before))
    return [
        PART_OF_PANEL[
            min(
                (panel for other in needs if position in needs[other]
                 for panel in operations[other].opens),
                key=PANELS.index,
            )
        ]
        for position in range(len(operations))
    ]  # fmt: skip


def in_order(operations: Sequence[Work], pushed: Sequence[str]) -> tuple[list[int], list[int]]:
    """The chosen operations, and the same in the order of removal."""
    removal = compiled(operations)
    mask = cheapest_set(removal, pushed, removal.by_cost)
    order = [int(rule.id.removeprefix("op-")) for rule in removal_order(removal, mask)]
    return list(members(mask, len(operations))), order


@settings(max_examples=examples(150))
@given(work(15), panels_pushed)
def test_what_comes_off_is_ready_and_work_stays_at_one_part_while_anything_there_is(
    operations: list[Work], pushed: list[str]
) -> None:
    chosen, order = in_order(operations, pushed)
    assert sorted(order) == chosen
    parts = parts_of(operations)
    sorter = TopologicalSorter({position: operations[position].after for position in chosen})
    sorter.prepare()
    ready: set[int] = set()
    part = ""
    for position in order:
        ready.update(sorter.get_ready())
        here = [other for other in sorted(ready) if parts[other] == part]
        assert position == (here[0] if here else position)
        assert position == min(other for other in ready if parts[other] == parts[position])
        part = parts[position]
        ready.remove(position)
        sorter.done(position)
    assert not sorter.is_active()


@settings(max_examples=examples(150))
@given(work(15), panels_pushed)
def test_each_part_is_gone_to_once_unless_parts_wait_for_each_other(
    operations: list[Work], pushed: list[str]
) -> None:
    chosen, order = in_order(operations, pushed)
    parts = parts_of(operations)
    waits = {parts[position]: set[str]() for position in chosen}
    for position in chosen:
        waits[parts[position]] |= {parts[other] for other in operations[position].after}
        waits[parts[position]].discard(parts[position])
    visits = [part for part, _ in groupby(order, key=lambda position: parts[position])]
    try:
        TopologicalSorter(waits).prepare()
    except CycleError:
        assert len(visits) > len(set(visits))
    else:
        assert len(visits) == len(set(visits))
