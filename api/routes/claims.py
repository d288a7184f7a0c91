"""Claims in the store: opened, found, drafted, withdrawn."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from api.auth import Issuer, Reader, ShopReader, Writer
from api.claims import component
from api.examples import CLAIM, CLAIM_PAGE, DRAFT, HISTORY
from api.found import ClaimId, claim_for, require_act
from api.intake import claim_in, json_body, model_in
from api.issuing import estimated, waiting
from api.problems import Refusal, at
from api.replying import Act, Done, json_reply, once, response_of
from api.routes.price import EXAMPLE
from api.routing import body_of, described
from api.state import fresh_library, setup_of
from api.store import claims as stored
from api.store import log
from api.store.claims import Head, Wanted
from api.store.session import Writing
from api.store.tokens import Caller
from api.texts import saying
from api.versions import etag, require_version, unchanged
from api.views import (
    ClaimPage,
    ClaimView,
    DraftView,
    EventView,
    History,
    claim_view,
    item,
    view_text,
)
from hailcalc.claim.life import State
from hailcalc.fields import Day, FileModel, Name, Note
from hailcalc.problems import shown

router = APIRouter(prefix="/v1/claims", tags=["claims"])

_LINE = r"^[^\p{C}\p{Zl}\p{Zp}]*$"


class StormQuery(BaseModel):
    """What is said of a claim beside its file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    storm: Name | None = Field(None, description="The storm, such as alderbeck-2026-05.")


