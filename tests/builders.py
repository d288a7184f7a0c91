"""Claims and matrices as plain dicts, as small as a test needs them, and what comes of them.

Everything here is invented. Minutes in the small matrix, money in its currency; a sheet is
built by the product itself, from the dicts.
"""

from __future__ import annotations

import json
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, price
from hailcalc.intake import take_in
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.sheet.document import sheet_json, sheet_text
from tests.plain_pricing import PlainSheet

Table = dict[str, Any]

ROOT = Path(__file__).parent.parent
CLAIMS = ROOT / "demo" / "claims"
COUNTS = ROOT / "demo" / "counts"
MATRICES = ROOT / "matrices"

DEMO = [path.stem for path in sorted(CLAIMS.glob("*.json"))]
"""The demo claims by name."""

SMALLEST = "01-sedan-three-dents"
FULLEST = "12-sedan-every-panel"

EVERY_PANEL = [
    "hood", "roof", "decklid", "liftgate", "tailgate", "fender-l", "fender-r",
    "door-fl", "door-fr", "door-rl", "door-rr", "quarter-l", "quarter-r", "rail-l", "rail-r",
    "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r",
]  # fmt: skip

SEDAN = [
    "hood", "roof", "decklid", "fender-l", "fender-r", "door-fl", "door-fr", "door-rl", "door-rr",
    "quarter-l", "quarter-r", "rail-l", "rail-r",
]  # fmt: skip

PICKUP = [
    "hood", "roof", "tailgate", "fender-l", "fender-r", "door-fl", "door-fr", "door-rl", "door-rr",
    "rail-l", "rail-r", "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r",
]  # fmt: skip
"""A pickup has the most panels of all bodies."""


def panel(name: str = "hood", **more: Any) -> Table:
    """A panel, with three small dents unless it is said otherwise."""
    counted = {"tally", "dents", "oversize"} & more.keys()
    return {"panel": name} | ({} if counted else {"tally": {"dime": 3}}) | more


def claim(*panels: Table, body: str = "sedan", **more: Any) -> Table:
    """A claim; keys of its first table by `claim`, of the vehicle by `vehicle`."""
    return {
        "claim": {"number": "C-1", "date_of_loss": "2026-05-19", **more.pop("claim", {})},
        "vehicle": {"body": body, **more.pop("vehicle", {})},
        "panels": list(panels),
        **more,
    }


def matrix(**more: Any) -> Table:
    """A matrix of two sizes and two bands for every panel; keys of its first table by `matrix`."""
    return {
        "matrix": {
            "name": "larkspur",
            "currency": "USD",
            "effective": "2026-03-01",
            "coins": "us",
            "columns": ["dime", "half-dollar"],
            "cells": "minutes",
            "within_band": "flat",
            "stacking": "add",
            **more.pop("matrix", {}),
        },
        "rates": {"repair": "90.00", "removal": "60.00"},
        "grid": [
            {
                "name": "all",
                "panels": EVERY_PANEL,
                "bands": [1, 4],
                "last": 60,
                "rows": [[20, 30], [40, 70]],
            }
        ],
        "oversize": {"minutes": "30", "minutes_per_mm": "2.5"},
        **more,
    }


def removal_and_tax() -> Table:
    """Tables for `matrix`: one part with fasteners before the hood, and tax on parts."""
    return {
        "removal": [
            {
                "id": "hood-liner",
                "label": "Hood liner",
                "minutes": "9",
                "opens": ["hood"],
                "fasteners": 6,
                "fastener_price": "1.10",
            }
        ],
        "tax": {"parts": "7.5"},
    }


def estimate(claim_data: Table, matrix_data: Table | None = None) -> Estimate:
    """Price a claim; under the small matrix if none is given."""
    data = matrix() if matrix_data is None else matrix_data
    return price(require_claim(claim_from_data(claim_data)), require_matrix(matrix_from_data(data)))


def sheet(priced: Estimate) -> Table:
    """A sheet as somebody else reads it: through its text."""
    read: Table = json.loads(sheet_text(sheet_json(priced)))
    return read


@cache
def demo_estimate(name: str) -> Estimate:
    """A demo claim, priced under the matrix of its own choice."""
    intake = take_in(CLAIMS / f"{name}.json")
    return price(intake.claim, intake.compiled)


def demo_sheet(name: str) -> Table:
    """The sheet of a demo claim."""
    return sheet(demo_estimate(name))


def demo_claim(name: str) -> Table:
    """A demo claim as its file has it."""
    read: Table = json.loads((CLAIMS / f"{name}.json").read_text("utf-8"))
    return read


def page_texts(pdf: bytes) -> list[str]:
    """The text of each page."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def names(folder: Path) -> list[str]:
    """All that lies in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


def assert_priced_alike(priced: Estimate, plain: PlainSheet) -> None:
    """Methods, order of removal, lines and totals are what the second implementation found."""
    planned = priced.plan.panels if priced.plan is not None else ()
    assert {panel.panel: panel.method for panel in planned} == plain.methods
    assert [operation.id for operation in priced.removal] == [
        line.hint for line in plain.lines if line.kind == "removal"
    ]
    assert [(line.kind, line.panel, line.amount) for line in priced.lines] == [
        (line.kind, line.panel, line.amount) for line in plain.lines
    ]
    totals = priced.totals
    assert (totals.subtotal, totals.tax, totals.total, totals.deductible, totals.net) == (
        plain.subtotal,
        plain.tax,
        plain.total,
        plain.deductible,
        plain.net,
    )
    assert totals.complete == plain.complete
