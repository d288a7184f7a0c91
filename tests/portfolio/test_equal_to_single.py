"""A book's prices are those of its claims, priced one by one, to the cent."""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import ClaimFile, claim_from_data, require_claim
from hailcalc.estimate import CompiledMatrix, Estimate, compile_matrix, price
from hailcalc.files import load_matrix
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.matrix.model import Mixed
from hailcalc.portfolio.claims import book_rows, book_table
from hailcalc.portfolio.kernel import base_loop, linear_terms
from hailcalc.portfolio.pricing import LINE_KINDS, Priced, price_rows
from hailcalc.portfolio.reading import Book, read_rows, require_columns
from hailcalc.portfolio.tabulated import tabulate
from tests.books import claims_of, random_rows
from tests.effort import examples
from tests.strategies import claims, matrices

Table = dict[str, Any]
MATRICES = Path(__file__).parents[2] / "matrices"


@st.composite
def books(draw: st.DrawFn) -> tuple[CompiledMatrix, list[Estimate]]:
    """A matrix with a few claims priced under it one by one."""
    matrix = draw(matrices())
    compiled = compile_matrix(require_matrix(matrix_from_data(matrix)))
    priced = []
    for number in range(draw(st.integers(1, 4))):
        claim = draw(claims(matrix))
        claim["claim"]["number"] = f"{number}"
        priced.append(price(require_claim(claim_from_data(claim)), compiled))
    return compiled, priced


def read(compiled: CompiledMatrix, priced: list[Estimate]) -> Book:
    table = book_table([row for each in priced for row in book_rows(each)])
    require_columns(table, [coin.name for coin in compiled.tables.coins], "book")
    return read_rows(table, compiled.tables)


def assert_same_sums(priced: list[Estimate], found: Priced) -> None:
    vehicles = found.vehicles
    for at, single in enumerate(priced):
        of_kind = {
            kind: sum(line.amount or 0 for line in single.lines if line.kind == kind)
            for kind in LINE_KINDS
        }
        assert {kind: int(vehicles.kinds[kind][at]) for kind in LINE_KINDS} == of_kind
        totals = single.totals
        assert (
            vehicles.subtotal[at],
            vehicles.tax[at],
            vehicles.total[at],
            vehicles.deductible[at],
            vehicles.net[at],
            vehicles.complete[at],
        ) == (
            totals.subtotal,
            totals.tax,
            totals.total,
            totals.deductible,
            totals.net,
            totals.complete,
        )
        assert vehicles.dents[at] == sum(panel.count.all for panel in single.panels)


@settings(max_examples=examples(150))
@given(books(), st.integers(1, 40))
def test_a_book_comes_to_what_its_claims_come_to(
    book: tuple[CompiledMatrix, list[Estimate]], chunk: int
) -> None:
    compiled, priced = book
    read_book = read(compiled, priced)
    assert read_book.aside == ()
    assert_same_sums(priced, price_rows(read_book.rows, tabulate(compiled), chunk=chunk))


@pytest.mark.parametrize("name", sorted(path.stem for path in MATRICES.glob("*.toml")))
def test_of_a_hundred_thousand_vehicles_under_four_matrices_each_has_the_sums_of_its_claim(
    name: str,
) -> None:
    compiled = compile_matrix(load_matrix(MATRICES / f"{name}.toml"))
    tables = compiled.tables
    names = [column.name for column in tables.columns]
    rows = random_rows(25_000, 2, len(names), seed=7)
    matrix = tabulate(compiled)
    found = price_rows(rows, matrix).vehicles
    kinds = {kind: amounts.tolist() for kind, amounts in found.kinds.items()}
    totals = list(
        zip(found.total.tolist(), found.net.tolist(), found.complete.tolist(), strict=True)
    )
    different = []
    for vehicle, claim in enumerate(claims_of(rows, names, tables.decimals)):
        single = price(ClaimFile.model_validate(claim), compiled)
        sums = dict.fromkeys(LINE_KINDS, 0)
        for line in single.lines:
            if line.kind != "tax":
                sums[line.kind] += line.amount or 0
        of_book = {kind: kinds[kind][vehicle] for kind in LINE_KINDS}
        if (sums, single.totals[2], single.totals.net, single.totals.complete) != (
            of_book,
            *totals[vehicle],
        ):
            different.append(claim)
    assert different == []


@pytest.mark.parametrize("name", sorted(path.stem for path in MATRICES.glob("*.toml")))
def test_the_compiled_loop_and_several_threads_come_to_the_same(name: str) -> None:
    matrix = tabulate(compile_matrix(load_matrix(MATRICES / f"{name}.toml")))
    rows = random_rows(20_000, 6, len(matrix.compiled.tables.columns), seed=11)
    plain = price_rows(rows, matrix)
    for other in (
        price_rows(rows, matrix, fast=True),
        price_rows(rows, matrix, threads=3, chunk=5_000),
    ):
        assert_same_arrays(plain.vehicles, other.vehicles)
        assert_same_arrays(plain.panels, other.panels)


def assert_same_arrays(one: Any, other: Any) -> None:
    for name in one._fields:
        first, second = getattr(one, name), getattr(other, name)
        for key in first if isinstance(first, dict) else [None]:
            pair = (first, second) if key is None else (first[key], second[key])
            assert np.array_equal(*pair), name


def test_rules_that_add_up_sizes_are_linear_and_those_that_choose_one_are_not() -> None:
    linear = {mixed: linear_terms(mixed, 4) is not None for mixed in get_args(Mixed)}
    assert linear == {
        "layers": True, "share": True, "each": True, "largest": False, "most": False,
    }  # fmt: skip
    assert base_loop("layers", 4, 60) is not None, "numba is installed where tests run"
    assert base_loop("most", 4, 60) is None
