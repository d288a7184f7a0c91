"""The claim sheet as JSON: what stands in it, and that nothing is lost on the way."""

from __future__ import annotations

import hashlib
import json
import re
from fractions import Fraction
from typing import Any

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import price
from hailcalc.fields import as_json
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.money import currency_decimals
from hailcalc.sheet.document import digest, sheet_json, sheet_text
from hailcalc.sheet.verify import read_sheet, verify_sheet
from tests.builders import (
    DEMO,
    FULLEST,
    SMALLEST,
    Table,
    claim,
    demo_claim,
    demo_estimate,
    demo_sheet,
    estimate,
    matrix,
    panel,
    removal_and_tax,
    sheet,
)
from tests.effort import examples
from tests.strategies import priced_together

KINDS = {
    "repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish", "body",
    "minimum", "tax",
}  # fmt: skip


def shuffled(value: Any, draw: Any) -> Any:
    """JSON values with the keys of every table in another order."""
    if isinstance(value, dict):
        keys = draw(st.permutations(list(value)))
        return {key: shuffled(value[key], draw) for key in keys}
    if isinstance(value, list):
        return [shuffled(inner, draw) for inner in value]
    return value


@pytest.mark.parametrize("name", DEMO)
def test_a_sheet_has_exactly_the_six_keys_in_the_order_people_read_them(name: str) -> None:
    assert list(demo_sheet(name)) == [
        "claim_file", "matrix", "lines", "totals", "evidence", "digest",
    ]  # fmt: skip


@pytest.mark.parametrize("name", DEMO)
def test_every_line_says_kind_panel_label_amount_and_because(name: str) -> None:
    for line in demo_sheet(name)["lines"]:
        assert list(line) == ["kind", "panel", "label", "amount", "because"]
        assert line["kind"] in KINDS
        assert line["label"]
        assert line["because"]["words"]
        assert set(line["because"]) <= {"words", "formula"}


@pytest.mark.parametrize("name", DEMO)
def test_amounts_are_decimal_strings_with_the_currencys_own_decimals(name: str) -> None:
    document = demo_sheet(name)
    decimals = currency_decimals(document["matrix"]["matrix"]["currency"])
    pattern = r"-?[0-9]+" + (rf"\.[0-9]{{{decimals}}}" if decimals else "")
    sums = {key: value for key, value in document["totals"].items() if key != "complete"}
    assert list(sums) == ["subtotal", "tax", "total", "deductible", "net"]
    for text in [*sums.values(), *(line["amount"] for line in document["lines"])]:
        assert text is None or re.fullmatch(pattern, text)


@pytest.mark.parametrize("name", DEMO)
def test_the_printed_lines_add_up_to_the_printed_totals_to_the_cent(name: str) -> None:
    document = demo_sheet(name)
    totals = {
        key: Fraction(value) for key, value in document["totals"].items() if key != "complete"
    }
    priced = [line for line in document["lines"] if line["amount"] is not None]
    taxes = sum(Fraction(line["amount"]) for line in priced if line["kind"] == "tax")
    everything = sum(Fraction(line["amount"]) for line in priced)
    assert totals["tax"] == taxes
    assert totals["subtotal"] == everything - taxes
    assert totals["total"] == everything
    assert totals["net"] == max(0, totals["total"] - totals["deductible"])
    assert document["totals"]["complete"] == (len(priced) == len(document["lines"]))


@pytest.mark.parametrize("name", DEMO)
def test_the_claim_in_a_sheet_is_the_claim_file_as_it_was_given(name: str) -> None:
    assert demo_sheet(name)["claim_file"] == demo_claim(name)


@pytest.mark.parametrize("name", DEMO)
def test_a_sheet_read_and_priced_again_is_the_same_text(name: str) -> None:
    text = sheet_text(sheet_json(demo_estimate(name)))
    read = json.loads(text)
    again = price(
        require_claim(claim_from_data(read["claim_file"])),
        require_matrix(matrix_from_data(read["matrix"])),
    )
    assert sheet_text(sheet_json(again)) == text


