"""A priced vehicle: its lines add up, every line's arithmetic is on the sheet, totals, promises.

Amounts in minor units. `a_matrix` and `a_claim` build the small invented matrix and claims that
the tests of the single parts use too: repair 90.00 an hour (1.50 a minute), removal 60.00 an
hour (1.00 a minute).

What the rules promise about money that cannot fall (counts within what the matrix prices, cells
and steps as the matrix checks demand):

- *One more dent* never lowers the repair line under `layers`, `each` and `largest`; nor the
  vehicle's subtotal, unless a percentage works on the affected share.
- *A larger dent* (within the columns) never lowers the repair line under `layers`, `largest` and
  `share`; nor the subtotal, whatever the extras.
- *One more mark* other than glue-only never lowers the subtotal, under all five rules.

Not promised, each with an example at the end of this module: one more dent under `share` (a
small one lowers the mean) and `most` (it changes which class leads); a larger dent under `most`
(the same) and `each` (the class it leaves falls by a band, the one it joins rises by less); one
more unmarked dent beside an affected share (the share falls while the base stays in its band);
the mark glue-only (nothing has to come off, and what is for pushed dents holds for fewer); a
dent that outgrows the columns or a count beyond `last` (another table, or no price at all); the
total after tax (the removal set is chosen before tax, and parts may be taxed otherwise than
labour); two discounts at once, each rounded by itself.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from copy import deepcopy
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, compile_matrix, price
from hailcalc.fields import as_json
from hailcalc.lines import Line
from hailcalc.matrix import compile_tables, matrix_from_data, mixed_cells, require_matrix
from hailcalc.money import money_text, rounded
from hailcalc.problems import InputError
from hailcalc.reading import load_json
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.verify import verify_sheet
from tests.effort import examples
from tests.strategies import claims, matrices, priced_together

Table = dict[str, Any]

DEMO_CLAIMS = Path(__file__).parent.parent / "demo" / "claims"

MATRIX: Table = {
    "matrix": {
        "name": "larkspur",
        "currency": "USD",
        "effective": "2026-03-01",
        "coins": "us",
        "columns": ["dime", "quarter", "half-dollar"],
        "cells": "minutes",
        "mixed": "layers",
        "within_band": "flat",
        "stacking": "add",
    },
    "rates": {"repair": "90.00", "removal": "60.00"},
    "grid": [
        {
            "name": "flat-panels",
            "panels": ["hood", "roof", "door-fl"],
            "bands": [1, 3, 7],
            "last": 10,
            "rows": [[10, 14, "20.5"], [16, 22, 34], [28, 40, 60]],
        }
    ],
    "oversize": {"minutes": "30", "minutes_per_mm": "2.5"},
}

LINER: Table = {"id": "hood-liner", "label": "Hood liner", "minutes": "9", "opens": ["hood"]}


def a_matrix(**changes: Any) -> Table:
    """The small matrix with other tables, or with other keys in [matrix] or in its grid."""
    made = deepcopy(MATRIX)
    for key, value in changes.items():
        if key in ("rates", "grid", "oversize", "extra", "removal", "tax"):
            made[key] = value
        elif key in ("bands", "last", "rows", "panels"):
            made["grid"][0][key] = value
        else:
            made["matrix"][key] = value
    return made


def without(table: Table, key: str) -> Table:
    return {name: value for name, value in table.items() if name != key}


def a_claim(*panels: Table, body: str = "sedan", **more: Any) -> Table:
    """A claim with these panels; `claim` keys go into its head."""
    return {
        "claim": {"number": "C-1", "date_of_loss": "2026-05-19", **more.pop("claim", {})},
        "vehicle": {"body": body},
        "panels": list(panels),
        **more,
    }


def hood(**more: Any) -> Table:
    return {"panel": "hood", **more}


def roof(**more: Any) -> Table:
    return {"panel": "roof", **more}


def priced(claim: Table, matrix: Table | None = None) -> Estimate:
    """Price plain data, by way of all checks."""
    return price(
        require_claim(claim_from_data(claim)),
        require_matrix(matrix_from_data(a_matrix() if matrix is None else matrix)),
    )


def amounts(estimate: Estimate) -> list[int | None]:
    return [line.amount for line in estimate.lines]


def kinds(estimate: Estimate) -> list[str]:
    return [line.kind for line in estimate.lines]


def of_kind(estimate: Estimate, kind: str) -> list[Line]:
    return [line for line in estimate.lines if line.kind == kind]


# --- the five rules for several sizes on one panel, by hand -----------------------------------

# 3 dimes, 1 cent (counts with the quarters' column), 2 quarters, 2 half-dollars: 8 dents, by
# column 3, 3, 2; 5 of quarter size or larger. Rows [10 14 20.5] from 1, [16 22 34] from 3,
# [28 40 60] from 7.
EIGHT_DENTS = {"dime": 3, "cent": 1, "quarter": 2, "half-dollar": 2}


@pytest.mark.parametrize(
    ("mixed", "cents"),
    [
        # 28 + (22 − 16) + (20.5 − 14) = 40.5 minutes, at 1.50
        ("layers", 6075),
        # (3 × 28 + 3 × 40 + 2 × 60) / 8 = 324 / 8 = 40.5 minutes
        ("share", 6075),
        # 60 minutes
        ("largest", 9000),
        # dimes and quarters tie at three, the larger leads: 40 minutes
        ("most", 6000),
        # 3 dimes 16, 3 quarters 22, 2 half-dollars 20.5: 58.5 minutes
        ("each", 8775),
    ],
)
def test_several_sizes_on_one_panel_under_each_rule(mixed: str, cents: int) -> None:
    estimate = priced(a_claim(hood(tally=EIGHT_DENTS)), a_matrix(mixed=mixed))
    assert amounts(estimate) == [cents]


@pytest.mark.parametrize(
    ("mixed", "cents"),
    [
        # At 5 dents halfway from 3 to 7: dime 22, quarter 31, half-dollar 47; at 2 halfway from
        # 1 to 3: dime 13, quarter 18, half-dollar 27.25; 8 lies in the last band, which is flat.
        # 28 + (31 − 22) + (27.25 − 18) = 46.25 minutes: 69.375
        ("layers", 6938),
        ("share", 6075),
        ("largest", 9000),
        ("most", 6000),
        # 16 + 22 + 27.25 = 65.25 minutes: 97.875
        ("each", 9788),
    ],
)
def test_several_sizes_within_a_ramp(mixed: str, cents: int) -> None:
    matrix = a_matrix(mixed=mixed, within_band="ramp")
    assert amounts(priced(a_claim(hood(tally=EIGHT_DENTS)), matrix)) == [cents]


def test_cells_of_money_are_the_price_itself() -> None:
    matrix = a_matrix(cells="money", mixed="share")
    # (1 × 16 + 2 × 34) / 3 = 28.00
    estimate = priced(a_claim(hood(tally={"dime": 1, "half-dollar": 2})), matrix)
    assert amounts(estimate) == [2800]


def test_a_half_cent_is_rounded_away_from_zero() -> None:
    # 20.5 minutes at 0.03 an hour: 1.025 cents. At 0.60: 20.5 cents, so 21.
    dents = a_claim(hood(tally={"half-dollar": 1}))
    for rate, cents in (("0.03", 1), ("0.60", 21)):
        matrix = a_matrix(rates={"repair": rate, "removal": "0"})
        assert amounts(priced(dents, matrix)) == [cents]


# --- what has no price, what is agreed, what is replaced --------------------------------------


def test_a_count_beyond_the_matrix_has_one_line_without_an_amount() -> None:
    matrix = a_matrix(
        extra=[{"id": "alu", "label": "Aluminium", "percent": "25", "when": {"metal": "aluminium"}}]
    )
    claim = a_claim(
        hood(tally={"dime": 11}, metal="aluminium", oversize=[{"mm": 40}]),
        roof(tally={"dime": 1}),
    )
    estimate = priced(claim, matrix)
    assert [(line.kind, line.panel, line.amount) for line in estimate.lines] == [
        ("repair", "hood", None),
        ("repair", "roof", 1500),
    ]
    assert "11 dents" in estimate.lines[0].words
    assert "up to 10" in estimate.lines[0].words
    assert not estimate.totals.complete
    assert estimate.totals.total == 1500


def test_a_panel_that_is_in_no_grid_has_no_price() -> None:
    estimate = priced(a_claim({"panel": "decklid", "tally": {"dime": 1}}))
    assert amounts(estimate) == [None]
    assert "no grid" in estimate.lines[0].words


def test_an_oversize_dent_without_an_oversize_table_has_no_price() -> None:
    estimate = priced(
        a_claim(hood(tally={"dime": 2}, oversize=[{"mm": 40}])), without(a_matrix(), "oversize")
    )
    assert amounts(estimate) == [None]
    assert not estimate.totals.complete


def test_access_is_still_made_for_a_panel_without_a_price() -> None:
    estimate = priced(a_claim(hood(tally={"dime": 11})), a_matrix(removal=[LINER]))
    assert [(line.kind, line.amount) for line in estimate.lines] == [
        ("repair", None),
        ("removal", 900),
    ]


def test_an_agreed_price_stands_for_base_oversize_and_extras_and_completes_the_sheet() -> None:
    matrix = a_matrix(
        extra=[{"id": "all", "label": "All", "percent": "10"}], removal=[LINER]
    )  # fmt: skip
    claim = a_claim(hood(tally={"dime": 300}, oversize=[{"mm": 40}], agreed="500.00"))
    estimate = priced(claim, matrix)
    assert [(line.kind, line.amount) for line in estimate.lines] == [
        ("repair", 50000),
        ("removal", 900),
    ]
    assert estimate.totals.complete


def test_a_replaced_panel_is_one_body_line_and_nothing_comes_off_for_it() -> None:
    matrix = a_matrix(extra=[{"id": "all", "label": "All", "percent": "10"}], removal=[LINER])
    claim = a_claim(hood(tally={"dime": 4}, access="replace", replace_cost="640.00"))
    estimate = priced(claim, matrix)
    assert [(line.kind, line.panel, line.amount) for line in estimate.lines] == [
        ("body", "hood", 64000)
    ]


def test_a_panel_without_dents_makes_no_line() -> None:
    estimate = priced(a_claim(hood(), roof(tally={"dime": 0})), a_matrix(removal=[LINER]))
    assert estimate.lines == ()
    assert estimate.totals.complete


def test_only_oversize_dents_make_no_base_line() -> None:
    # 30 + 2.5 × (40.61 − 30.61) = 55 minutes: 82.50
    estimate = priced(a_claim(hood(oversize=[{"mm": 40.61}])))
    assert [(line.kind, line.amount) for line in estimate.lines] == [("oversize", 8250)]


def test_oversize_dents_are_a_line_each_in_the_claims_order() -> None:
    # 30 + 2.5 × 0.01 = 30.025 minutes: 45.0375; 30 + 2.5 × 4.39 = 40.975: 61.4625
    estimate = priced(a_claim(hood(tally={"dime": 1}, oversize=[{"mm": 35}, {"mm": 30.62}])))
    assert amounts(estimate) == [1500, 6146, 4504]


# --- the vehicle as a whole -------------------------------------------------------------------


def test_lines_stand_in_the_order_of_the_sheet() -> None:
    matrix = a_matrix(
        extra=[
            {"id": "alu", "label": "Aluminium", "percent": "25", "when": {"metal": "aluminium"}},
            {"id": "wash", "label": "Washed", "of": "vehicle", "money": "5.00"},
        ],
        removal=[LINER | {"fasteners": 2, "fastener_price": "1.10"}],
        minimum="500.00",
        tax={"labour": "5", "parts": "7.5", "sublet": "1"},
    )
    other = [
        {"kind": "sublet", "label": "Glass", "unit_price": "10.00"},
        {"kind": "part", "label": "Badge", "quantity": 2, "unit_price": "8.25"},
        {"kind": "refinish", "label": "Blend", "unit_price": "1.00"},
        {"kind": "body", "label": "Straighten", "unit_price": "2.00"},
    ]
    claim = a_claim(
        {"panel": "door-fl", "tally": {"dime": 1}},
        roof(access="replace", replace_cost="100.00"),
        hood(metal="aluminium", tally={"dime": 1}, oversize=[{"mm": 30.62}]),
        other=other,
    )
    estimate = priced(claim, matrix)
    assert [(line.kind, line.panel) for line in estimate.lines] == [
        ("repair", "hood"), ("oversize", "hood"), ("extra", "hood"),
        ("body", "roof"),
        ("repair", "door-fl"),
        ("extra", None),
        ("removal", None), ("fastener", None),
        ("sublet", None), ("part", None), ("refinish", None), ("body", None),
        ("minimum", None),
        ("tax", None), ("tax", None), ("tax", None),
    ]  # fmt: skip
    # 15.00, 45.04, 25 % of 60.04 = 15.01, 100.00, 15.00, 5.00, 9.00, 2.20, 10.00, 16.50, 1.00,
    # 2.00: 235.75, so 264.25 to the minimum. Tax: 5 % of 471.30, 7.5 % of 18.70, 1 % of 10.00.
    assert amounts(estimate) == [
        1500, 4504, 1501, 10000, 1500, 500, 900, 220, 1000, 1650, 100, 200, 26425,
        2357, 140, 10,
    ]  # fmt: skip
    totals = estimate.totals
    assert (totals.subtotal, totals.tax, totals.total) == (50000, 2507, 52507)


def test_a_vehicle_below_the_minimum_is_topped_up_to_it() -> None:
    estimate = priced(a_claim(hood(tally={"dime": 1})), a_matrix(minimum="150.00"))
    assert [(line.kind, line.amount) for line in estimate.lines] == [
        ("repair", 1500),
        ("minimum", 13500),
    ]
    assert estimate.totals.subtotal == 15000


@pytest.mark.parametrize("minimum", ["15.00", "14.99", "0"])
def test_a_vehicle_at_or_above_the_minimum_is_not_topped_up(minimum: str) -> None:
    estimate = priced(a_claim(hood(tally={"dime": 1})), a_matrix(minimum=minimum))
    assert kinds(estimate) == ["repair"]


def test_a_claim_without_any_line_is_not_topped_up() -> None:
    estimate = priced(a_claim(), a_matrix(minimum="150.00"))
    assert estimate.lines == ()
    assert estimate.totals.total == 0


def test_the_topping_up_is_taxed_as_labour() -> None:
    matrix = a_matrix(minimum="100.00", tax={"labour": "10"})
    estimate = priced(a_claim(hood(tally={"dime": 1})), matrix)
    assert amounts(estimate) == [1500, 8500, 1000]


def test_each_rate_of_tax_is_one_line_on_the_printed_sum_of_its_kinds() -> None:
    # 7.5 % of 0.33 + 0.33 + 0.33 = 0.07425: 0.07. Taxed part by part it would be 3 × 0.02.
    other = [{"kind": "part", "label": "Clip", "unit_price": "0.33"}] * 3
    estimate = priced(a_claim(other=other), a_matrix(tax={"parts": "7.5", "labour": "19"}))
    assert amounts(estimate) == [33, 33, 33, 7]
    assert of_kind(estimate, "tax")[0].label == "Tax on parts"


def test_a_panel_without_a_price_bears_no_tax() -> None:
    estimate = priced(a_claim(hood(tally={"dime": 11})), a_matrix(tax={"labour": "19"}))
    assert kinds(estimate) == ["repair"]
    assert estimate.totals.tax == 0


@pytest.mark.parametrize(
    ("deductible", "net"), [("0", 1500), ("14.99", 1), ("15.00", 0), ("500.00", 0)]
)
def test_the_net_is_what_the_deductible_leaves_and_never_below_nothing(
    deductible: str, net: int
) -> None:
    claim = a_claim(hood(tally={"dime": 1}), claim={"deductible": deductible})
    totals = priced(claim).totals
    assert totals.total == 1500
    assert totals.net == net


def test_quantities_of_other_lines() -> None:
    other = [
        {"kind": "part", "label": "Clip", "quantity": 9999, "unit_price": "0.07"},
        {"kind": "part", "label": "Nothing", "unit_price": "0"},
    ]
    assert amounts(priced(a_claim(other=other))) == [69993, 0]


def test_a_currency_without_decimals_is_rounded_to_its_whole_unit() -> None:
    matrix = a_matrix(currency="JPY", rates={"repair": "9001", "removal": "6000"})
    # 10 minutes at 9001: 1500.17
    estimate = priced(a_claim(hood(tally={"dime": 1})), matrix)
    assert amounts(estimate) == [1500]
    assert sheet_json(estimate)["lines"][0]["amount"] == "1500"


def test_a_currency_with_three_decimals_is_rounded_to_its_thousandth() -> None:
    matrix = a_matrix(currency="KWD", rates={"repair": "25.125", "removal": "20"})
    # 20.5 minutes at 25.125: 8.584375
    estimate = priced(a_claim(hood(tally={"half-dollar": 1})), matrix)
    assert sheet_json(estimate)["lines"][0]["amount"] == "8.584"


def test_a_foreign_number_without_its_check_digit_is_warned_of_and_priced() -> None:
    # W00000000A0000000: 6 × 8 + 1 × 9 = 57, and 57 modulo 11 is 2, not 0.
    claim = a_claim(hood(tally={"dime": 1}))
    claim["vehicle"]["vin"] = "W00000000A0000000"
    estimate = priced(claim)
    assert amounts(estimate) == [1500]
    (warning,) = estimate.warnings
    assert "W00000000A0000000" in warning


# --- claims that do not fit their matrix ------------------------------------------------------


def misfits(claim: Table, matrix: Table | None = None) -> dict[str, tuple[str, str]]:
    """Places of what is wrong, with what was found and expected."""
    with pytest.raises(InputError) as caught:
        priced(claim, matrix)
    return {p.place: (p.found, p.expected) for p in caught.value.problems}


def test_a_size_that_the_matrix_does_not_know() -> None:
    found = misfits(a_claim(hood(tally={"florin": 2})))
    assert list(found) == ["panels[0].tally.florin"]
    assert "florin" in found["panels[0].tally.florin"][0]
    assert "dime, quarter, half-dollar" in found["panels[0].tally.florin"][1]


def test_a_coin_beyond_the_largest_column_belongs_under_oversize() -> None:
    matrix = a_matrix(columns=["dime", "quarter"], rows=[[1, 2], [3, 4], [5, 6]])
    found = misfits(a_claim(hood(tally={"half-dollar": 1})), matrix)
    assert "oversize" in found["panels[0].tally.half-dollar"][1]


@pytest.mark.parametrize("mm", [30.61, 30, 5])
def test_an_oversize_dent_is_larger_than_the_largest_column(mm: float) -> None:
    found = misfits(a_claim(hood(oversize=[{"mm": 41}, {"mm": mm}])))
    assert list(found) == ["panels[0].oversize[1].mm"]
    assert "half-dollar (30.61 mm)" in found["panels[0].oversize[1].mm"][1]


def test_no_sum_has_more_decimals_than_its_currency() -> None:
    claim = a_claim(
        hood(tally={"dime": 1}, agreed="1.005"),
        roof(access="replace", replace_cost="1.000"),
        claim={"deductible": "0.001"},
        other=[{"kind": "part", "label": "Clip", "unit_price": "0.0050"}],
    )
    claim["vehicle"]["value"] = "18500.123"
    found = misfits(claim)
    assert set(found) == {
        "claim.deductible",
        "vehicle.value",
        "panels[0].agreed",
        "panels[1].replace_cost",
        "other[0].unit_price",
    }
    assert all("2 decimals, as USD" in expected for _, expected in found.values())


def test_all_that_does_not_fit_is_reported_together() -> None:
    claim = a_claim(
        hood(tally={"florin": 1, "thaler": 1}, oversize=[{"mm": 12}]),
        roof(tally={"groat": 1}),
        claim={"deductible": "0.001"},
    )
    assert len(misfits(claim)) == 5


# --- every sheet: sums, order, arithmetic -----------------------------------------------------


def evaluated(formula: str) -> Fraction:
    """The exact value of a line's arithmetic: numbers, + - * / and brackets, nothing else."""

    def value(node: ast.expr) -> Fraction:
        match node:
            case ast.Constant():
                return Fraction(ast.get_source_segment(formula, node) or "")
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -value(operand)
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                return value(left) + value(right)
            case ast.BinOp(left=left, op=ast.Sub(), right=right):
                return value(left) - value(right)
            case ast.BinOp(left=left, op=ast.Mult(), right=right):
                return value(left) * value(right)
            case ast.BinOp(left=left, op=ast.Div(), right=right):
                return value(left) / value(right)
        raise AssertionError(f"no pocket-calculator arithmetic: {formula}")

    return value(ast.parse(formula, mode="eval").body)


