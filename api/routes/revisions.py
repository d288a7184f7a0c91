"""Revisions: drafts issued, sheets read, supplements compared."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.engine import Connection
from starlette.responses import Response

from api.auth import Issuer, Reader
from api.claims import component, file_name
from api.examples import CLAIM, REVISIONS
from api.found import ClaimId, RevisionNumber, claim_for, forgotten, require_act, revision_for
from api.intake import json_body, model_in
from api.issuing import Waiting, changes_in, freeze, made, waiting
from api.negotiation import preferred
from api.problems import Refusal, at
from api.replying import Act, Done, json_reply, once, response_of
from api.responses import problem_responses
from api.routes.claims import shown_claim
from api.routing import body_of, described
from api.state import fresh_library, setup_of
from api.store import claims as stored
from api.store import contents, photographs
from api.store.claims import Head
from api.store.session import Writing
from api.versions import changed_since, etag, require_version, unchanged
from api.views import ClaimView, RevisionList, revision_views, view_text
from hailcalc.fields import FileModel, Note
from hailcalc.problems import shown

router = APIRouter(prefix="/v1/claims/{claim}", tags=["revisions"])

JSON = "application/json"
PDF = "application/pdf"


class IssueQuery(BaseModel):
    """How the PDF of the sheet is printed; frozen with it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    paper: Literal["letter", "a4"] | None = Field(
        None, description="Without it that of the revision before; of the first, letter."
    )
    labels: Literal["us", "uk"] | None = Field(
        None,
        description="What panels are called in print; without it as in the revision before; in "
        "the first, us.",
    )


