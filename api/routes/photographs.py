"""Photographs of a claim: sent as they came from the camera, kept without the place."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.engine import Connection
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response

from api.auth import Reader, Writer
from api.examples import PHOTOGRAPH, PHOTOGRAPHS
from api.found import ClaimId, claim_for, forgotten, require_act
from api.problems import BODY, Refusal, at, mistake
from api.replying import Act, Done, json_reply, once, response_of
from api.responses import problem_responses
from api.routing import described
from api.state import darkroom, setup_of
from api.store import photographs
from api.store.photographs import Entry
from api.store.session import Writing
from api.store.tokens import Caller
from api.versions import require_version, unchanged
from api.views import PhotographList, PhotographView, photograph_view, view_text
from hailcalc.fields import Text
from hailcalc.problems import InputError, shown
from hailcalc.vehicle import Panel

router = APIRouter(prefix="/v1/claims/{claim}/photographs", tags=["photographs"])

TYPES = ("image/jpeg", "image/png", "image/heic", "image/heif", "image/webp")
MAX_PHOTOGRAPHS = 200

PhotographNumber = Annotated[int, Path(ge=1, le=MAX_PHOTOGRAPHS, alias="photograph")]


class PhotographQuery(BaseModel):
    """What a photograph shows."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    panel: Panel | None = Field(None, description="The panel; none: the whole vehicle.")
    note: Text = ""
    keep_place: bool = Field(False, description="Keep where it was taken, if the camera says so.")


async def picture_body(request: Request) -> bytes:
    """The bytes of a request that sends a picture. Raises Refusal for another content type."""
    given = request.headers.get("content-type", "")
    if given.partition(";")[0].strip().lower() not in TYPES:
        found = shown(given) if given else "nothing"
        entry = at("header", ("Content-Type",), found, " or ".join(TYPES))
        accept = {"Accept": ", ".join(TYPES)}
        raise Refusal("unsupported-media-type", f"Content-Type is {found}.", [entry], accept)
    try:
        return await request.body()
    except ClientDisconnect:
        raise HTTPException(400) from None


@router.post(
    "",
    summary="Add a photograph",
    **described(
        PhotographView, PHOTOGRAPH, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 503, 507,
        status=201,
        body={
            "description": "The picture's bytes.",
            "required": True,
            "content": {
                kind: {"schema": {"type": "string", "format": "binary"}} for kind in TYPES
            },
        },
    ),
)  # fmt: skip
def add_photograph(
    request: Request,
    caller: Writer,
    claim: ClaimId,
    query: Annotated[PhotographQuery, Query()],
    body: Annotated[bytes, Depends(picture_body)],
) -> Response:
    """Keep a JPEG, PNG, HEIC or WebP picture of a panel or of the whole vehicle.

    It is decoded, turned upright and written anew without what else was in the file; the time it
    was taken is kept, the place only if asked. Sheets issued from now on print it.
    """

    def prepare() -> Act:
        from hailcalc.photographs import examine

        store = setup_of(request.app).store
        with store.reading() as connection:
            head = claim_for(connection, caller, claim)
            require_act(head, "save")
            if len(photographs.of_claim(connection, claim)) >= MAX_PHOTOGRAPHS:
                detail = f"A claim has at most {MAX_PHOTOGRAPHS} photographs."
                raise Refusal("not-in-this-state", detail)
        try:
            with darkroom(request.app):
                picture = examine(body, BODY, keep_place=query.keep_place)
        except InputError as error:
            detail = "; ".join(problem.found for problem in error.problems)
            entries = map(mistake, error.problems)
            raise Refusal("unreadable-photograph", f"The body: {detail}.", entries) from None
        photographs.write_files(store, picture)

        def act(writing: Writing) -> Done:
            head = claim_for(writing.connection, caller, claim)
            require_version(request, head, required=False)
            require_act(head, "save")
            entry = photographs.add(writing, store, claim, picture, query.panel, query.note)
            where = {"Location": f"/v1/claims/{claim}/photographs/{entry.number}"}
            return Done(json_reply(view_text(photograph_view(entry)), 201, where), claim)

        return act

    return once(request, caller, body, prepare)


@router.get(
    "",
    summary="The photographs of a claim",
    **described(PhotographList, PHOTOGRAPHS, 401, 403, 404, 503),
)
def list_photographs(request: Request, caller: Reader, claim: ClaimId) -> Response:
    """Every photograph, in the order they came."""
    with setup_of(request.app).store.reading() as connection:
        claim_for(connection, caller, claim)
        views = [photograph_view(each) for each in _seen_by(connection, caller, claim)]
    return response_of(json_reply(view_text(PhotographList(photographs=views))))


@router.get(
    "/{photograph}",
    summary="A photograph",
    response_class=Response,
    responses={
        200: {
            "description": "The picture, upright.",
            "content": {
                kind: {"schema": {"type": "string", "format": "binary"}}
                for kind in ("image/jpeg", "image/png")
            },
        },
        **problem_responses(401, 403, 404, 410, 503),
    },
)
def show_photograph(
    request: Request, caller: Reader, claim: ClaimId, number: PhotographNumber
) -> Response:
    """The picture's bytes as they are kept; the ETag is their hash."""
    store = setup_of(request.app).store
    with store.reading() as connection:
        claim_for(connection, caller, claim)
        found = _numbered(_seen_by(connection, caller, claim), number)
    tag = f'"{found.sha256}"'
    if unchanged(request, tag):
        return Response(status_code=304, headers={"ETag": tag})
    data = photographs.read_file(store, found.sha256)
    if data is None:
        raise forgotten()
    return Response(data, media_type=found.media_type, headers={"ETag": tag})


@router.delete(
    "/{photograph}",
    summary="Leave a photograph out",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "No sheet prints it from now on."},
        **problem_responses(401, 403, 404, 409, 410, 412, 503, 507),
    },
)
def leave_out(
    request: Request, caller: Writer, claim: ClaimId, number: PhotographNumber
) -> Response:
    """Leave a photograph out of sheets from now on, and out of what the adjuster is shown.

    Sheets that print it stay as they are, so it is kept; to remove it, forget the claim. Leaving
    it out again changes nothing.
    """
    with setup_of(request.app).store.writing(caller.token) as writing:
        head = claim_for(writing.connection, caller, claim)
        require_version(request, head, required=False)
        require_act(head, "save")
        found = _numbered(photographs.of_claim(writing.connection, claim), number)
        photographs.leave_out(writing, claim, found.number)
    return Response(status_code=204)


def _seen_by(connection: Connection, caller: Caller, claim: str) -> list[Entry]:
    """The photographs that a caller is shown."""
    if caller.role == "adjuster":
        return photographs.shown_of(connection, claim)
    return photographs.of_claim(connection, claim)


def _numbered(entries: list[Entry], number: int) -> Entry:
    """One of some photographs. Raises Refusal (404) if it is not among them."""
    for entry in entries:
        if entry.number == number:
            return entry
    mistake = at("path", ("photograph",), str(number), "the number of a photograph of the claim")
    raise Refusal("no-such-photograph", f"There is no photograph {number}.", [mistake])
