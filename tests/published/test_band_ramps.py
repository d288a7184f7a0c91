"""Compiled cells against another library's linear interpolation (numpy.interp).

Under `ramp` a cell runs in a straight line from a band's lower bound to the next one's and is
flat in the last band; under `flat` it is the cell of the last bound not above the count.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from typing import Any

import numpy as np
from hypothesis import given, settings

from hailcalc.matrix import compile_tables, matrix_from_data, require_matrix
from tests.effort import examples
from tests.strategies import matrices


@settings(max_examples=examples(250))
@given(matrices())
def test_every_cell_of_every_count_lies_on_the_line_between_bounds(data: dict[str, Any]) -> None:
    data["matrix"]["within_band"] = "ramp"
    tables = compile_tables(require_matrix(matrix_from_data(data)))
    for grid, compiled in zip(data["grid"], tables.grids, strict=True):
        counts = np.arange(1, grid["last"] + 1)
        assert len(compiled.values) == grid["last"] + 1
        for column in range(len(data["matrix"]["columns"])):
            knots = [float(row[column]) for row in grid["rows"]]
            drawn = np.interp(counts, grid["bands"], knots)
            ours = [float(Fraction(row[column], tables.scale)) for row in compiled.values[1:]]
            np.testing.assert_allclose(ours, drawn, rtol=1e-12, atol=1e-9)


@settings(max_examples=examples(150))
@given(matrices())
def test_a_flat_cell_is_that_of_its_band(data: dict[str, Any]) -> None:
    data["matrix"]["within_band"] = "flat"
    tables = compile_tables(require_matrix(matrix_from_data(data)))
    for grid, compiled in zip(data["grid"], tables.grids, strict=True):
        for count in range(1, grid["last"] + 1):
            row = bisect_right(grid["bands"], count) - 1
            assert [Fraction(value, tables.scale) for value in compiled.values[count]] == [
                Fraction(str(cell)) for cell in grid["rows"][row]
            ]
            low, high = compiled.band(count)
            assert low == grid["bands"][row] <= count <= high <= grid["last"]


@settings(max_examples=examples(150))
@given(matrices())
def test_no_dents_cost_nothing(data: dict[str, Any]) -> None:
    tables = compile_tables(require_matrix(matrix_from_data(data)))
    for grid in tables.grids:
        assert not any(grid.values[0])
