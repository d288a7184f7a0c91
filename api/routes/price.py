"""Pricing a claim: the claim file in, the sheet out as JSON or PDF."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from api.intake import claim_body, take_in
from api.negotiation import preferred
from api.problems import BODY, Refusal, at, claim_refusal
from api.responses import problem_responses
from api.state import fresh_library
from hailcalc.estimate import Estimate, price
from hailcalc.fields import Name
from hailcalc.problems import InputError, Problem, shown

JSON = "application/json"
PDF = "application/pdf"

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


class PriceQuery(BaseModel):
    """What a request may ask for beside the claim."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    paper: Literal["letter", "a4"] = Field("letter", description="Paper of the PDF.")
    labels: Literal["us", "uk"] = Field("us", description="What panels are called in the PDF.")
    matrix: Name | None = Field(None, description="A matrix instead of the claim's own choice.")


def _reference(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


@router.post(
    "/price",
    summary="Price a claim",
    response_class=Response,
    openapi_extra={
        "requestBody": {
            "description": "A claim file.",
            "required": True,
            "content": {JSON: {"schema": _reference("ClaimFile"), "example": EXAMPLE}},
        }
    },
    responses={
        200: {
            "description": "The claim sheet. `totals.complete` is false while a panel has no "
            "price under the matrix.",
            "content": {JSON: {"schema": _reference("ClaimSheet")}, PDF: {"schema": {}}},
        },
        **problem_responses(400, 406, 409, 413, 415, 422),
    },
)
def price_claim(
    request: Request,
    query: Annotated[PriceQuery, Query()],
    body: Annotated[bytes, Depends(claim_body)],
) -> Response:
    """Price a claim under a matrix of the shop; nothing is stored.

    The matrix is the one that the query or the claim names, else the one that fits the
    insurer and the date of loss. The sheet comes as JSON, or as PDF with that JSON attached
    where the Accept header prefers `application/pdf`. All mistakes come in one answer.
    """
    # A plain function: pricing and drawing keep a processor busy, so they run in a thread.
    form = preferred(", ".join(request.headers.getlist("accept")), (JSON, PDF))
    if form is None:
        found = shown(", ".join(request.headers.getlist("accept")))
        entry = at("header", ("Accept",), found, f"{JSON} or {PDF}")
        raise Refusal("not-acceptable", f"The Accept header is {found}.", [entry])
    intake = take_in(body, fresh_library(request.app), query.matrix)
    try:
        estimate = price(intake.claim, intake.compiled)
        return _as_json(estimate) if form == JSON else _as_pdf(estimate, query)
    except InputError as error:  # text that cannot be printed shows only in print
        matrix = f"{intake.compiled.matrix.name}.toml"
        raise claim_refusal(_at_home(error, matrix)) from None


def _as_json(estimate: Estimate) -> Response:
    from hailcalc.sheet.document import sheet_json, sheet_text

    return Response(sheet_text(sheet_json(estimate)), media_type=JSON, headers={"Vary": "Accept"})


def _as_pdf(estimate: Estimate, query: PriceQuery) -> Response:
    from hailcalc.sheet.pdf import sheet_pdf  # slow to import, so only where one is asked for

    data = sheet_pdf(estimate, paper=query.paper, labels=query.labels)
    headers = {
        "Vary": "Accept",
        "Content-Disposition": f'attachment; filename="{file_name(estimate.claim.claim.number)}"',
    }
    return Response(data, media_type=PDF, headers=headers)


def _at_home(error: InputError, matrix: str) -> list[Problem]:
    """The problems of a sheet, each as one of the body or of the matrix file."""
    return [
        replace(problem, file=matrix if problem.file == "matrix" else BODY)
        for problem in error.problems
    ]


def file_name(number: str) -> str:
    """A claim number as the name of a file that every system takes: claim-A-1041.pdf."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", number).strip("-")
    return f"claim-{plain}.pdf" if plain else "claim.pdf"
