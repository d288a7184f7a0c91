"""Size classes: the smallest coin of the columns that covers a dent, else oversize. Millimetres."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.coins import COIN_SETS, US, Coin, size_class
from hailcalc.matrix import compile_tables, matrix_from_data, require_matrix
from tests.test_estimate import a_claim, a_matrix, amounts, hood, priced

sizes = st.decimals(min_value="0.001", max_value="60", places=3)
subsets = st.sampled_from(list(COIN_SETS.values())).flatmap(
    lambda coins: st.sets(st.sampled_from(coins), min_size=1).map(
        lambda chosen: tuple(coin for coin in coins if coin in chosen)
    )
)


@given(sizes, subsets)
def test_the_class_is_the_smallest_column_that_covers_the_dent(
    mm: Decimal, columns: tuple[Coin, ...]
) -> None:
    found = size_class(mm, columns)
    covering = [column for column, coin in enumerate(columns) if coin.mm >= mm]
    assert found == (covering[0] if covering else None)


@given(sizes, sizes, subsets)
def test_a_larger_dent_is_never_of_a_smaller_class(
    one: Decimal, other: Decimal, columns: tuple[Coin, ...]
) -> None:
    beyond = len(columns)
    small, large = (size_class(mm, columns) for mm in sorted([one, other]))
    assert (beyond if small is None else small) <= (beyond if large is None else large)


def test_names_are_never_shared_between_sets() -> None:
    names = [coin.name for coins in COIN_SETS.values() for coin in coins]
    assert len(names) == len(set(names))


def test_a_coin_that_is_no_column_counts_in_the_smallest_column_that_covers_it() -> None:
    tables = compile_tables(require_matrix(matrix_from_data(a_matrix())))
    # Columns dime, quarter, half-dollar.
    assert tables.column_of == {
        "dime": 0, "cent": 1, "nickel": 1, "quarter": 1, "dollar": 2, "half-dollar": 2,
    }  # fmt: skip
    assert [coin.name for coin in tables.columns] == ["dime", "quarter", "half-dollar"]


def test_a_coin_beyond_the_largest_column_has_no_class() -> None:
    data = a_matrix(columns=["dime", "nickel"], rows=[[1, 2], [3, 4], [5, 6]])
    tables = compile_tables(require_matrix(matrix_from_data(data)))
    assert set(tables.column_of) == {"dime", "cent", "nickel"}
    assert [size_class(coin.mm, tables.columns) for coin in US] == [0, 1, 1, None, None, None]


def own_coins() -> list[dict[str, Any]]:
    """A shop's own gauge, listed in no order."""
    return [
        {"name": "ring-large", "mm": "22.5", "source": "the shop's own ring gauge (invented)"},
        {"name": "ring-small", "mm": "12.5", "source": "the shop's own ring gauge (invented)"},
    ]


@pytest.mark.parametrize(
    ("mm", "cents"), [(12.5, 1500), (12.51, 2100), (22.5, 2100), (22.51, 4504)]
)
def test_a_shop_may_compare_with_gauges_of_its_own(mm: float, cents: int) -> None:
    # 10 minutes, 14 minutes, or oversize 30 + 2.5 × 0.01 minutes, at 1.50.
    matrix = a_matrix(
        coins=own_coins(), columns=["ring-small", "ring-large"], rows=[[10, 14], [16, 22], [28, 40]]
    )
    assert amounts(priced(a_claim(hood(dents=[{"mm": mm}])), matrix)) == [cents]
