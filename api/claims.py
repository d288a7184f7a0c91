"""What every route that takes a claim file shares, so that all of them ask and refuse alike.

Which form of the answer is wanted, the claim and its matrix, the priced estimate, and the
mistakes that show only then; and how such a route stands in the documentation.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from api.intake import take_in
from api.negotiation import preferred
from api.problems import BODY, Refusal, at, claim_refusal
from api.replying import computed, json_reply
from api.responses import problem_responses
from api.state import fresh_library
from api.store.replies import Reply
from api.store.tokens import Caller
from hailcalc.estimate import Estimate, price
from hailcalc.fields import Name
from hailcalc.problems import InputError, Problem, shown

JSON = "application/json"
PDF = "application/pdf"


class ClaimQuery(BaseModel):
    """What a request may ask for beside the claim."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    paper: Literal["letter", "a4"] = Field("letter", description="Paper of the PDF.")
    labels: Literal["us", "uk"] = Field("us", description="What panels are called in the PDF.")
    matrix: Name | None = Field(None, description="A matrix instead of the claim's own choice.")


@dataclass(frozen=True, slots=True)
class Forms:
    """How a route writes an estimate: as the text of a JSON document, or as the bytes of a PDF.

    `called` begins the PDF's file name.
    """

    json: Callable[[Estimate], str]
    pdf: Callable[[Estimate, ClaimQuery], bytes]
    called: str


def answer(
    request: Request, caller: Caller, body: bytes, query: ClaimQuery, forms: Forms
) -> Response:
    """Price a claim and answer in the form that the Accept header prefers.

    Raises Refusal with every mistake of the request, the claim and the matrix.
    """
    return computed(request, caller, body, lambda: _reply(request, body, query, forms))


def _reply(request: Request, body: bytes, query: ClaimQuery, forms: Forms) -> Reply:
    form = preferred(", ".join(request.headers.getlist("accept")), (JSON, PDF))
    if form is None:
        found = shown(", ".join(request.headers.getlist("accept")))
        entry = at("header", ("Accept",), found, f"{JSON} or {PDF}")
        raise Refusal("not-acceptable", f"The Accept header is {found}.", [entry])
    intake = take_in(body, fresh_library(request.app), query.matrix)
    headers = {"Vary": "Accept"}
    try:
        estimate = price(intake.claim, intake.compiled)
        if form == JSON:
            return json_reply(forms.json(estimate), 200, headers)
        data = forms.pdf(estimate, query)
    except InputError as error:  # text that cannot be printed shows only in print
        matrix = f"{intake.compiled.matrix.name}.toml"
        raise claim_refusal(_at_home(error, matrix)) from None
    name = file_name(forms.called, estimate.claim.claim.number)
    headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return Reply(200, {"Content-Type": PDF} | headers, data)


def _at_home(error: InputError, matrix: str) -> list[Problem]:
    """The problems of a sheet, each as one of the body or of the matrix file."""
    return [
        replace(problem, file=matrix if problem.file == "matrix" else BODY)
        for problem in error.problems
    ]


def file_name(called: str, number: str) -> str:
    """A claim number as the name of a file that every system takes: claim-A-1041.pdf."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", number).strip("-")
    return f"{called}-{plain}.pdf" if plain else f"{called}.pdf"


def component(name: str) -> dict[str, str]:
    """A reference to a schema of the OpenAPI document."""
    return {"$ref": f"#/components/schemas/{name}"}


def documented(example: dict[str, Any], description: str, schema: dict[str, Any]) -> dict[str, Any]:
    """How a route that takes a claim file is described: arguments of the router's decorator."""
    return {
        "response_class": Response,
        "openapi_extra": {
            "requestBody": {
                "description": "A claim file.",
                "required": True,
                "content": {JSON: {"schema": component("ClaimFile"), "example": example}},
            }
        },
        "responses": {
            200: {
                "description": description,
                "content": {JSON: {"schema": schema}, PDF: {"schema": {}}},
            },
            **problem_responses(400, 401, 403, 406, 409, 413, 415, 422, 503, 507),
        },
    }
