"""Pricing a claim: the claim file in, the sheet out as JSON or PDF."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from api.auth import ShopReader
from api.claims import ClaimQuery, Forms, answer, component, documented
from api.intake import json_body
from hailcalc.estimate import Estimate

router = APIRouter(prefix="/v1", tags=["price"])

EXAMPLE: dict[str, Any] = {
    "claim": {"number": "A-1041", "date_of_loss": "2026-05-19", "deductible": "250.00"},
    "vehicle": {"body": "sedan"},
    "panels": [
        {
            "panel": "hood",
            "metal": "aluminium",
            "tally": {"dime": 12, "nickel": 3},
            "marked": {"braced": {"dime": 2}},
        },
        {"panel": "rail-l", "access": "glue", "tally": {"dime": 5}},
    ],
    "other": [{"kind": "part", "label": "Moulding clips", "unit_price": "8.40"}],
}
"""A small claim for the documentation; it names no matrix, so the shop's own is taken."""


@router.post(
    "/price",
    summary="Price a claim",
    **documented(
        EXAMPLE,
        "The claim sheet. `totals.complete` is false while a panel has no price under the matrix.",
        component("ClaimSheet"),
    ),
)
def price_claim(
    request: Request,
    caller: ShopReader,
    query: Annotated[ClaimQuery, Query()],
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """Price a claim under a matrix of the shop; nothing is stored.

    The matrix is the one that the query or the claim names, else the one that fits the
    insurer and the date of loss. The sheet comes as JSON, or as PDF with that JSON attached
    where the Accept header prefers `application/pdf`. All mistakes come in one answer.
    """
    # A plain function: pricing and drawing keep a processor busy, so they run in a thread.
    return answer(request, caller, body, query, Forms(_as_json, _as_pdf, "claim"))


def _as_json(estimate: Estimate) -> str:
    from hailcalc.sheet.document import sheet_json, sheet_text

    return sheet_text(sheet_json(estimate))


def _as_pdf(estimate: Estimate, query: ClaimQuery) -> bytes:
    from hailcalc.sheet.pdf import sheet_pdf  # slow to import, so only where one is asked for

    return sheet_pdf(estimate, paper=query.paper, labels=query.labels)
