"""The compiled matrix: integer tables that every pricing path reads.

`GridTable.values[n][k]` is the cell for a count of n dents in column k (n from 0 to
`last`, row 0 all zeros), as an integer over the matrix-wide `scale`; ramps are already
worked out, so a count is an index and nothing is interpolated while pricing. A base
amount in minor units is values · `base_numerator` / `base_denominator`, rounded once.

The rule for several sizes on one panel is written once, in `mixed_terms`: each of the
five rules is a weighted sum of cells over a divisor. It takes counts as whole numbers or as
arrays of them: the single-vehicle path prints the cells that are left of it (`mixed_cells`),
the many-vehicle path adds them up for all panels at once.

Promise of the rules (cells do not fall down or along): under `layers` one more dent, or
a larger one, never lowers the base, because a step from size to size does not fall as
the count grows. `each` promises it for one more dent; a larger one leaves its size's band
for another's. Under `share` one more small dent on a
panel of large ones can lower the mean, under `most` it can change which class leads, so
neither promises it. Under `largest` the class never shrinks and the count never falls.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import Any, NamedTuple

from hailcalc.coins import Coin
from hailcalc.matrix.model import Grid, Matrix, Mixed, coin_set
from hailcalc.money import currency_decimals, minor_units, round_half_away


class CellUse(NamedTuple):
    """A cell that a mixed rule takes: weight × the cell for so many `dents` in `column`."""

    weight: int
    dents: int
    column: int


class MixedTerm(NamedTuple):
    """What one column adds to a mixed rule: weight × Σ sign × the cell for `dents` in a column.

    `weight` and `dents` are whole numbers or arrays of them, `cells` pairs of sign and column. A
    term without dents adds nothing, since every table begins with a row of zeros.
    """

    weight: Any
    dents: Any
    cells: tuple[tuple[int, int], ...]


class GridTable(NamedTuple):
    """One grid, by count."""

    name: str
    bands: tuple[int, ...]
    last: int
    texts: tuple[tuple[str, ...], ...]
    """The cells as the file has them, for print."""
    values: tuple[tuple[int, ...], ...]
    """values[n][k] over the matrix's scale."""
    row_of: tuple[int, ...]
    """The row whose band holds a count; row_of[0] is -1."""

    def band(self, count: int) -> tuple[int, int]:
        """Lowest and highest count of the band that holds `count` (1 to `last`)."""
        row = self.row_of[count]
        high = self.bands[row + 1] - 1 if row + 1 < len(self.bands) else self.last
        return self.bands[row], high


class MatrixTables(NamedTuple):
    """A matrix's grids and units, compiled. Money in minor units, minutes over `scale`."""

    currency: str
    decimals: int
    coins: tuple[Coin, ...]
    columns: tuple[Coin, ...]
    column_of: dict[str, int]
    """Column in which a tally's coin counts; coins beyond the largest column are absent."""
    grids: tuple[GridTable, ...]
    grid_of: dict[str, int]
    mixed: Mixed
    ramp: bool
    in_minutes: bool
    scale: int
    base_numerator: int
    base_denominator: int
    repair_rate: int
    removal_rate: int
    sample_from: int | None
    """The count from which sample squares are accepted; None: at any count."""


def compile_tables(matrix: Matrix) -> MatrixTables:
    """Compile the grids of a checked matrix."""
    header = matrix.matrix
    decimals = currency_decimals(header.currency)
    assert decimals is not None, "a checked matrix has a known currency"
    coins = coin_set(header)
    columns = tuple(coin for coin in coins if coin.name in header.columns)
    ramp = header.within_band == "ramp"
    scale = _common_scale(matrix.grid, ramp)
    repair_rate = minor_units(matrix.rates.repair, decimals)
    in_minutes = header.cells == "minutes"
    return MatrixTables(
        currency=header.currency,
        decimals=decimals,
        coins=coins,
        columns=columns,
        column_of={
            coin.name: column for coin in coins if (column := _covering(coin, columns)) is not None
        },
        grids=tuple(_grid_table(grid, ramp, scale) for grid in matrix.grid),
        grid_of={panel: i for i, grid in enumerate(matrix.grid) for panel in grid.panels},
        mixed=header.mixed,
        ramp=ramp,
        in_minutes=in_minutes,
        scale=scale,
        base_numerator=repair_rate if in_minutes else 10**decimals,
        base_denominator=60 * scale if in_minutes else scale,
        repair_rate=repair_rate,
        removal_rate=minor_units(matrix.rates.removal, decimals),
        sample_from=header.sample_from,
    )


