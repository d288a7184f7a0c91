"""The service itself: whether it can price, and what its problem types mean."""

from __future__ import annotations

from fastapi import APIRouter, Request
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

from api.problems import KINDS, Refusal
from api.responses import problem_responses
from api.state import fresh_library
from hailcalc import __version__

router = APIRouter()


class Health(BaseModel):
    """Ready, with which version, and with how many sound and broken matrix files."""

    ready: bool
    version: str
    matrices: int
    broken: int


@router.get(
    "/v1/health", tags=["service"], summary="Whether it is ready", responses=problem_responses(503)
)
def health(request: Request) -> Health:
    """Ready if there is a sound matrix to price with; otherwise a 503."""
    library = fresh_library(request.app)
    broken = sum(1 for entry in library.entries.values() if entry.compiled is None)
    if not library.sound:
        raise Refusal("no-matrices", f"{broken} matrix files, none of them sound.")
    return Health(ready=True, version=__version__, matrices=len(library.sound), broken=broken)


@router.get("/problems/{kind}", include_in_schema=False)
def explain(kind: str) -> PlainTextResponse:
    """What a type of problem means and what to do about it."""
    if kind not in KINDS:
        raise HTTPException(404)
    known = KINDS[kind]
    return PlainTextResponse(f"{known.title} ({known.status})\n\n{known.help}\n")
