"""Near an edge of a band: where a handful of dents more or fewer changes a panel's base.

Counts by column, amounts in minor units. For each direction the fewest dents, up to a
`handful`, of one size that the panel has, which put a count that picks a row into another
band (or beyond the grid), and what the base then is. Where several sizes do it with equally
many dents the one with most dents is told. Bands of a single count are left alone, since
there every dent has its own price and no edge decides; so is a ramp, which has no steps.
Amounts come from the same tables as the price.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from hailcalc.matrix import GridTable, MatrixTables, base_amount
from hailcalc.money import money_text

_SHARE = 20
_MOST = 5


def handful(dents: int) -> int:
    """Dents by which two careful looks at one panel easily differ: one in twenty, 1 to 5.

    Common practice, no source.
    """
    return max(1, min(_MOST, dents // _SHARE))


class NearEdge(NamedTuple):
    """So many dents of one size up (or, negative, down) change the base of a panel.

    `band` and `base` are those after the change, None beyond the last count of the grid.
    """

    panel: str
    dents: int
    column: int
    band: tuple[int, int] | None
    before: int
    base: int | None

    @property
    def change(self) -> int | None:
        """What the dents change, minor units."""
        return None if self.base is None else self.base - self.before


def near_edges(
    panel: str, counts: Sequence[int], grid: GridTable, tables: MatrixTables
) -> Iterator[NearEdge]:
    """The edges of bands within a handful of a priced panel's counts: up first, then down."""
    by_number = sorted(range(len(counts)), key=lambda column: -counts[column])
    for direction in (1, -1):
        found = (
            edge
            for dents in range(1, handful(sum(counts)) + 1)
            for column in by_number
            if counts[column] and counts[column] + direction * dents >= 0
            for edge in _edge(panel, counts, column, direction * dents, grid, tables)
        )
        yield from islice(found, 1)


def _edge(
    panel: str,
    counts: Sequence[int],
    column: int,
    dents: int,
    grid: GridTable,
    tables: MatrixTables,
) -> Iterator[NearEdge]:
    """What so many dents more in a column come to, if an edge decides it."""
    changed = list(counts)
    changed[column] += dents
    band = None
    if sum(changed) <= grid.last:
        band = _deciding_band(counts, changed, column, grid, tables)
        if band is None:
            return
    before = base_amount(grid, tables, counts)
    if band is None:
        yield NearEdge(panel, dents, column, None, before, None)
        return
    after = base_amount(grid, tables, changed)
    if after != before:
        yield NearEdge(panel, dents, column, band, before, after)


def _deciding_band(
    counts: Sequence[int],
    changed: Sequence[int],
    column: int,
    grid: GridTable,
    tables: MatrixTables,
) -> tuple[int, int] | None:
    """The new band of the first count that leaves a band of several counts, if any does."""
    if tables.ramp:
        return None
    for was, now in _row_counts(counts, changed, column, tables.mixed):
        low, high = grid.band(was)
        if now and low != high and grid.row_of[was] != grid.row_of[now]:
            return grid.band(now)
    if tables.mixed == "most" and _leader(counts) != _leader(changed):
        return grid.band(sum(changed))
    return None


def _row_counts(
    counts: Sequence[int], changed: Sequence[int], column: int, mixed: str
) -> Iterator[tuple[int, int]]:
    """Counts that pick a row under a mixed rule, before and after a change in one column."""
    if mixed == "each":
        yield counts[column], changed[column]
    elif mixed == "layers":
        for smallest in range(column + 1):
            if counts[smallest]:
                yield sum(counts[smallest:]), sum(changed[smallest:])
    else:
        yield sum(counts), sum(changed)


def _leader(counts: Sequence[int]) -> int:
    return max(range(len(counts)), key=lambda column: (counts[column], column))


def edge_words(edge: NearEdge, tables: MatrixTables) -> str:
    """An edge in a sentence: 2 dents more of dime: band 57–80, base 209.60 to 238.40, +28.80."""
    number = abs(edge.dents)
    dents = f"{number} dent{'' if number == 1 else 's'} {'more' if edge.dents > 0 else 'fewer'}"
    size = tables.columns[edge.column].name
    if edge.band is None or edge.base is None or edge.change is None:
        return f"{dents} of {size}: beyond the counts that the matrix prices"
    low, high = edge.band
    band = f"band {low}" if low == high else f"band {low}–{high}"
    was, now = money_text(edge.before, tables.decimals), money_text(edge.base, tables.decimals)
    change = money_text(edge.change, tables.decimals)
    sign = "+" if edge.change > 0 else ""
    return f"{dents} of {size}: {band}, base {now} instead of {was} ({sign}{change})"