def test_the_evaluator_does_sums_as_a_pocket_calculator_with_brackets_does() -> None:
    assert evaluated("(22 + (20.5 - 14)) * 90.00 / 60") == Fraction("42.75")
    assert evaluated("10.00 * -5 / 100") == Fraction("-0.5")
    with pytest.raises(AssertionError):
        evaluated("2 ** 3")


@settings(max_examples=examples(250))
@given(priced_together())
def test_lines_add_up_to_the_totals(pair: tuple[Table, Table]) -> None:
    estimate = priced(*pair)
    totals = estimate.totals
    tax = sum(line.amount or 0 for line in of_kind(estimate, "tax"))
    assert totals.tax == tax
    assert totals.total == sum(line.amount or 0 for line in estimate.lines)
    assert totals.subtotal == totals.total - tax
    assert totals.net == max(0, totals.total - totals.deductible)
    assert totals.complete == all(line.amount is not None for line in estimate.lines)


@settings(max_examples=examples(200))
@given(priced_together(), st.randoms(use_true_random=False))
def test_the_order_in_which_panels_were_counted_does_not_matter(
    pair: tuple[Table, Table], random: Any
) -> None:
    claim, matrix = pair
    other = deepcopy(claim)
    random.shuffle(other["panels"])
    ours, theirs = priced(claim, matrix), priced(other, matrix)
    assert ours.lines == theirs.lines
    assert ours.totals == theirs.totals


