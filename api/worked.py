"""Examples that are worked out: a small claim priced and planned under a small invented matrix.

They are made when the OpenAPI document is asked for, by the code that answers requests, so that
the documentation never shows a sheet that the program would not make.
"""

from __future__ import annotations

from typing import Any

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import price
from hailcalc.fields import as_json
from hailcalc.matrix import Matrix, matrix_from_data, require_matrix

JSON = "application/json"

_MATRIX: dict[str, Any] = {
    "matrix": {
        "name": "thistle-own-2026",
        "title": "Thistle, own matrix (invented)",
        "currency": "USD",
        "effective": "2026-01-01",
        "columns": ["dime", "quarter"],
        "cells": "minutes",
        "within_band": "flat",
        "stacking": "add",
    },
    "rates": {"repair": "90.00", "removal": "60.00"},
    "grid": [
        {
            "name": "wide",
            "panels": ["hood", "roof"],
            "bands": [1, 6],
            "last": 40,
            "rows": [[20, 30], [45, 70]],
        }
    ],
    "removal": [
        {
            "id": "hood-liner",
            "label": "Hood liner",
            "minutes": "9",
            "opens": ["hood"],
            "fasteners": 6,
            "fastener_price": "1.10",
            "caution": "heat",
        }
    ],
    "tax": {"parts": "7.5"},
}

_CLAIM: dict[str, Any] = {
    "claim": {"number": "A-1041", "date_of_loss": "2026-05-19", "deductible": "25.00"},
    "vehicle": {"body": "sedan"},
    "panels": [{"panel": "hood", "access": "plan", "tally": {"dime": 8}}],
}


def with_worked_examples(document: dict[str, Any]) -> None:
    """Put examples to the answers that are a sheet, a plan, a matrix or a schema."""
    from hailcalc.planreport import plan_report
    from hailcalc.schemas import schema
    from hailcalc.sheet.document import sheet_json

    matrix = _matrix()
    estimate = price(require_claim(claim_from_data(_CLAIM)), matrix)
    sheet = sheet_json(estimate)
    examples: dict[tuple[str, str], Any] = {
        ("post", "/v1/price"): sheet,
        ("get", "/v1/claims/{claim}/revisions/{number}"): sheet,
        ("post", "/v1/plan"): plan_report(estimate),
        ("get", "/v1/matrices/{name}"): as_json(matrix),
        ("get", "/v1/matrices"): {"matrices": [_listed(matrix)]},
        ("get", "/v1/schemas/{name}"): schema("claim"),
    }
    for (method, path), example in examples.items():
        media = document["paths"][path][method]["responses"]["200"]["content"][JSON]
        media["example"] = example


def _matrix() -> Matrix:
    return require_matrix(matrix_from_data(_MATRIX))


def _listed(matrix: Matrix) -> dict[str, Any]:
    header = matrix.matrix
    return {
        "name": header.name,
        "title": header.title,
        "revision": header.revision,
        "insurer": header.insurer,
        "currency": header.currency,
        "effective": header.effective.isoformat(),
        "until": None,
        "problems": [],
    }