def _covering(coin: Coin, columns: Sequence[Coin]) -> int | None:
    return next((k for k, column in enumerate(columns) if column.mm >= coin.mm), None)


def _common_scale(grids: Sequence[Grid], ramp: bool) -> int:
    """The smallest integer over which every cell of every count is an integer."""
    scale = 1
    for grid in grids:
        for cells in grid.rows:
            for cell in cells:
                scale = lcm(scale, Fraction(cell).denominator)
    if ramp:
        widths = [b - a for grid in grids for a, b in pairwise(grid.bands)]
        scale *= lcm(1, *widths)
    return scale


def _grid_table(grid: Grid, ramp: bool, scale: int) -> GridTable:
    rows = [[int(Fraction(cell) * scale) for cell in cells] for cells in grid.rows]
    row_of = [-1]
    values = [tuple(0 for _ in rows[0])]
    for count in range(1, grid.last + 1):
        row = row_of[-1]
        if row + 1 < len(grid.bands) and count >= grid.bands[row + 1]:
            row += 1
        row_of.append(row)
        cells = rows[row]
        if ramp and row + 1 < len(rows):
            low, width = grid.bands[row], grid.bands[row + 1] - grid.bands[row]
            cells = [
                here + (there - here) * (count - low) // width
                for here, there in zip(cells, rows[row + 1], strict=True)
            ]
        values.append(tuple(cells))
    return GridTable(
        name=grid.name,
        bands=grid.bands,
        last=grid.last,
        texts=tuple(tuple(str(cell) for cell in cells) for cells in grid.rows),
        values=tuple(values),
        row_of=tuple(row_of),
    )


def mixed_terms(mixed: Mixed, counts: Sequence[Any]) -> tuple[list[MixedTerm], Any]:
    """The terms and the divisor that price `counts` (by column, ascending size).

    Counts are whole numbers, or arrays of equal length with a place a panel. The base is
    Σ terms / divisor; the divisor is 0 only where there are no dents under `share`.
    """
    last = len(counts) - 1
    larger: list[Any] = [0] * len(counts)
    for column in range(last, 0, -1):
        larger[column - 1] = larger[column] + counts[column]
    if mixed == "layers":
        # All dents in the first column, then for each larger column the step up to it.
        steps = [((1, 0),), *(((1, column), (-1, column - 1)) for column in range(1, last + 1))]
        return [
            MixedTerm(1, counts[column] + larger[column], cells)
            for column, cells in enumerate(steps)
        ], 1
    if mixed == "each":
        return [MixedTerm(1, count, ((1, column),)) for column, count in enumerate(counts)], 1
    total = counts[0] + larger[0]
    if mixed == "share":
        return [
            MixedTerm(count, total, ((1, column),)) for column, count in enumerate(counts)
        ], total
    weights: list[Any] = []
    for column, count in enumerate(counts):
        leads = count > 0
        if mixed == "largest":
            leads = leads & (larger[column] == 0)
        else:
            # Most dents; of equal columns the larger leads.
            for other in counts[:column]:
                leads = leads & (count >= other)
            for other in counts[column + 1 :]:
                leads = leads & (count > other)
        weights.append(leads)
    return [
        MixedTerm(1 * weight, total, ((1, column),)) for column, weight in enumerate(weights)
    ], 1


def mixed_cells(mixed: Mixed, counts: Sequence[int]) -> tuple[list[CellUse], int]:
    """The cells of `mixed_terms` for one panel, without those that cancel or weigh nothing.

    The base is Σ weight · values[dents][column] / divisor. No cells if there are no dents.
    """
    terms, divisor = mixed_terms(mixed, counts)
    uses: list[CellUse] = []
    for term in terms:
        if not term.dents or not term.weight:
            continue
        for sign, column in reversed(term.cells):
            weight = sign * term.weight
            if uses and uses[-1] == (-weight, term.dents, column):
                # A step from a column to the next at one and the same count.
                uses.pop()
            else:
                uses.append(CellUse(weight, term.dents, column))
    if len(uses) == 1 and divisor > 1:
        # All dents of one size: their share is the whole.
        return [uses[0]._replace(weight=1)], 1
    return uses, divisor or 1


def base_amount(grid: GridTable, tables: MatrixTables, counts: Sequence[int]) -> int:
    """The base of `counts` by column, minor units: cells by the mixed rule, rounded once.

    The dents must be within the grid, 1 to `last` in all.
    """
    uses, divisor = mixed_cells(tables.mixed, counts)
    value = sum(use.weight * grid.values[use.dents][use.column] for use in uses)
    return round_half_away(value * tables.base_numerator, divisor * tables.base_denominator)
