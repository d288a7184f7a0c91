"""Links for adjusters: one claim, an end date, no account."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request
from pydantic import Field
from starlette.responses import Response

from api.auth import Issuer
from api.examples import LINKS, NEW_LINK
from api.found import ClaimId, claim_for, require_act
from api.intake import json_body, model_in
from api.problems import Refusal, at
from api.replying import Act, Done, json_reply, once, response_of
from api.responses import problem_responses
from api.routing import body_of, described
from api.state import setup_of
from api.store import tokens
from api.store.ids import PATTERN
from api.store.session import Writing
from api.texts import saying
from api.versions import require_version
from api.views import LinkList, NewLink, link_view, view_text
from hailcalc.fields import FileModel, Title

router = APIRouter(prefix="/v1/claims/{claim}/links", tags=["links"])

LinkId = Annotated[str, Path(pattern=PATTERN, examples=["m4q8v2n7c3hd"])]


class LinkFor(FileModel):
    """For whom a link is, and for how many days."""

    name: Annotated[
        Title,
        Field(description="The adjuster; shown beside every answer."),
        saying("a name, which is shown beside every answer"),
    ]
    days: Annotated[int, Field(strict=True, ge=1, le=365)] = 30


@router.post(
    "",
    summary="Give an adjuster a link",
    **described(
        NewLink, NEW_LINK, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 503, 507,
        status=201, body=body_of(LinkFor, {"name": "R. Tallow", "days": 30}),
    ),
)  # fmt: skip
def give_link(
    request: Request,
    caller: Issuer,
    claim: ClaimId,
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """A link that opens this claim to whoever has it, until it ends or is revoked.

    Its token stands after the #, which browsers do not send and servers do not log. It is shown
    this once; the store keeps its hash.
    """

    def prepare() -> Act:
        wanted = model_in(LinkFor, body)
        until = datetime.now(UTC) + timedelta(days=wanted.days)
        address = setup_of(request.app).address or str(request.base_url).rstrip("/")

        def act(writing: Writing) -> Done:
            head = claim_for(writing.connection, caller, claim)
            require_version(request, head, required=False)
            require_act(head, "link")
            grant, secret = tokens.add(writing, "adjuster", wanted.name, until, claim=claim)
            shown = link_view(grant).model_dump()
            view = NewLink(**shown, token=secret, address=f"{address}/answer#{secret}")
            return Done(json_reply(view_text(view), 201), claim)

        return act

    return once(request, caller, body, prepare)


@router.get("", summary="The links of a claim", **described(LinkList, LINKS, 401, 403, 404, 503))
def list_links(request: Request, caller: Issuer, claim: ClaimId) -> Response:
    """Every link that was given, newest first."""
    with setup_of(request.app).store.reading() as connection:
        claim_for(connection, caller, claim)
        links = [link_view(grant) for grant in tokens.grants(connection, claim)]
    return response_of(json_reply(view_text(LinkList(links=links))))


@router.delete(
    "/{link}",
    summary="Revoke a link",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "It opens nothing any more."},
        **problem_responses(401, 403, 404, 412, 503, 507),
    },
)
def revoke_link(request: Request, caller: Issuer, claim: ClaimId, link: LinkId) -> Response:
    """Let a link open nothing from now on. Revoking it again changes nothing."""
    with setup_of(request.app).store.writing(caller.token) as writing:
        head = claim_for(writing.connection, caller, claim)
        require_version(request, head, required=False)
        if not tokens.revoke(writing, link, claim):
            entry = at("path", ("link",), link, "a link of this claim")
            raise Refusal("no-such-link", f'There is no link "{link}".', [entry])
    return Response(status_code=204)
