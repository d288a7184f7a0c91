"""The count of one panel under a matrix's columns.

Counts by column (ascending coins), oversize dents by their own millimetres, and for each
mark how many dents carry it. A tally's coin counts in the smallest column that covers it;
a single measured dent goes where its longest axis does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from hailcalc.claimfile import MeasuredDent, Panel, longest_axis
from hailcalc.coins import Coin, size_class


class PanelCount(NamedTuple):
    """One panel's dents. `marks` counts oversize dents too."""

    counts: tuple[int, ...]
    oversize: tuple[Decimal, ...]
    marks: dict[str, int]

    @property
    def in_columns(self) -> int:
        """Dents that the grid prices, N."""
        return sum(self.counts)

    @property
    def all(self) -> int:
        """All dents, oversize ones included."""
        return sum(self.counts) + len(self.oversize)


def count_panel(panel: Panel, column_of: Mapping[str, int], columns: Sequence[Coin]) -> PanelCount:
    """Count a panel whose coins are all known to `column_of`."""
    if panel.dents:
        return _count_single(panel.dents, columns)
    counts = [0] * len(columns)
    for coin, number in panel.tally.items():
        counts[column_of[coin]] += number
    marks: dict[str, int] = {mark: sum(sizes.values()) for mark, sizes in panel.marked.items()}
    for dent in panel.oversize:
        for mark in dent.marks:
            marks[mark] = marks.get(mark, 0) + 1
    return PanelCount(tuple(counts), tuple(dent.mm for dent in panel.oversize), marks)


def _count_single(dents: Sequence[MeasuredDent], columns: Sequence[Coin]) -> PanelCount:
    counts = [0] * len(columns)
    oversize: list[Decimal] = []
    marks: dict[str, int] = {}
    for dent in dents:
        size = longest_axis(dent)
        column = size_class(size, columns)
        if column is None:
            oversize.append(size)
        else:
            counts[column] += 1
        for mark in dent.marks:
            marks[mark] = marks.get(mark, 0) + 1
    return PanelCount(tuple(counts), tuple(oversize), marks)
