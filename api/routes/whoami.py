"""Whose token it is: what a page asks before it knows which claim it may show."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends
from starlette.responses import Response

from api.auth import caller_of
from api.replying import json_reply, response_of
from api.routing import described
from api.store.tokens import ALL_SCOPES, Caller, Role, Scope
from api.views import View, view_text

router = APIRouter(prefix="/v1/token", tags=["service"])

EXAMPLE: dict[str, Any] = {
    "role": "adjuster",
    "scopes": ["read", "answer"],
    "claim": "c7k2m9pq4xya",
    "name": "R. Tallow",
}


class TokenView(View):
    """A token: what it allows, and the only claim that it opens if it is an adjuster's."""

    role: Role
    scopes: list[Scope]
    claim: str | None
    name: str


@router.get("", summary="What this token is", **described(TokenView, EXAMPLE, 401, 503))
def show_token(caller: Annotated[Caller, Depends(caller_of)]) -> Response:
    """The role, scopes and claim of the token that is shown."""
    scopes = [scope for scope in ALL_SCOPES if scope in caller.scopes]
    view = TokenView(role=caller.role, scopes=scopes, claim=caller.claim, name=caller.name)
    return response_of(json_reply(view_text(view)))