class ListQuery(BaseModel):
    """Which claims, and which page of them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    storm: Name | None = None
    insurer: Annotated[str, Field(max_length=200, pattern=_LINE)] | None = None
    state: State | None = None
    since: Day | None = Field(None, description="Date of loss from this day on.")
    until: Day | None = Field(None, description="Date of loss up to this day.")
    text: Annotated[str, Field(max_length=200, pattern=_LINE)] | None = Field(
        None, description="Words in number, insurer, customer, storm, VIN or description."
    )
    cursor: Annotated[str, Field(max_length=40)] | None = Field(
        None, description="`next` of the page before."
    )
    limit: int = Field(50, ge=1, le=200)


class Withdrawal(FileModel):
    """Why a claim ends."""

    reason: Annotated[Note, Field(min_length=1), saying("why the claim ends, in words")]


@router.post(
    "",
    summary="Open a claim",
    **described(
        ClaimView, CLAIM, 400, 401, 403, 413, 415, 422, 503, 507,
        status=201, body=body_of(component("ClaimFile"), EXAMPLE, "A claim file."),
    ),
)  # fmt: skip
def open_claim(
    request: Request,
    caller: Writer,
    query: Annotated[StormQuery, Query()],
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """Keep a claim file as the first draft of a new claim.

    The file must be sound by itself; whether a matrix can price it is said by the draft.
    """

    def prepare() -> Act:
        claim_file = claim_in(body)

        def act(writing: Writing) -> Done:
            head = stored.open_claim(writing, claim_file, query.storm)
            return shown_claim(writing, head, caller, 201)

        return act

    return once(request, caller, body, prepare)


@router.get(
    "",
    summary="Find claims",
    **described(ClaimPage, CLAIM_PAGE, 401, 403, 422, 503),
)
def list_claims(
    request: Request, caller: ShopReader, query: Annotated[ListQuery, Query()]
) -> Response:
    """Claims, newest first, a page at a time."""
    since = None if query.since is None else query.since.isoformat()
    until = None if query.until is None else query.until.isoformat()
    wanted = Wanted(query.storm, query.insurer, query.state, since, until, query.text)
    before = _place_in(query.cursor)
    with setup_of(request.app).store.reading() as connection:
        heads = stored.listed(connection, wanted, before, query.limit + 1)
        page = heads[: query.limit]
        items = [item(head, caller) for head in page]
    more = _cursor(page[-1]) if len(heads) > query.limit else None
    headers = {}
    if more is not None:
        url = request.url.include_query_params(cursor=more)
        headers["Link"] = f'<{url.path}?{url.query}>; rel="next"'
    return response_of(json_reply(view_text(ClaimPage(claims=items, next=more)), 200, headers))


def _cursor(head: Head) -> str:
    """Where a page ended, as text that says nothing."""
    return base64.urlsafe_b64encode(head.seq.to_bytes(8)).decode().rstrip("=")


def _place_in(cursor: str | None) -> int | None:
    if cursor is None:
        return None
    try:
        data = base64.b64decode(cursor + "=", altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        data = b""
    if len(data) != 8 or data[0] > 0x7F:
        entry = at("query", ("cursor",), shown(cursor), '"next" of the page before')
        raise Refusal("invalid-parameter", "The cursor is none of this server.", [entry])
    return int.from_bytes(data)


@router.get(
    "/{claim}",
    summary="One claim",
    **described(ClaimView, CLAIM, 401, 403, 404, 503),
)
def show_claim(request: Request, caller: Reader, claim: ClaimId) -> Response:
    """State, revisions, sums, and what there is to agree to. Its ETag is for If-Match."""
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        if unchanged(request, etag(head)):
            return Response(status_code=304, headers={"ETag": etag(head)})
        view = claim_view(connection, head, caller)
    return response_of(json_reply(view_text(view), 200, {"ETag": etag(head)}))


@router.get(
    "/{claim}/draft",
    summary="The draft that waits to be issued",
    **described(DraftView, DRAFT, 401, 403, 404, 410, 503),
)
def show_draft(request: Request, caller: Writer, claim: ClaimId) -> Response:
    """The claim file, and what it comes to under the matrices as they are now."""
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        waits = waiting(connection, head)
    currency, totals, problems = None, None, []
    try:
        estimate = estimated(fresh_library(request.app), waits, "")
        totals = estimate.totals.as_json(estimate.compiled.tables.decimals)
        currency = estimate.compiled.tables.currency
    except Refusal as refusal:
        problems = [mistake.as_json() for mistake in refusal.mistakes]
    draft = waits.draft
    view = DraftView(
        number=draft.number,
        saved=draft.at,
        storm=draft.storm,
        claim_file=draft.claim_file,
        currency=currency,
        totals=totals,
        problems=problems,
    )
    return response_of(json_reply(view_text(view), 200, {"ETag": etag(head)}))


@router.put(
    "/{claim}/draft",
    summary="Save the draft",
    **described(
        ClaimView, CLAIM, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 428, 503, 507,
        body=body_of(component("ClaimFile"), EXAMPLE, "A claim file."),
    ),
)  # fmt: skip
def save_draft(
    request: Request,
    caller: Writer,
    claim: ClaimId,
    query: Annotated[StormQuery, Query()],
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """Save the claim file anew; of an issued claim it is the draft of a supplement.

    Every draft that was saved is kept. Without `storm` the claim's own stays.
    """

    def prepare() -> Act:
        claim_file = claim_in(body)

        def act(writing: Writing) -> Done:
            head = claim_for(writing.connection, caller, claim)
            require_version(request, head)
            require_act(head, "save")
            head = stored.save_draft(writing, head, claim_file, query.storm or head.storm)
            return shown_claim(writing, head, caller)

        return act

    return once(request, caller, body, prepare)


@router.post(
    "/{claim}/withdrawal",
    summary="Withdraw a claim",
    **described(
        ClaimView, CLAIM, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 428, 503, 507,
        body=body_of(Withdrawal, {"reason": "The owner sold the vehicle as it is."}),
    ),
)  # fmt: skip
def withdraw_claim(
    request: Request,
    caller: Issuer,
    claim: ClaimId,
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """End a claim without an agreement, for good."""

    def prepare() -> Act:
        reason = model_in(Withdrawal, body).reason

        def act(writing: Writing) -> Done:
            head = claim_for(writing.connection, caller, claim)
            require_version(request, head)
            require_act(head, "withdraw")
            return shown_claim(writing, stored.withdraw(writing, head, reason), caller)

        return act

    return once(request, caller, body, prepare)


@router.get(
    "/{claim}/history",
    summary="What was done to a claim",
    **described(History, HISTORY, 401, 403, 404, 503),
)
def show_history(request: Request, caller: ShopReader, claim: ClaimId) -> Response:
    """The log's entries about a claim: who, when, what, each with its hash."""
    with setup_of(request.app).store.reading() as connection:
        claim_for(connection, caller, claim)
        entries = log.of_claim(connection, claim)
    names = EventView.model_fields
    events = [EventView(**{name: entry[name] for name in names}) for entry in entries]
    return response_of(json_reply(view_text(History(events=events))))


def shown_claim(writing: Writing, head: Head, caller: Caller, status: int = 200) -> Done:
    """A claim after a change, with its new ETag; where it is, if it is new."""
    headers = {"ETag": etag(head)}
    if status == 201:
        headers["Location"] = f"/v1/claims/{head.id}"
    text = view_text(claim_view(writing.connection, head, caller))
    return Done(json_reply(text, status, headers), head.id)