class ChangesQuery(BaseModel):
    """Which two revisions; without, the latest against the one before."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    since: int | None = Field(None, ge=1, le=999, alias="from", description="The older one.")
    to: int | None = Field(None, ge=2, le=999, description="The newer one.")


class Reason(FileModel):
    """Why there is another sheet; nothing for the first."""

    reason: Note = ""


@router.post(
    "/revisions",
    summary="Issue the draft",
    **described(
        ClaimView, CLAIM, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 428, 503, 507,
        status=201, body=body_of(Reason, {"reason": "More dents under the arch liner."}),
    ),
)  # fmt: skip
def issue(
    request: Request,
    caller: Issuer,
    claim: ClaimId,
    query: Annotated[IssueQuery, Query()],
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """Price the draft and freeze it as the next revision: sheet, PDF and digest.

    From the second on it is a supplement and needs a reason; what it changes is frozen with it,
    and answers to lines that did not change are carried over.
    """

    def prepare() -> Act:
        reason = model_in(Reason, body).reason
        store = setup_of(request.app).store
        with store.reading() as connection:
            head = claim_for(connection, caller, claim)
            require_version(request, head)
            require_act(head, "issue")
            waits = waiting(connection, head)
            last = stored.revision_of(connection, head.id, head.revision)
        _require_reason(reason, head.revision)
        issued = made(
            waits,
            fresh_library(request.app),
            store,
            setup_of(request.app).key,
            paper=query.paper or (last.paper if last else "letter"),
            labels=query.labels or (last.labels if last else "us"),
            reason=reason,
        )

        def act(writing: Writing) -> Done:
            connection = writing.connection
            now = claim_for(connection, caller, claim)
            require_version(request, now)
            require_still(connection, now, waits)
            return shown_claim(writing, freeze(writing, waits, issued), caller, 201)

        return act

    return once(request, caller, body, prepare)


def require_still(connection: Connection, now: Head, waits: Waiting) -> None:
    """Raise Refusal (412) unless what was priced and drawn is still all that waits.

    If-Match may be *, and a photograph leaves the version as it is.
    """
    if now.version != waits.head.version:
        raise changed_since(now, etag(waits.head))
    if photographs.shown_of(connection, now.id) != waits.pictures:
        raise changed_since(now, "other photographs")


def _require_reason(reason: str, revision: int) -> None:
    """Raise Refusal for a supplement without a reason, or a first sheet with one."""
    if bool(reason.strip()) == bool(revision):
        return
    found, expected = ("no reason", "why there is a supplement")
    if reason.strip():
        found, expected = (shown(reason), "nothing: the first sheet is no supplement")
    entry = at("body", ("reason",), found, expected)
    raise Refusal("invalid-request", f"The reason: found {found}, expected {expected}.", [entry])


@router.get(
    "/revisions",
    summary="The revisions of a claim",
    **described(RevisionList, REVISIONS, 401, 403, 404, 503),
)
def list_revisions(request: Request, caller: Reader, claim: ClaimId) -> Response:
    """Every sheet that was issued, oldest first."""
    with setup_of(request.app).store.reading() as connection:
        views = revision_views(connection, claim_for(connection, caller, claim))
    return response_of(json_reply(view_text(RevisionList(revisions=views))))


@router.get(
    "/revisions/{number}",
    summary="A sheet as it was issued",
    response_class=Response,
    responses={
        200: {
            "description": "The claim sheet, byte for byte as it was issued.",
            "content": {
                JSON: {"schema": component("ClaimSheet")},
                PDF: {"schema": {"type": "string", "format": "binary"}},
            },
        },
        **problem_responses(401, 403, 404, 406, 410, 503),
    },
)
def show_sheet(
    request: Request, caller: Reader, claim: ClaimId, number: RevisionNumber
) -> Response:
    """The sheet as JSON, or as PDF where the Accept header prefers that."""
    form = _form(request)
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        revision = revision_for(connection, head, number)
        key = revision.pdf if form == PDF else revision.sheet
        data = contents.content(connection, claim, key)
    return _frozen(request, data, form, key, file_name(f"claim-r{number}", head.number))


@router.get(
    "/changes",
    summary="What a supplement changes",
    response_class=Response,
    responses={
        200: {
            "description": "Old, new and difference of every line that changed.",
            "content": {
                JSON: {"schema": {"type": "object"}, "example": {"reason": "", "panels": []}},
                PDF: {"schema": {"type": "string", "format": "binary"}},
            },
        },
        **problem_responses(401, 403, 404, 406, 410, 422, 503),
    },
)
def show_changes(
    request: Request,
    caller: Reader,
    claim: ClaimId,
    query: Annotated[ChangesQuery, Query()],
) -> Response:
    """The difference by panel and line between two revisions.

    Against the one before it is what was frozen when the supplement was issued.
    """
    form = _form(request)
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        newer = query.to or (head.revision if query.since is None else query.since + 1)
        older = query.since or newer - 1
        if older >= newer or newer < 2:
            detail = "There is no supplement yet." if head.revision < 2 else "The newer one is to."
            entry = at("query", ("to",), str(newer), "a revision after the other")
            raise Refusal("no-such-revision", detail, [entry])
        pair = [revision_for(connection, head, each) for each in (older, newer)]
        name = file_name(f"changes-r{older}-r{newer}", head.number)
        if head.forgotten is not None:
            raise forgotten()
        frozen = pair[1].changes_pdf if form == PDF else pair[1].changes
        if older == newer - 1 and frozen is not None:
            data = contents.content(connection, claim, frozen)
            return _frozen(request, data, form, frozen, name)
        sheets = [stored.sheet_of(connection, claim, each) for each in pair]
        reason = contents.text_content(connection, claim, pair[1].reason)
    first, last = pair
    data = changes_in(
        "pdf" if form == PDF else "json",
        (sheets[0], sheets[1]),
        reason,
        paper=last.paper,
        labels=last.labels,
        versions=(first.version, last.version),
    )
    return _frozen(request, data, form, contents.sha256(data), name)


def _form(request: Request) -> str:
    accept = ", ".join(request.headers.getlist("accept"))
    form = preferred(accept, (JSON, PDF))
    if form is None:
        entry = at("header", ("Accept",), shown(accept), f"{JSON} or {PDF}")
        raise Refusal("not-acceptable", f"The Accept header is {shown(accept)}.", [entry])
    return form


def _frozen(request: Request, data: bytes | None, form: str, key: str, name: str) -> Response:
    """Bytes that never change, tagged by their hash. Raises Refusal (410) if forgotten."""
    if data is None:
        raise forgotten()
    tag = f'"{key}"'
    headers: dict[str, Any] = {"ETag": tag, "Vary": "Accept"}
    if unchanged(request, tag):
        return Response(status_code=304, headers=headers)
    if form == PDF:
        headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return Response(data, media_type=form, headers=headers)
