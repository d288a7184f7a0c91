"""What a book may hold, what is set aside and why, and which matrix prices a vehicle."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest

from hailcalc.estimate import compile_matrix
from hailcalc.files import load_matrix
from hailcalc.matrix import Matrix, matrix_from_data, require_matrix
from hailcalc.money import rounded
from hailcalc.portfolio import PricedBook, price_book
from hailcalc.portfolio.tabulated import tabulate
from hailcalc.problems import InputError
from tests.builders import matrix as small_matrix

MATRICES = Path(__file__).parents[2] / "matrices"
COPPERFIN = load_matrix(MATRICES / "copperfin-2026.toml")
LARKSPUR = load_matrix(MATRICES / "larkspur-agreed-2026.toml")


def book(*rows: dict[str, Any]) -> pd.DataFrame:
    first = {"claim": "1", "body": "sedan", "panel": "hood", "dime": "3"}
    return pd.DataFrame([first | row for row in rows])


def priced(*rows: dict[str, Any], matrix: Any = COPPERFIN) -> PricedBook:
    return price_book(book(*rows), matrix)


def reasons(found: PricedBook) -> list[tuple[int, str, str]]:
    return [(each.row, each.column, each.found) for each in found.aside]


def column(found: PricedBook, name: str) -> list[Any]:
    values: list[Any] = found.vehicles.column(name).to_pylist()
    return values


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"body": "boat"}, ("body", '"boat"')),
        ({"panel": "bonnet"}, ("panel", '"bonnet"')),
        ({"panel": "tailgate"}, ("panel", '"tailgate" on a sedan')),
        ({"metal": "tin"}, ("metal", '"tin"')),
        ({"access": "plan"}, ("access", '"plan"')),
        ({"repainted": "perhaps"}, ("repainted", '"perhaps"')),
        ({"dime": "-1"}, ("dime", '"-1"')),
        ({"dime": "3.5"}, ("dime", '"3.5"')),
        ({"dime": "10000"}, ("dime", '"10000"')),
        ({"braced": "4"}, ("braced", "4 marked")),
        ({"oversize": "20"}, ("oversize", '"20"')),
        ({"oversize": "41; forty"}, ("oversize", '"forty"')),
        ({"oversize": "41.2345"}, ("oversize", '"41.2345"')),
        ({"agreed": "12.345"}, ("agreed", '"12.345"')),
        ({"agreed": "-5"}, ("agreed", '"-5"')),
        ({"agreed": "1e3"}, ("agreed", '"1e3"')),
        ({"access": "replace"}, ("replace_cost", "nothing")),
        (
            {"access": "replace", "replace_cost": "5", "agreed": "5"},
            ("agreed", "an agreed price on a replaced panel"),
        ),
        ({"equipment": "sunroof;sunroof"}, ("equipment", '"sunroof;sunroof"')),
        ({"claim": " "}, ("claim", "nothing")),
        ({"claim": "9" * 61}, ("claim", "61 characters")),
        ({"dollar": "0", "half-dollar": "x"}, ("half-dollar", '"x"')),
    ],
)
def test_a_vehicle_with_a_mistake_is_set_aside_with_its_row_and_reason(
    row: dict[str, str], said: tuple[str, str]
) -> None:
    found = priced({"claim": "0"}, row, {"claim": "2"})
    assert column(found, "claim") == ["0", "2"]
    assert reasons(found) == [(2, *said)]
    assert found.vehicles_aside == 1


def test_a_vehicle_is_priced_whole_or_not_at_all() -> None:
    found = priced({}, {"panel": "roof", "dime": "many"}, {"claim": "2"})
    assert column(found, "claim") == ["2"]
    assert found.panels is not None
    assert found.panels.column("claim").to_pylist() == ["2"]


def test_what_the_vehicle_has_stands_the_same_on_all_its_rows() -> None:
    found = priced({"deductible": "500"}, {"panel": "roof", "deductible": "250"})
    assert reasons(found) == [(2, "deductible", '"250"')]
    assert found.aside[0].expected == 'as on the claim\'s first row, "500"'


def test_a_panel_stands_once_and_a_claims_rows_stand_together() -> None:
    twice = priced({}, {})
    assert reasons(twice) == [(1, "panel", "a panel twice")]
    apart = priced({}, {"claim": "2"}, {"panel": "roof"})
    assert reasons(apart) == [
        (1, "claim", '"1" in several places'),
        (3, "claim", '"1" in several places'),
    ]
    assert column(apart, "claim") == ["2"]
    assert apart.vehicles_aside == 1


def test_a_claim_that_stands_in_two_places_under_two_matrices_is_priced_under_neither() -> None:
    found = priced(
        {"matrix": "larkspur-agreed-2026"},
        {"claim": "2", "matrix": "copperfin-2026"},
        {"panel": "roof", "matrix": "copperfin-2026"},
        matrix={each.name: each for each in (COPPERFIN, LARKSPUR)},
    )
    assert column(found, "claim") == ["2"]
    assert reasons(found) == [
        (1, "claim", '"1" in several places'),
        (3, "claim", '"1" in several places'),
    ]


def test_several_matrices_tell_a_mistake_once() -> None:
    found = priced({"body": "boat"}, {"claim": "2"}, matrix=[COPPERFIN, LARKSPUR])
    assert reasons(found) == [(1, "body", '"boat"')]
    assert found.vehicles_aside == 1


def test_the_index_that_pandas_writes_is_no_column_of_a_book() -> None:
    table = pa.Table.from_pandas(book({}, {"claim": "3"}), preserve_index=True)
    assert "__index_level_0__" in table.column_names
    assert column(price_book(table, COPPERFIN), "claim") == ["1", "3"]


def test_a_vehicle_without_panels_has_its_other_lines_alone() -> None:
    found = priced({"panel": "", "dime": "", "other_part": "80.00", "other_body": "5"})
    assert column(found, "panels") == [0]
    assert column(found, "part") == [Decimal("80.00")]
    assert column(found, "body_work") == [Decimal("5.00")]
    assert found.panels is not None
    assert found.panels.num_rows == 0


@pytest.mark.parametrize(
    ("table", "place", "found"),
    [
        (pa.table({"claim": ["1"], "body": ["sedan"]}), "panel", "no such column"),
        (
            pa.table({"claim": ["1"], "body": ["sedan"], "panel": ["hood"], "dimes": ["1"]}),
            "dimes",
            'the unknown column "dimes"',
        ),
        (
            pa.table({"claim": ["1"], "body": ["sedan"], "panel": ["hood"], "agreed": [1.5]}),
            "agreed",
            "a column of double",
        ),
        (
            pa.table([["1"], ["sedan"], ["hood"], ["1"], ["1"]],
                     names=["claim", "body", "panel", "dime", "dime"]),
            "dime",
            "the column 2 times",
        ),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_a_book_is_refused_with_the_column(
    table: pa.Table, place: str, found: str
) -> None:
    with pytest.raises(InputError) as refused:
        price_book(table, COPPERFIN)
    assert [(each.place, each.found) for each in refused.value.problems] == [(place, found)]


def test_counts_may_be_whole_numbers_floats_that_are_whole_or_text() -> None:
    rows = {"claim": ["1"], "body": ["sedan"], "panel": ["hood"]}
    sums = {
        column(price_book(pa.table(rows | {"dime": [cell]}), COPPERFIN), "total")[0]
        for cell in (3, 3.0, "3")
    }
    assert len(sums) == 1


def test_money_may_be_decimals_text_or_whole_and_comes_out_as_decimals() -> None:
    rows = {"claim": ["1"], "body": ["sedan"], "panel": ["hood"]}
    for cell in (Decimal("120"), Decimal("120.0"), "120.00", "120", 120):
        found = price_book(pa.table(rows | {"agreed": [cell]}), COPPERFIN)
        assert column(found, "repair") == [Decimal("120.00")]
    assert found.vehicles.schema.field("total").type == pa.decimal128(18, 2)


def test_a_vehicle_takes_the_matrix_that_its_row_names() -> None:
    found = priced(
        {"matrix": "larkspur-agreed-2026"},
        {"claim": "2", "matrix": "copperfin-2026"},
        {"claim": "3", "matrix": "nobodys"},
        matrix={each.name: each for each in (COPPERFIN, LARKSPUR)},
    )
    assert column(found, "matrix") == ["larkspur-agreed-2026", "copperfin-2026"]
    assert reasons(found) == [(3, "matrix", '"nobodys"')]


def test_without_a_name_the_matrix_agreed_with_the_insurer_for_that_day_is_taken() -> None:
    insurer = LARKSPUR.matrix.insurer
    found = priced(
        {"insurer": insurer, "date_of_loss": "2026-05-19"},
        {"claim": "2", "date_of_loss": "2026-05-19"},
        {"claim": "3", "date_of_loss": "1999-01-01"},
        {"claim": "4"},
        matrix={each.name: each for each in (COPPERFIN, LARKSPUR)},
    )
    assert column(found, "matrix") == ["larkspur-agreed-2026", "copperfin-2026"]
    assert [(each.row, each.column) for each in found.aside] == [(3, "matrix"), (4, "matrix")]


def test_several_matrices_each_price_every_vehicle() -> None:
    found = priced({}, {"claim": "2"}, matrix=[COPPERFIN, LARKSPUR])
    assert column(found, "claim") == ["1", "1", "2", "2"]
    assert column(found, "matrix") == ["copperfin-2026", "larkspur-agreed-2026"] * 2
    alone = priced({}, {"claim": "2"}, matrix=LARKSPUR)
    assert column(found, "total")[1::2] == column(alone, "total")


def test_an_empty_book_comes_to_empty_tables() -> None:
    found = price_book(book({}).iloc[:0].astype(str), COPPERFIN)
    assert found.vehicles.num_rows == 0
    assert "total" in found.vehicles.column_names


def test_figures_beyond_64_bits_are_reckoned_exactly() -> None:
    huge = small_matrix()
    huge["rates"] = {"repair": "9999999999.99", "removal": "9999999999.99"}
    huge["grid"][0]["rows"] = [[10**8 - 1 for _ in row] for row in huge["grid"][0]["rows"]]
    made: Matrix = require_matrix(matrix_from_data(huge))
    assert tabulate(compile_matrix(made)).number is object
    panel = made.grid[0].panels[0]
    coin = made.matrix.columns[0]
    rows = pa.table({"claim": ["1"], "body": ["sedan"], "panel": [panel], coin: [1]})
    [repair] = column(price_book(rows, made), "repair")
    exact = Fraction("9999999999.99") * (10**8 - 1) / 60
    assert repair == Decimal(rounded(exact * 100)).scaleb(-2)