@settings(max_examples=examples(250))
@given(priced_together())
def test_every_lines_arithmetic_rounds_to_its_amount(pair: tuple[Table, Table]) -> None:
    estimate = priced(*pair)
    decimals = estimate.compiled.tables.decimals
    for line in estimate.lines:
        assert line.words
        if line.amount is None:
            assert line.formula == ""
        else:
            assert rounded(evaluated(line.formula) * 10**decimals) == line.amount


def numbers_in(value: Any) -> Iterator[Fraction]:
    """All numbers in JSON values: figures, and figures within text."""
    if isinstance(value, bool) or value is None:
        return
    if isinstance(value, dict):
        for inner in value.values():
            yield from numbers_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers_in(inner)
    else:
        yield from (Fraction(text) for text in re.findall(r"\d+(?:\.\d+)?", str(value)))


def sums_of_lines(sheet: Table) -> Iterator[Fraction]:
    """What an adjuster adds up: lines of one panel from its first on, and all lines so far."""
    lines = [line for line in sheet["lines"] if line["amount"] is not None]
    for panel in {line["panel"] for line in lines}:
        yield from accumulate(Fraction(line["amount"]) for line in lines if line["panel"] == panel)
    yield from map(abs, accumulate(Fraction(line["amount"]) for line in lines))


