"""Claim files as rows of a book.

A book knows counts, not how they were made: dents that were measured singly are sorted into the
coins of the matrix, sample squares stand as their estimate, and a planned panel is reached as
the plan under that matrix says. So rows are made for one matrix, from a claim that was priced
under it; pricing the book again gives that claim's sums to the cent.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from hailcalc.claimfile import Panel, longest_axis
from hailcalc.coins import size_class
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.matrix import MatrixTables
from hailcalc.money import minor_units, money_text, plain
from hailcalc.portfolio.columns import COLUMNS, coin_column
from hailcalc.portfolio.rows import ACCESSES, MARKS, OTHER_KINDS

if TYPE_CHECKING:
    import pyarrow as pa

Row = dict[str, str]


def book_rows(priced: Estimate, facts: Mapping[str, str] | None = None) -> list[Row]:
    """The rows of a book for a priced claim, cells as text; one without a panel if it has none.

    `facts` are further columns of the vehicle (`columns.FACTS`).
    """
    vehicle = _vehicle_cells(priced) | dict(facts or {})
    rows = [vehicle | _panel_cells(result, priced.compiled.tables) for result in priced.panels]
    return rows or [vehicle]


def book_table(rows: Sequence[Row]) -> pa.Table:
    """Rows as a table of text columns, those of a book before the coins; nothing for no cell."""
    import pyarrow as pa

    names = [*COLUMNS, *dict.fromkeys(name for row in rows for name in row if name not in COLUMNS)]
    return pa.table(
        {name: pa.array([row.get(name) for row in rows], pa.string()) for name in names}
    )


def _vehicle_cells(priced: Estimate) -> Row:
    claim, decimals = priced.claim, priced.compiled.tables.decimals
    cells = {
        "claim": claim.claim.number,
        "body": claim.vehicle.body,
        "equipment": ";".join(sorted(claim.vehicle.equipment)),
        "aim": claim.aim if priced.plan is not None else "",
        "matrix": priced.compiled.matrix.name,
        "insurer": claim.claim.insurer or "",
        "date_of_loss": claim.claim.date_of_loss.isoformat(),
        "deductible": claim.claim.deductible,
    }
    for kind in OTHER_KINDS:
        amounts = [
            other.quantity * minor_units(other.unit_price, decimals)
            for other in claim.other
            if other.kind == kind
        ]
        if amounts:
            cells[f"other_{kind}"] = money_text(sum(amounts), decimals)
    return cells


def _panel_cells(result: PanelResult, tables: MatrixTables) -> Row:
    panel = result.panel
    assert panel.access in ACCESSES, "a priced panel has its access chosen"
    cells: Row = {
        "panel": panel.panel,
        "metal": panel.metal,
        "repainted": "yes" if panel.repainted else "no",
        "access": panel.access,
        "oversize": "; ".join(plain(mm) for mm in result.count.oversize),
        "no_price": "yes" if result.unpriced else "",
        "agreed": panel.agreed or "",
        "replace_cost": (panel.replace_cost or "") if panel.access == "replace" else "",
    }
    cells |= {
        coin_column(coin): str(number)
        for coin, number in _by_coin(result, tables).items()
        if number
    }
    cells |= {mark: str(number) for mark in MARKS if (number := result.count.marks.get(mark, 0))}
    return cells


def _by_coin(result: PanelResult, tables: MatrixTables) -> Mapping[str, int]:
    """Dents that the columns cover, by coin."""
    panel = result.panel
    if panel.dents:
        return Counter(
            tables.coins[at].name for size in _sizes(panel, tables) if (at := size) is not None
        )
    if result.survey is not None and result.survey.sample is not None:
        return result.survey.sample.estimate.tally
    return panel.tally


def _sizes(panel: Panel, tables: MatrixTables) -> list[int | None]:
    """The smallest coin that covers each dent; None for what stands under oversize."""
    largest: Decimal = tables.columns[-1].mm
    sizes = [longest_axis(dent) for dent in panel.dents]
    return [size_class(size, tables.coins) if size <= largest else None for size in sizes]
