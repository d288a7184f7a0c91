"""The lines of one panel: replacement, agreed price, or base, oversize dents and extras.

A panel that the matrix has no price for gets one line without an amount that says why.
Amounts in minor units; every formula's figures stand on the same sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from hailcalc.access.rules import GLUE_ONLY
from hailcalc.claimfile import Panel
from hailcalc.counting import PanelCount
from hailcalc.estimate.compiled import UNITS_PER_MM, CompiledMatrix
from hailcalc.extras import panel_extras
from hailcalc.lines import Line, dents
from hailcalc.matrix import GridTable, MatrixTables, base_amount, mixed_cells
from hailcalc.money import minor_units, money_text, plain


def panel_lines(
    panel: Panel, count: PanelCount, body: str, compiled: CompiledMatrix, unpriced: str = ""
) -> list[Line]:
    """A panel's lines at a count: replacement, agreed price, or base, oversize dents, extras.

    `unpriced` says why its repair has no price whatever the matrix holds; empty if it may have.
    """
    tables = compiled.tables
    if panel.access == "replace":
        assert panel.replace_cost is not None, "a checked claim has the price of a replacement"
        words = f"replacement in place of the repair of {_estimated(panel, count)}"
        return [_given_line("body", panel, "Replacement", panel.replace_cost, words, tables)]
    if panel.agreed is not None:
        words = f"agreed for {_estimated(panel, count)}, in place of base, oversize and extras"
        return [_given_line("repair", panel, "Agreed price", panel.agreed, words, tables)]
    if count.all == 0:
        return []
    index = tables.grid_of.get(panel.panel)
    grid = None if index is None else tables.grids[index]
    reason = _not_priced(count, grid, compiled)
    if reason is None and unpriced:
        reason = f"{unpriced}; agree a price or replace"
    if reason is not None:
        words = f"{_about(panel)}{reason}" if count.in_columns else reason
        return [Line("repair", panel.panel, "Not priced", None, words, "")]
    lines: list[Line] = []
    if grid is not None and count.in_columns:
        lines.append(_base_line(panel, count, grid, tables))
    lines += [_oversize_line(panel, mm, compiled) for mm in count.oversize]
    lines += panel_extras(
        compiled.extras, panel, count, body, list(lines), tables, compiled.compound
    )
    return lines


def needs_opening(panel: Panel, count: PanelCount) -> bool:
    """Whether a panel needs push access: it is pushed and not all its dents are glue-only."""
    return panel.access == "push" and count.all > count.marks.get(GLUE_ONLY, 0)


def _estimated(panel: Panel, count: PanelCount) -> str:
    """A panel's dents, and that they are an estimate if they are."""
    return f"about {dents(count.all)}, sampled" if panel.sample is not None else dents(count.all)


def _about(panel: Panel) -> str:
    """What stands before a count that is an estimate."""
    return "sampled, about " if panel.sample is not None else ""


def _not_priced(count: PanelCount, grid: GridTable | None, compiled: CompiledMatrix) -> str | None:
    """Why the matrix has no price for a panel; None if it has one."""
    if grid is None:
        return "the matrix has no grid for this panel; agree a price or replace"
    if count.in_columns > grid.last:
        return (
            f"{count.in_columns} dents; the matrix prices up to {grid.last} on this panel; "
            "agree a price or replace"
        )
    if count.oversize and compiled.oversize is None:
        return (
            f"{dents(len(count.oversize))} beyond {compiled.tables.columns[-1].name}, which the "
            "matrix does not price; agree a price or replace"
        )
    return None


def _given_line(
    kind: Literal["repair", "body"],
    panel: Panel,
    label: str,
    amount: str,
    words: str,
    tables: MatrixTables,
) -> Line:
    """A line whose amount the claim file gives."""
    return Line(
        kind,
        panel.panel,
        label,
        minor_units(amount, tables.decimals),
        words,
        amount,
    )


