"""Near an edge of a band: where a handful of dents more or fewer changes a panel's price.

Counts by column, amounts in minor units. For each direction the fewest dents, up to a
`handful`, of one size that the panel has, which put a count that picks a row into another
band (or beyond the grid) and change the base, and what the panel then costs. Where several
sizes do it with equally many dents the one with most dents is told, since there a second look
most easily differs. Bands of a single count are left alone: there every dent has its own price
and no edge decides; so is a ramp, which has no steps. The dents are taken as unmarked, and what
is marked stays. Amounts come from the same tables as the price.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
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
    """So many dents of one size up (or, negative, down) put a count into another band.

    `of` says which count it is: empty for the panel's whole one, else a size, under layers "size
    or larger". `band`, `base` and `total` (the panel with its extras) are those after the change,
    None beyond the last count of the grid; `was_base` and `was_total` those before.
    """

    panel: str
    dents: int
    column: int
    of: str
    band: tuple[int, int] | None
    was_base: int
    base: int | None
    was_total: int
    total: int | None

    @property
    def change(self) -> int | None:
        """What the dents change in the panel's price, minor units."""
        return None if self.total is None else self.total - self.was_total


class Reckoner(NamedTuple):
    """What near edges are looked for with: a panel's grid, the tables, and its price.

    `was_total` is the panel's sum as counted; `total` gives it for other counts by column, None
    where the matrix has no price.
    """

    panel: str
    grid: GridTable
    tables: MatrixTables
    was_total: int
    total: Callable[[Sequence[int]], int | None]


def near_edges(counts: Sequence[int], reckoner: Reckoner) -> Iterator[NearEdge]:
    """The edges of bands within a handful of a priced panel's counts: up first, then down."""
    by_number = sorted(range(len(counts)), key=lambda column: -counts[column])
    for direction in (1, -1):
        found = (
            edge
            for dents in range(1, handful(sum(counts)) + 1)
            for column in by_number
            if counts[column] and counts[column] + direction * dents >= 0
            for edge in _edge(counts, column, direction * dents, reckoner)
        )
        yield from islice(found, 1)


def _edge(counts: Sequence[int], column: int, dents: int, reckoner: Reckoner) -> Iterator[NearEdge]:
    """What so many dents more in a column come to, if an edge decides it."""
    grid, tables = reckoner.grid, reckoner.tables
    changed = list(counts)
    changed[column] += dents
    beyond = sum(changed) > grid.last
    decided = None if beyond else _decided(counts, changed, column, reckoner)
    if decided is None and not beyond:
        return
    was_base = base_amount(grid, tables, counts)
    was_total = reckoner.was_total
    if decided is None:
        yield NearEdge(reckoner.panel, dents, column, "", None, was_base, None, was_total, None)
        return
    base = base_amount(grid, tables, changed)
    if base != was_base:
        of, band = decided
        total = reckoner.total(changed)
        yield NearEdge(reckoner.panel, dents, column, of, band, was_base, base, was_total, total)


def _decided(
    counts: Sequence[int], changed: Sequence[int], column: int, reckoner: Reckoner
) -> tuple[str, tuple[int, int]] | None:
    """Which count leaves a band of several counts first, and its new band; None if none does."""
    grid, tables = reckoner.grid, reckoner.tables
    if tables.ramp:
        return None
    for of, was, now in _row_counts(counts, changed, column, tables):
        low, high = grid.band(was)
        if now and low != high and grid.row_of[was] != grid.row_of[now]:
            return of, grid.band(now)
    if tables.mixed == "most" and any(changed) and _leader(counts) != _leader(changed):
        return "", grid.band(sum(changed))
    return None


def _row_counts(
    counts: Sequence[int], changed: Sequence[int], column: int, tables: MatrixTables
) -> Iterator[tuple[str, int, int]]:
    """Counts that pick a row under a mixed rule: which, before, after a change in one column."""
    if tables.mixed == "each":
        yield tables.columns[column].name, counts[column], changed[column]
    elif tables.mixed == "layers":
        present = [smallest for smallest in range(column + 1) if counts[smallest]]
        for smallest in present:
            of = "" if smallest == present[0] else _or_larger(smallest, counts, tables)
            yield of, sum(counts[smallest:]), sum(changed[smallest:])
    else:
        yield "", sum(counts), sum(changed)


def _or_larger(column: int, counts: Sequence[int], tables: MatrixTables) -> str:
    name = tables.columns[column].name
    return f"{name} or larger" if any(counts[column + 1 :]) else name


def _leader(counts: Sequence[int]) -> int:
    return max(range(len(counts)), key=lambda column: (counts[column], column))


def dents_words(edge: NearEdge, tables: MatrixTables) -> str:
    """The dents that an edge takes: 2 dents more, dime."""
    number = abs(edge.dents)
    more = "more" if edge.dents > 0 else "fewer"
    size = tables.columns[edge.column].name
    return f"{number} dent{'' if number == 1 else 's'} {more}, {size}"


def band_words(edge: NearEdge) -> str:
    """The band after the change, with the count that falls in it: quarter or larger: 11–14."""
    if edge.band is None:
        return "beyond the matrix"
    low, high = edge.band
    band = str(low) if low == high else f"{low}–{high}"
    return f"{edge.of}: {band}" if edge.of else band


def edge_words(edge: NearEdge, tables: MatrixTables) -> str:
    """An edge in a sentence: 1 dent more, dime: band 21–28, 157.02 instead of 134.62 (+22.40)."""
    dents = dents_words(edge, tables)
    if edge.total is None or edge.change is None:
        return f"{dents}: beyond the counts that the matrix prices"
    was, now = (money_text(sum_, tables.decimals) for sum_ in (edge.was_total, edge.total))
    change = money_text(edge.change, tables.decimals)
    sign = "+" if edge.change > 0 else ""
    return f"{dents}: band {band_words(edge)}, {now} instead of {was} ({sign}{change})"
