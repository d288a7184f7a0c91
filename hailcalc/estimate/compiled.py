"""A matrix made ready for pricing, once for many vehicles.

Tables indexed by count, extras and operations as rules, rates in minor units an hour: no
text is left to parse.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Any, NamedTuple

from hailcalc.extras import ExtraRule, compile_extras
from hailcalc.matrix import Matrix, MatrixTables, Oversize, compile_tables
from hailcalc.money import minor_units, round_half_away
from hailcalc.removal import OperationRule, Removal, compile_removal

UNITS_PER_MM = 10_000
"""Sizes are whole tenths of a micrometre where oversize dents are priced, as coins may be given."""


class OversizeRule(NamedTuple):
    """Price of one dent beyond the largest coin, as printed and as whole numbers.

    The amount of a dent is (`fixed` + `per_unit` × what it is beyond `largest`) / `denominator`
    minor units, sizes in tenths of a micrometre.
    """

    minutes_text: str
    per_mm_text: str
    largest: int
    fixed: int
    per_unit: int
    denominator: int

    def amount(self, size: Any) -> Any:
        """Minor units for a dent of `size` tenths of a micrometre; for many as an array."""
        beyond = size - self.largest
        return round_half_away(self.fixed + self.per_unit * beyond, self.denominator)


class CompiledMatrix(NamedTuple):
    """A matrix ready for pricing: tables, rules and rates, no text left to parse.

    `removals` keeps the operations of the sorts of vehicle that were met, by body and equipment.
    """

    matrix: Matrix
    tables: MatrixTables
    extras: tuple[ExtraRule, ...]
    removal: tuple[OperationRule, ...]
    oversize: OversizeRule | None
    compound: bool
    minimum: int
    removals: dict[tuple[str, tuple[str, ...]], Removal]


def compile_matrix(matrix: Matrix) -> CompiledMatrix:
    """Compile a checked matrix for pricing."""
    tables = compile_tables(matrix)
    oversize = None
    if matrix.oversize is not None:
        oversize = _oversize_rule(matrix.oversize, tables)
    return CompiledMatrix(
        matrix=matrix,
        tables=tables,
        extras=compile_extras(matrix, tables.decimals),
        removal=compile_removal(matrix, tables),
        oversize=oversize,
        compound=matrix.matrix.stacking == "compound",
        minimum=minor_units(matrix.matrix.minimum, tables.decimals),
        removals={},
    )


def _oversize_rule(oversize: Oversize, tables: MatrixTables) -> OversizeRule:
    fixed = Fraction(oversize.minutes) * tables.repair_rate / 60
    per_unit = Fraction(oversize.minutes_per_mm) * tables.repair_rate / (60 * UNITS_PER_MM)
    denominator = lcm(fixed.denominator, per_unit.denominator)
    return OversizeRule(
        minutes_text=oversize.minutes,
        per_mm_text=oversize.minutes_per_mm,
        largest=int(tables.columns[-1].mm * UNITS_PER_MM),
        fixed=int(fixed * denominator),
        per_unit=int(per_unit * denominator),
        denominator=denominator,
    )