def _base_line(panel: Panel, count: PanelCount, grid: GridTable, tables: MatrixTables) -> Line:
    """The base of a panel: cells by the mixed rule, at the repair rate if they are minutes."""
    uses, divisor = mixed_cells(tables.mixed, count.counts)
    amount = base_amount(grid, tables, count.counts)
    formula = _cells_formula(
        [(use.weight, _cell_text(use.dents, use.column, grid, tables)) for use in uses]
    )
    if divisor > 1:
        formula = f"({formula}) / {divisor}"
    if tables.in_minutes:
        if " + " in formula and divisor == 1 and len(uses) > 1:
            formula = f"({formula})"
        formula += f" * {money_text(tables.repair_rate, tables.decimals)} / 60"
    label = "Glue pull" if panel.access == "glue" else "Push"
    words = _about(panel) + _base_words(count, grid, tables)
    return Line("repair", panel.panel, label, amount, words, formula)


def _cells_formula(cells: Sequence[tuple[int, str]]) -> str:
    """Cells with weights as one sum: 117 + (69 - 58), or 3 * 28 + 2 * 36.

    A cell taken away stands with the larger one that follows it, as the step that it is.
    """
    terms: list[str] = []
    taken = ""
    for weight, cell in cells:
        if weight < 0:
            taken = cell
        elif taken:
            terms.append(f"({cell} - {taken})")
            taken = ""
        else:
            terms.append(f"{weight} * {cell}" if weight > 1 else cell)
    return " + ".join(terms)


def _cell_text(count: int, column: int, grid: GridTable, tables: MatrixTables) -> str:
    """A cell as the file has it, or the ramp between two cells as arithmetic."""
    row = grid.row_of[count]
    here = grid.texts[row][column]
    if not tables.ramp or row + 1 == len(grid.bands) or count == grid.bands[row]:
        return here
    there = grid.texts[row + 1][column]
    low, high = grid.bands[row], grid.bands[row + 1]
    return (
        here if here == there else f"({here} + ({there} - {here}) * {count - low} / {high - low})"
    )


def _band_words(count: int, grid: GridTable) -> str:
    low, high = grid.band(count)
    return f"band {low}" if low == high else f"band {low}–{high}"


def _base_words(count: PanelCount, grid: GridTable, tables: MatrixTables) -> str:
    """Which counts met which bands and columns under the mixed rule."""
    names = [column.name for column in tables.columns]
    total = count.in_columns
    head = f"{dents(total)}, {_band_words(total, grid)}"
    present = [column for column, number in enumerate(count.counts) if number]
    if len(present) == 1 and tables.mixed != "each":
        return f"{head}, {names[present[0]]}"
    if tables.mixed == "layers":
        return head + _layer_words(count.counts, names, grid)
    if tables.mixed == "share":
        each = ", ".join(f"{count.counts[column]} {names[column]}" for column in present)
        return f"{head}, by share: {each}"
    if tables.mixed == "largest":
        return f"{head}, largest size {names[present[-1]]}"
    if tables.mixed == "most":
        most = max(present, key=lambda column: (count.counts[column], column))
        return f"{head}, most are {names[most]} ({count.counts[most]})"
    each = "; ".join(
        f"{count.counts[column]} {names[column]}, {_band_words(count.counts[column], grid)}"
        for column in present
    )
    return f"each size by its own band: {each}"


def _layer_words(counts: Sequence[int], names: Sequence[str], grid: GridTable) -> str:
    """The steps of `layers`: how many dents reach each larger size, from which smaller one."""
    present = [column for column, number in enumerate(counts) if number]
    words = f", {names[present[0]]}"
    for before, column in pairwise(present):
        reached = sum(counts[column:])
        larger = " or larger" if column != present[-1] else ""
        words += (
            f"; {reached} of {names[column]}{larger}, {_band_words(reached, grid)}: "
            f"step from {names[before]}"
        )
    return words


def _oversize_line(panel: Panel, mm: Decimal, compiled: CompiledMatrix) -> Line:
    rule = compiled.oversize
    assert rule is not None, "a panel with oversize dents and no rule is not priced"
    tables = compiled.tables
    largest = tables.columns[-1]
    size = plain(mm)
    rate = money_text(tables.repair_rate, tables.decimals)
    return Line(
        "oversize",
        panel.panel,
        "Oversize dent",
        rule.amount(int(mm * UNITS_PER_MM)),
        f"{size} mm, {plain(mm - largest.mm)} mm beyond {largest.name} ({largest.mm} mm)",
        f"({rule.minutes_text} + {rule.per_mm_text} * ({size} - {largest.mm})) * {rate} / 60",
    )