@settings(max_examples=examples(60), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(priced_together())
def test_claim_and_matrix_keep_every_key_and_value_through_their_models(
    pair: tuple[Table, Table],
) -> None:
    claim_data, matrix_data = (json.loads(json.dumps(part, default=str)) for part in pair)
    assert as_json(require_claim(claim_from_data(claim_data))) == claim_data
    assert as_json(require_matrix(matrix_from_data(matrix_data))) == matrix_data


@settings(max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(priced_together())
def test_the_sheet_of_any_claim_survives_its_own_text_and_verifies(
    pair: tuple[Table, Table],
) -> None:
    text = sheet_text(sheet_json(estimate(*pair)))
    assert verify_sheet(read_sheet(text, "sheet")) == []


@pytest.mark.parametrize("name", DEMO)
def test_the_digest_is_sha256_over_the_canonical_form_of_all_the_rest(name: str) -> None:
    document = demo_sheet(name)
    printed = document.pop("digest")
    assert printed == hashlib.sha256(rfc8785.dumps(document)).hexdigest()


@settings(max_examples=examples(25), deadline=None)
@given(st.data())
def test_the_digest_does_not_depend_on_the_order_of_keys_or_on_spacing(data: st.DataObject) -> None:
    document = demo_sheet(SMALLEST)
    other = shuffled(document, data.draw)
    indent = data.draw(st.sampled_from([None, 0, 1, 7, "\t"]))
    text = json.dumps(other, indent=indent, ensure_ascii=data.draw(st.booleans()))
    assert verify_sheet(read_sheet(text, "sheet")) == []
    read = json.loads(text)
    assert (
        digest({key: value for key, value in read.items() if key != "digest"})
        == (document["digest"])
    )


def test_the_order_of_panels_in_the_claim_changes_the_digest_but_no_line() -> None:
    there = sheet(estimate(claim(panel("hood"), panel("roof"))))
    back = sheet(estimate(claim(panel("roof"), panel("hood"))))
    assert there["lines"] == back["lines"]
    assert there["digest"] != back["digest"]


def test_names_are_written_as_they_are_and_not_as_escapes() -> None:
    text = sheet_text(
        sheet_json(estimate(claim(panel(), claim={"customer": "Łucja Müller-Ñuñoa"})))
    )
    assert "Łucja Müller-Ñuñoa" in text
    assert text.endswith("}\n")


def test_evidence_says_how_each_panel_was_counted() -> None:
    document = sheet(
        estimate(
            claim(
                panel("hood", tally={"dime": 5}, oversize=[{"mm": 41.5}, {"mm": 36}]),
                panel("roof", dents=[{"mm": 12}, {"mm": 9.5, "mm2": 20}]),
            )
        )
    )
    assert document["evidence"] == {
        "counts": [
            {"panel": "hood", "method": "tally", "dents": 7, "band": [4, 60], "largest_mm": 41.5},
            {"panel": "roof", "method": "single dents", "dents": 2, "band": [1, 3]},
        ],
        "not_priced": [],
        "near_edges": [],
        "warnings": [],
    }


def test_a_panel_beyond_the_matrix_has_a_line_without_amount_and_the_sheet_is_incomplete() -> None:
    document = sheet(estimate(claim(panel("roof", tally={"dime": 61}), panel("hood"))))
    assert [(line["panel"], line["amount"]) for line in document["lines"]] == [
        ("hood", "30.00"),
        ("roof", None),
    ]
    assert document["totals"]["complete"] is False
    assert document["totals"]["total"] == "30.00"
    assert document["evidence"]["not_priced"] == ["roof"]


def test_every_formula_with_its_sheets_figures_gives_its_amount() -> None:
    """A pocket calculator's arithmetic: only digits, points, the four signs and brackets."""
    for name in DEMO:
        document = demo_sheet(name)
        decimals = currency_decimals(document["matrix"]["matrix"]["currency"]) or 0
        for line in document["lines"]:
            formula = line["because"].get("formula")
            if formula is None:
                continue
            assert re.fullmatch(r"[0-9.+\-*/() ]+", formula), formula
            exact = re.sub(r"[0-9]+(\.[0-9]+)?", r'Fraction("\g<0>")', formula)
            value = eval(exact, {"Fraction": Fraction}) * 10**decimals
            nearest = (abs(value) + Fraction(1, 2)) // 1 * (1 if value >= 0 else -1)
            assert nearest == Fraction(line["amount"]) * 10**decimals, (name, line)


def test_a_sheet_holds_the_whole_matrix_so_that_it_can_be_recomputed_alone() -> None:
    document = demo_sheet(FULLEST)
    data = matrix(**removal_and_tax())
    assert sheet(estimate(claim(panel()), data))["matrix"] == data
    assert len(document["matrix"]["grid"]) == 3
    assert len(document["matrix"]["removal"]) == len(demo_estimate(FULLEST).compiled.matrix.removal)
