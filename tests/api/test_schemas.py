"""The JSON Schemas accept every file that is read and every sheet that is made, and refuse others.

Checked with jsonschema, an implementation of JSON Schema 2020-12 that is not ours.
"""

from __future__ import annotations

import json
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from jsonschema import Draft202012Validator

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import price
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.schemas import SchemaName, schema
from hailcalc.sheet.document import sheet_json
from tests.api.conftest import three_dimes
from tests.effort import examples
from tests.strategies import Table, priced_together

NAMES: list[SchemaName] = ["claim", "matrix", "sheet"]
VALIDATORS = {name: Draft202012Validator(schema(name)) for name in NAMES}


def mistakes(name: SchemaName, value: Any) -> list[str]:
    return [error.json_path for error in VALIDATORS[name].iter_errors(value)]


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_served_with_its_dialect_and_identifier(
    client: httpx.Client, name: SchemaName
) -> None:
    response = client.get(f"/v1/schemas/{name}")

    assert response.headers["content-type"] == "application/schema+json"
    served = response.json()
    assert served == schema(name)
    assert served["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert served["$id"].endswith(f"/{name}")
    Draft202012Validator.check_schema(served)


def test_a_schema_that_is_not_there_is_a_404_that_lists_those_that_are(
    client: httpx.Client,
) -> None:
    response = client.get("/v1/schemas/vehicle")

    assert response.status_code == 404
    assert response.json()["errors"][0]["expected"] == "'claim', 'matrix' or 'sheet'"


@settings(max_examples=examples(150), deadline=None)
@given(priced_together())
def test_every_claim_matrix_and_sheet_fits_its_schema(pair: tuple[Table, Table]) -> None:
    claim = require_claim(claim_from_data(pair[0]))
    matrix = require_matrix(matrix_from_data(pair[1]))

    sheet = json.loads(json.dumps(sheet_json(price(claim, matrix))))

    assert mistakes("claim", sheet["claim_file"]) == []
    assert mistakes("matrix", sheet["matrix"]) == []
    assert mistakes("sheet", sheet) == []


def sheet_of_three_dimes(client: httpx.Client) -> dict[str, Any]:
    sheet: dict[str, Any] = client.post("/v1/price", json=three_dimes()).json()
    assert mistakes("sheet", sheet) == []
    return sheet


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("lines", 0, "amount"), 24.0),
        (("lines", 0, "amount"), "24,00"),
        (("lines", 0, "kind"), "gift"),
        (("lines", 0, "panel"), "bonnet"),
        (("lines", 0, "because"), {}),
        (("lines", 0, "colour"), "red"),
        (("totals", "complete"), "true"),
        (("totals", "net"), None),
        (("digest",), "0" * 63),
        (("evidence", "counts", 0, "method"), "guess"),
        (("claim_file", "claim", "date_of_loss"), 20260519),
        (("matrix", "rates", "repair"), 90),
        (("surplus",), 1),
    ],
)
def test_a_sheet_with_something_else_in_it_does_not_fit(
    client: httpx.Client, where: tuple[str | int, ...], value: Any
) -> None:
    sheet = sheet_of_three_dimes(client)
    inner: Any = sheet
    for key in where[:-1]:
        inner = inner[key]
    inner[where[-1]] = value

    assert mistakes("sheet", sheet) != []


@pytest.mark.parametrize("key", ["claim_file", "matrix", "lines", "totals", "evidence", "digest"])
def test_a_sheet_with_a_part_missing_does_not_fit(client: httpx.Client, key: str) -> None:
    sheet = sheet_of_three_dimes(client)
    del sheet[key]

    assert mistakes("sheet", sheet) == ["$"]


@pytest.mark.parametrize(
    "panel",
    [
        {"dents": [{"mm": "17.2"}]},
        {"dents": [{"mm": 0}]},
        {"dents": [{"mm": 500.5}]},
        {"tally": {"dime": -1}},
        {"tally": {"dime": 10_000}},
        {"tally": {"": 1}},
        {"marked": {"dull": {"dime": 1}}},
        {"agreed": 12},
        {"agreed": "-12"},
        {"note": "two\nlines"},
        {"note": "\u2028"},
        {"metal": "tin"},
        {"metl": "steel"},
    ],
)
def test_what_reading_refuses_by_its_shape_does_not_fit_the_claims_schema(
    panel: dict[str, Any],
) -> None:
    claim = three_dimes() | {"panels": [{"panel": "hood"} | panel]}

    assert claim_from_data(claim).claim is None
    assert mistakes("claim", claim) != []


@pytest.mark.parametrize("vin", ["ZZZHAL017TE00000", "IZZHAL017TE000001", "zzzhal017te000001"])
def test_a_vin_of_the_wrong_form_does_not_fit_the_claims_schema(vin: str) -> None:
    claim = three_dimes() | {"vehicle": {"body": "sedan", "vin": vin}}

    assert claim_from_data(claim).claim is None
    assert mistakes("claim", claim) == ["$.vehicle.vin"]
