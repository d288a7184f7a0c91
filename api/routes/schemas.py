"""The JSON Schemas of the files."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import JSONResponse

from api.examples import SCHEMA
from api.responses import problem_responses
from hailcalc.schemas import SchemaName, schema

router = APIRouter(prefix="/v1/schemas", tags=["schemas"])


@router.get(
    "/{name}",
    summary="A JSON Schema",
    response_class=JSONResponse,
    responses={
        200: {
            "description": "A JSON Schema (2020-12).",
            "content": {
                "application/schema+json": {"schema": {"type": "object"}, "example": SCHEMA}
            },
        },
        **problem_responses(404),
    },
)
def show_schema(name: SchemaName) -> JSONResponse:
    """The schema of a claim file, a matrix file (as JSON) or a claim sheet."""
    return JSONResponse(schema(name), media_type="application/schema+json")
