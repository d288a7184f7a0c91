"""A book's vehicles as arrays: what the rules of pricing look at, and nothing else.

One place a panel in the arrays of panels, one a vehicle in those of vehicles; the panels of
vehicle v are `first[v]` to `first[v + 1]`. Panels, bodies, metals and ways of access are their
positions in the tuples here; counts stand by column of the matrix; money is minor units and
sizes of oversize dents are tenths of a micrometre. `ABSENT` stands where no sum was given.
"""

from __future__ import annotations

from typing import Any, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from hailcalc.claimfile import Mark, Metal
from hailcalc.lines import Kind
from hailcalc.vehicle import BODIES, PANELS, Equipment

Whole = NDArray[Any]
"""Whole numbers: int64, smaller ones as they are read, Python's own where 64 bits may not do."""
Yes = NDArray[np.bool_]

METALS: tuple[str, ...] = get_args(Metal)
MARKS: tuple[str, ...] = get_args(Mark)
EQUIPMENT: tuple[str, ...] = get_args(Equipment)
ACCESSES = ("push", "glue", "replace")
OTHER_KINDS: tuple[Kind, ...] = ("part", "sublet", "refinish", "body")
ABSENT = -1

PANEL_AT = {name: at for at, name in enumerate(PANELS)}
BODY_AT = {name: at for at, name in enumerate(BODIES)}


class Rows(NamedTuple):
    """Vehicles of a book, checked. None stands for a column that no panel or vehicle has."""

    first: Whole
    body: Whole
    equipment: Whole
    """A bit for each of `EQUIPMENT`."""
    by_minutes: Yes | None
    """Vehicles whose access was planned for least minutes: so is their removal."""
    panel: Whole
    metal: Whole
    repainted: Yes
    access: Whole
    counts: tuple[Whole, ...]
    marks: tuple[Whole | None, ...]
    oversize_first: Whole | None
    """Where in `oversize` a panel's dents begin; one place more than panels."""
    oversize: Whole | None
    no_price: Yes | None
    """Panels that no method may be used on as they are: no price until one is agreed."""
    agreed: Whole | None
    replace_cost: Whole | None
    deductible: Whole | None
    other: tuple[Whole | None, ...]

    @property
    def vehicles(self) -> int:
        """How many vehicles."""
        return len(self.first) - 1

    @property
    def panels(self) -> int:
        """How many panels."""
        return len(self.panel)


def part_of(rows: Rows, start: int, end: int) -> Rows:
    """Vehicles `start` to `end` (not included), as views on the same arrays."""
    low, high = int(rows.first[start]), int(rows.first[end])
    of_panels = slice(low, high)
    of_vehicles = slice(start, end)
    oversize_first = oversize = None
    if rows.oversize_first is not None and rows.oversize is not None:
        begin, stop = int(rows.oversize_first[low]), int(rows.oversize_first[high])
        if stop > begin:
            oversize_first = rows.oversize_first[low : high + 1] - begin
            oversize = rows.oversize[begin:stop]
    return Rows(
        first=rows.first[start : end + 1] - low,
        body=rows.body[of_vehicles],
        equipment=rows.equipment[of_vehicles],
        by_minutes=_cut(rows.by_minutes, of_vehicles),
        panel=rows.panel[of_panels],
        metal=rows.metal[of_panels],
        repainted=rows.repainted[of_panels],
        access=rows.access[of_panels],
        counts=tuple(count[of_panels] for count in rows.counts),
        marks=tuple(None if marked is None else marked[of_panels] for marked in rows.marks),
        oversize_first=oversize_first,
        oversize=oversize,
        no_price=_cut(rows.no_price, of_panels),
        agreed=_cut(rows.agreed, of_panels),
        replace_cost=_cut(rows.replace_cost, of_panels),
        deductible=_cut(rows.deductible, of_vehicles),
        other=tuple(_cut(money, of_vehicles) for money in rows.other),
    )


def _cut(column: Whole | None, part: slice) -> Whole | None:
    return None if column is None else column[part]