def steps_within_bands(sheet: Table) -> Iterator[Fraction]:
    """Under `ramp`: how far a count lies in its band, and how wide the band is."""
    for grid in sheet["matrix"]["grid"]:
        bounds = [*grid["bands"], grid["last"]]
        for low, high in pairwise(bounds):
            yield from map(Fraction, range(high - low + 1))


@settings(max_examples=examples(250))
@given(priced_together())
def test_every_figure_in_a_lines_arithmetic_stands_on_the_sheet(pair: tuple[Table, Table]) -> None:
    sheet = sheet_json(priced(*pair))
    known = {Fraction(60), Fraction(100)}  # minutes an hour, per cent
    known.update(numbers_in(sheet["claim_file"]), numbers_in(sheet["matrix"]))
    known.update(numbers_in([line["amount"] for line in sheet["lines"]]), sums_of_lines(sheet))
    if sheet["matrix"]["matrix"]["within_band"] == "ramp":
        known.update(steps_within_bands(sheet))
    for line in sheet["lines"]:
        because = line["because"]
        figures = set(numbers_in(because.get("formula", "")))
        assert figures <= known | set(numbers_in(because["words"])), line


@settings(max_examples=examples(100))
@given(priced_together())
def test_a_sheet_written_and_read_again_verifies(pair: tuple[Table, Table]) -> None:
    sheet = sheet_json(priced(*pair))
    assert verify_sheet(load_json(sheet_text(sheet), "sheet")) == []


