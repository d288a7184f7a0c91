"""The matrices that claims may name."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel
from starlette.responses import JSONResponse

from api.auth import ShopReader
from api.library import Entry
from api.problems import Refusal, at, mistake
from api.responses import problem_responses
from api.state import fresh_library
from hailcalc.fields import as_json
from hailcalc.problems import shown

router = APIRouter(prefix="/v1/matrices", tags=["matrices"])


class FileProblem(BaseModel):
    """A mistake in a matrix file: where in it (RFC 6901), what was found and expected."""

    pointer: str
    found: str
    expected: str


class MatrixSummary(BaseModel):
    """A matrix file in a list; all but the name is null for one with mistakes."""

    name: str
    title: str | None = None
    revision: int | None = None
    insurer: str | None = None
    currency: str | None = None
    effective: date | None = None
    until: date | None = None
    problems: list[FileProblem] = []


class MatrixList(BaseModel):
    """The matrix files of the server's folder by name."""

    matrices: list[MatrixSummary]


def _summary(entry: Entry) -> MatrixSummary:
    if entry.compiled is None:
        problems = [
            FileProblem(pointer=each.pointer, found=each.found, expected=each.expected)
            for each in entry.problems
        ]
        return MatrixSummary(name=entry.name, problems=problems)
    header = entry.compiled.matrix.matrix
    return MatrixSummary(
        name=header.name,
        title=header.title,
        revision=header.revision,
        insurer=header.insurer,
        currency=header.currency,
        effective=header.effective,
        until=header.until,
    )


@router.get("", summary="List the matrices", responses=problem_responses(401, 403, 503))
def list_matrices(request: Request, _: ShopReader) -> MatrixList:
    """Every matrix file of the server's folder; one with mistakes comes with them."""
    entries = fresh_library(request.app).entries.values()
    return MatrixList(matrices=[_summary(entry) for entry in entries])


@router.get(
    "/{name}",
    summary="One matrix",
    response_class=JSONResponse,
    responses={
        200: {
            "description": "The whole matrix file as JSON, with the same keys.",
            "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Matrix"}}},
        },
        **problem_responses(401, 403, 404, 409, 503),
    },
)
def show_matrix(request: Request, _: ShopReader, name: str) -> JSONResponse:
    """The matrix called `name`, exactly as its file says."""
    library = fresh_library(request.app)
    entry = library.entries.get(name)
    if entry is None:
        missing = at("path", ("name",), shown(name), f"one of {library.names}")
        raise Refusal("no-such-matrix", f"There is no matrix {shown(name)}.", [missing])
    if entry.compiled is None:
        detail = f"Mistakes in {entry.name}.toml."
        raise Refusal("broken-matrix", detail, map(mistake, entry.problems))
    content: dict[str, Any] = as_json(entry.compiled.matrix)
    return JSONResponse(content)
