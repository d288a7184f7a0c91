"""The service itself: whether it lives, whether it can work, and what its problem types mean."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

from api.problems import KINDS, Refusal, count_text
from api.responses import problem_responses
from api.state import fresh_library, setup_of
from api.store.log import head
from hailcalc import __version__

router = APIRouter()


class Alive(BaseModel):
    """The process answers."""

    alive: bool


class Health(BaseModel):
    """Ready, with which version, and with how many sound and broken matrix files."""

    ready: bool
    version: str
    matrices: int
    broken: int


def _answer(description: str, example: BaseModel) -> dict[int | str, dict[str, Any]]:
    content = {"application/json": {"example": example.model_dump()}}
    return {200: {"description": description, "content": content}}


_READY = {
    **_answer(
        "It can price, and its database answers.",
        Health(ready=True, version=__version__, matrices=3, broken=0),
    ),
    **problem_responses(503),
}


@router.get(
    "/v1/health/alive",
    tags=["service"],
    summary="Whether it answers at all",
    responses=_answer("The process answers.", Alive(alive=True)),
)
async def alive() -> Alive:
    """Yes, as long as the process runs: neither the database nor any other request is waited for.

    Whoever restarts servers that hang asks this.
    """
    return Alive(alive=True)


@router.get(
    "/v1/health/ready", tags=["service"], summary="Whether it can work now", responses=_READY
)
@router.get("/v1/health", tags=["service"], summary="The same", responses=_READY)
def ready(request: Request) -> Health:
    """Ready if its database can be read and there is a sound matrix to price with; else a 503.

    Whoever sends requests to one of several servers asks this.
    """
    with setup_of(request.app).store.reading() as connection:
        head(connection)
    library = fresh_library(request.app)
    broken = sum(1 for entry in library.entries.values() if entry.compiled is None)
    if not library.sound:
        raise Refusal("no-matrices", f"{count_text(broken, 'matrix file')}, none of them sound.")
    return Health(ready=True, version=__version__, matrices=len(library.sound), broken=broken)


@router.get("/problems/{kind}", include_in_schema=False)
def explain(kind: str) -> PlainTextResponse:
    """What a type of problem means and what to do about it."""
    if kind not in KINDS:
        raise HTTPException(404)
    known = KINDS[kind]
    return PlainTextResponse(f"{known.title} ({known.status})\n\n{known.help}\n")