@settings(max_examples=examples(100))
@given(priced_together(), st.data())
def test_an_amount_that_was_altered_is_found(
    pair: tuple[Table, Table], data: st.DataObject
) -> None:
    sheet = json.loads(sheet_text(sheet_json(priced(*pair))))
    lines = [index for index, line in enumerate(sheet["lines"]) if line["amount"] is not None]
    assume(lines)
    index = data.draw(st.sampled_from(lines))
    sheet["lines"][index]["amount"] += "1"
    wheres = [difference.where for difference in verify_sheet(sheet)]
    assert any(where.startswith(f"line {index + 1} ") for where in wheres)
    assert "digest" in wheres


@pytest.mark.parametrize("name", [path.name for path in sorted(DEMO_CLAIMS.glob("*.json"))])
def test_a_demo_claim_is_the_same_after_reading_and_writing(name: str) -> None:
    data = json.loads((DEMO_CLAIMS / name).read_text(encoding="utf-8"))
    assert as_json(require_claim(claim_from_data(data))) == data


# --- what can never get cheaper ---------------------------------------------------------------

few = st.integers(0, 4)


def base_value(matrix: Table, panel: str, counts: list[int]) -> Fraction | None:
    """The base before rounding; None beyond the matrix."""
    tables = compile_tables(require_matrix(matrix_from_data(matrix)))
    grid = tables.grids[tables.grid_of[panel]]
    if sum(counts) > grid.last:
        return None
    uses, divisor = mixed_cells(tables.mixed, counts)
    return Fraction(sum(use.weight * grid.values[use.dents][use.column] for use in uses), divisor)


