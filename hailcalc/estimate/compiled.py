"""A matrix made ready for pricing, once for many vehicles.

Tables indexed by count, extras and operations as rules, rates in minor units an hour: no
text is left to parse.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from hailcalc.extras import ExtraRule, compile_extras
from hailcalc.matrix import Matrix, MatrixTables, compile_tables
from hailcalc.money import minor_units
from hailcalc.removal import OperationRule, compile_removal


class OversizeRule(NamedTuple):
    """Price of one dent beyond the largest coin, minutes exact and as printed."""

    minutes: Fraction
    per_mm: Fraction
    minutes_text: str
    per_mm_text: str


class CompiledMatrix(NamedTuple):
    """A matrix ready for pricing: tables, rules and rates, no text left to parse."""

    matrix: Matrix
    tables: MatrixTables
    extras: tuple[ExtraRule, ...]
    removal: tuple[OperationRule, ...]
    oversize: OversizeRule | None
    compound: bool
    minimum: int


def compile_matrix(matrix: Matrix) -> CompiledMatrix:
    """Compile a checked matrix for pricing."""
    tables = compile_tables(matrix)
    oversize = None
    if matrix.oversize is not None:
        texts = matrix.oversize.minutes, matrix.oversize.minutes_per_mm
        oversize = OversizeRule(Fraction(texts[0]), Fraction(texts[1]), *texts)
    return CompiledMatrix(
        matrix=matrix,
        tables=tables,
        extras=compile_extras(matrix, tables.decimals),
        removal=compile_removal(matrix, tables),
        oversize=oversize,
        compound=matrix.matrix.stacking == "compound",
        minimum=minor_units(matrix.matrix.minimum, tables.decimals),
    )
