"""The difficulty matrix: its file, the checks on it, its integer tables, and the choice.

Cells are minutes or money for so many dents (row: a band of counts) of such a size
(column: a coin). `model` is the file's shape, `checks` what the shape cannot say,
`tables` the compiled form that all pricing reads, `library` the choice by insurer and
date of loss. The idea: whatever a shop writes in the file is turned once into integer
tables indexed by count, so that pricing a panel is a handful of look-ups and sums.
"""

from hailcalc.matrix.library import choose_matrix, matrix_problem_of_choice
from hailcalc.matrix.model import (
    AccessRules,
    Extra,
    Grid,
    Matrix,
    MatrixReading,
    Operation,
    Oversize,
    matrix_from_data,
    read_matrix,
    require_matrix,
)
from hailcalc.matrix.tables import (
    GridTable,
    MatrixTables,
    base_amount,
    compile_tables,
    mixed_cells,
    mixed_terms,
)

__all__ = [
    "AccessRules",
    "Extra",
    "Grid",
    "GridTable",
    "Matrix",
    "MatrixReading",
    "MatrixTables",
    "Operation",
    "Oversize",
    "base_amount",
    "choose_matrix",
    "compile_tables",
    "matrix_from_data",
    "matrix_problem_of_choice",
    "mixed_cells",
    "mixed_terms",
    "read_matrix",
    "require_matrix",
]