@pytest.mark.parametrize("mixed", ["layers", "each", "largest"])
@settings(max_examples=examples(120))
@given(st.data())
def test_one_more_dent_never_lowers_the_base(mixed: str, data: st.DataObject) -> None:
    matrix = data.draw(matrices_of(mixed))
    counts = [data.draw(few) for _ in matrix["matrix"]["columns"]]
    column = data.draw(st.integers(0, len(counts) - 1))
    more = [count + (place == column) for place, count in enumerate(counts)]
    before, after = base_value(matrix, "hood", counts), base_value(matrix, "hood", more)
    assume(before is not None and after is not None)
    assert before is not None
    assert after is not None
    assert after >= before


@pytest.mark.parametrize("mixed", ["layers", "largest", "share"])
@settings(max_examples=examples(120))
@given(st.data())
def test_a_larger_dent_never_lowers_the_base(mixed: str, data: st.DataObject) -> None:
    matrix = data.draw(matrices_of(mixed))
    counts = [data.draw(few) for _ in matrix["matrix"]["columns"]]
    assume(len(counts) > 1)
    column = data.draw(st.integers(0, len(counts) - 2))
    larger = data.draw(st.integers(column + 1, len(counts) - 1))
    counts[column] += 1
    grown = list(counts)
    grown[column] -= 1
    grown[larger] += 1
    before, after = base_value(matrix, "hood", counts), base_value(matrix, "hood", grown)
    assume(before is not None and after is not None)
    assert before is not None
    assert after is not None
    assert after >= before


@st.composite
def matrices_of(draw: st.DrawFn, mixed: str) -> Table:
    """A matrix whose steps are sound under the rule: those of `layers` are under every one."""
    matrix: Table = draw(matrices().filter(lambda made: made["matrix"]["mixed"] == "layers"))
    matrix["matrix"]["mixed"] = mixed
    return matrix


def one_discount(matrix: Table) -> Table:
    """The matrix with its first discount alone."""
    extras = matrix.get("extra", [])
    discounts = [extra for extra in extras if extra.get("percent", "").startswith("-")]
    return matrix | {"extra": [extra for extra in extras if extra not in discounts[1:]]}


def no_affected_share(matrix: Table) -> Table:
    """Without percentages on a share of the dents, and with one discount at most."""
    kept = [
        extra
        for extra in matrix.get("extra", [])
        if extra.get("of") != "affected" or "percent" not in extra
    ]
    return one_discount(matrix | {"extra": kept})


def tallied(claim: Table) -> list[Table]:
    """The panels with a tally that has any dents."""
    return [panel for panel in claim["panels"] if any(panel.get("tally", {}).values())]


def unmarked_coins(panel: Table) -> list[str]:
    """Coins of which at least one dent carries no mark."""
    marks = panel.get("marked", {}).values()
    return [
        coin
        for coin, count in panel["tally"].items()
        if count > max((sizes.get(coin, 0) for sizes in marks), default=0)
    ]


@pytest.mark.parametrize("mixed", ["layers", "each", "largest"])
@settings(max_examples=examples(150))
@given(st.data())
def test_one_more_dent_never_makes_the_vehicle_cheaper(mixed: str, data: st.DataObject) -> None:
    matrix = no_affected_share(data.draw(matrices_of(mixed)))
    claim = data.draw(claims(matrix))
    assume(tallied(claim))
    more = deepcopy(claim)
    panel = data.draw(st.sampled_from(tallied(more)))
    panel["tally"][data.draw(st.sampled_from(sorted(panel["tally"])))] += 1
    before, after = priced(claim, matrix), priced(more, matrix)
    assume(unpriced(after) == unpriced(before))
    assert after.totals.subtotal >= before.totals.subtotal


@pytest.mark.parametrize("mixed", ["layers", "largest", "share"])
@settings(max_examples=examples(150))
@given(st.data())
def test_a_larger_dent_never_makes_the_vehicle_cheaper(mixed: str, data: st.DataObject) -> None:
    matrix = one_discount(data.draw(matrices_of(mixed)))
    claim = data.draw(claims(matrix))
    columns = compile_matrix(require_matrix(matrix_from_data(matrix))).tables.column_of
    grown = deepcopy(claim)
    choices = [
        (panel, small, large)
        for panel in tallied(grown)
        for small in unmarked_coins(panel)
        for large in columns
        if columns[large] > columns[small]
    ]
    assume(choices)
    panel, small, large = data.draw(st.sampled_from(choices))
    panel["tally"][small] -= 1
    panel["tally"][large] = panel["tally"].get(large, 0) + 1
    before, after = priced(claim, matrix), priced(grown, matrix)
    assert after.totals.subtotal >= before.totals.subtotal


@settings(max_examples=examples(200))
@given(st.data())
def test_one_more_mark_never_makes_the_vehicle_cheaper(data: st.DataObject) -> None:
    matrix = data.draw(matrices())
    claim = data.draw(claims(matrix))
    for panel in claim["panels"]:
        # A mark can shut a method to a plan, and leave dents without any.
        if panel.get("access") == "plan":
            panel["access"] = "push"
    assume(tallied(claim))
    more = deepcopy(claim)
    panel = data.draw(st.sampled_from(tallied(more)))
    coin = data.draw(st.sampled_from([coin for coin, count in panel["tally"].items() if count]))
    mark = data.draw(st.sampled_from(["braced", "body-line", "sharp", "edge"]))
    sizes = panel.setdefault("marked", {}).setdefault(mark, {})
    assume(sizes.get(coin, 0) < panel["tally"][coin])
    sizes[coin] = sizes.get(coin, 0) + 1
    before, after = priced(claim, matrix), priced(more, matrix)
    assert after.totals.subtotal >= before.totals.subtotal


def unpriced(estimate: Estimate) -> list[str]:
    return [result.panel.panel for result in estimate.panels if not result.priced]


# --- and what can -----------------------------------------------------------------------------


def subtotals(before: Table, after: Table, matrix: Table) -> tuple[str, str]:
    decimals = 2
    return (
        money_text(priced(before, matrix).totals.subtotal, decimals),
        money_text(priced(after, matrix).totals.subtotal, decimals),
    )


def test_under_share_one_more_small_dent_can_be_cheaper() -> None:
    # 20.5 minutes; (20.5 + 10) / 2 = 15.25 minutes, 22.875
    before = a_claim(hood(tally={"half-dollar": 1}))
    after = a_claim(hood(tally={"half-dollar": 1, "dime": 1}))
    assert subtotals(before, after, a_matrix(mixed="share")) == ("30.75", "22.88")


def test_under_most_one_more_small_dent_can_be_cheaper() -> None:
    # A tie goes to the larger, 20.5 minutes; then two dimes of three dents lead, 16 minutes.
    before = a_claim(hood(tally={"half-dollar": 1, "dime": 1}))
    after = a_claim(hood(tally={"half-dollar": 1, "dime": 2}))
    assert subtotals(before, after, a_matrix(mixed="most")) == ("30.75", "24.00")


def test_under_most_a_larger_dent_can_be_cheaper() -> None:
    # Three quarters lead three dimes, 22 minutes; with one of them grown the dimes lead, 16.
    before = a_claim(hood(tally={"dime": 3, "quarter": 3}))
    after = a_claim(hood(tally={"dime": 3, "quarter": 2, "half-dollar": 1}))
    assert subtotals(before, after, a_matrix(mixed="most")) == ("33.00", "24.00")


def test_under_each_a_larger_dent_can_be_cheaper() -> None:
    # Three dimes, 40 minutes; two dimes and a quarter, 1 + 2 minutes.
    matrix = a_matrix(mixed="each", bands=[1, 3], rows=[[1, 2, 3], [40, 41, 42]])
    before = a_claim(hood(tally={"dime": 3}))
    after = a_claim(hood(tally={"dime": 2, "quarter": 1}))
    assert subtotals(before, after, matrix) == ("60.00", "4.50")


@pytest.mark.parametrize("mixed", ["layers", "largest", "share", "most"])
def test_one_more_unmarked_dent_can_lower_an_affected_share_within_a_band(mixed: str) -> None:
    # 15.00 and 100 % of it; with a second dent in the same band 15.00 and half of it.
    matrix = a_matrix(mixed=mixed, extra=[
        {"id": "sharp", "label": "Sharp", "of": "affected", "percent": "100",
         "when": {"mark": "sharp"}},
    ])  # fmt: skip
    before = a_claim(hood(tally={"dime": 1}, marked={"sharp": {"dime": 1}}))
    after = a_claim(hood(tally={"dime": 2}, marked={"sharp": {"dime": 1}}))
    assert subtotals(before, after, matrix) == ("30.00", "22.50")


def test_the_mark_glue_only_can_save_what_would_have_to_come_off() -> None:
    matrix = a_matrix(removal=[LINER])
    before = a_claim(hood(tally={"dime": 1}))
    after = a_claim(hood(tally={"dime": 1}, marked={"glue-only": {"dime": 1}}))
    assert subtotals(before, after, matrix) == ("24.00", "15.00")


def test_a_dent_that_outgrows_the_columns_leaves_the_band_to_the_others() -> None:
    # Three half-dollars, 34 minutes; two, 20.5 minutes, and one minute for the oversize dent.
    matrix = a_matrix(oversize={"minutes": "1", "minutes_per_mm": "0"})
    before = a_claim(hood(tally={"half-dollar": 3}))
    after = a_claim(hood(tally={"half-dollar": 2}, oversize=[{"mm": 31}]))
    assert subtotals(before, after, matrix) == ("51.00", "32.25")


def test_one_dent_more_than_the_matrix_prices_leaves_the_panel_without_a_price() -> None:
    before, after = a_claim(hood(tally={"dime": 10})), a_claim(hood(tally={"dime": 11}))
    assert subtotals(before, after, a_matrix()) == ("42.00", "0.00")
    assert not priced(after).totals.complete


def test_a_panel_more_does_not_make_the_removal_cheaper_where_only_fasteners_are_taxed() -> None:
    # Clips for 10.00 are 10.75 with their tax, one hood-and-roof job 10.01 of untaxed labour: it
    # opens the hood for less, also alone. The repair lines are given away, so that this shows.
    matrix = a_matrix(
        rates={"repair": "0", "removal": "60.06"},
        tax={"parts": "7.5"},
        removal=[
            {"id": "both", "label": "Both", "minutes": "10", "opens": ["hood", "roof"]},
            LINER | {"minutes": "0", "fasteners": 1, "fastener_price": "10.00"},
        ],
    )
    before = a_claim(hood(tally={"dime": 1}))
    after = a_claim(hood(tally={"dime": 1}), roof(tally={"dime": 1}))
    assert subtotals(before, after, matrix) == ("10.01", "10.01")
    assert priced(before, matrix).totals.total == 1001
    assert priced(after, matrix).totals.total == 1001


def test_two_discounts_each_rounded_can_take_more_from_a_larger_sum() -> None:
    # 0.01 less twice 0.004; 0.02 less twice 0.008, each rounded to 0.01.
    discount = {"label": "Fleet", "of": "vehicle", "percent": "-40"}
    matrix = a_matrix(
        cells="money",
        rows=[["0.01", "0.01", "0.01"], ["0.02", "0.02", "0.02"], ["0.02", "0.02", "0.02"]],
        extra=[discount | {"id": "one"}, discount | {"id": "two"}],
    )
    before, after = a_claim(hood(tally={"dime": 1})), a_claim(hood(tally={"dime": 3}))
    assert subtotals(before, after, matrix) == ("0.01", "0.00")
