"""Who is asking, and what they may do.

A caller shows a token as `Authorization: Bearer …`. Each route names the scope that it needs
(`allowed`), and whether it is for the shop alone; an adjuster's link opens one claim, and every
other is to it as if it were not there. Nothing but the routes listed as open answers without.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from api.problems import Refusal, at
from api.state import setup_of
from api.store import tokens
from api.store.session import now_text
from api.store.tokens import SCOPES, Caller, Scope

HERE = "this-machine"
"""Who the log names for the token that is made when a server starts without any."""

_bearer = HTTPBearer(
    auto_error=False,
    scheme_name="token",
    description="A token of the shop (`hailcalc token add`), or that of an adjuster's link.",
)


def secret_of(request: Request) -> str | None:
    """The token that a request shows."""
    given = request.headers.getlist("authorization")
    scheme, _, secret = given[0].partition(" ") if len(given) == 1 else ("", "", "")
    return secret.strip() if scheme.lower() == "bearer" and secret.strip() else None


def caller_of(
    request: Request,
    _: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)] = None,
) -> Caller:
    """Who asks. Raises Refusal (401) without a token that opens something now."""
    secret = secret_of(request)
    if secret is None:
        found = "nothing of use" if "authorization" in request.headers else "nothing"
        raise _unknown("no-token", "This needs a token.", found)
    setup = setup_of(request.app)
    if setup.here is not None and tokens.hash_of(secret) == setup.here:
        return _shown(request, Caller(HERE, "owner", frozenset(SCOPES["owner"]), None, ""))
    with setup.store.reading() as connection:
        grant = tokens.find(connection, secret)
    if grant is None:
        raise _unknown("unknown-token", "This token is not known here.", "a token unknown here")
    if grant.revoked is not None:
        raise _unknown("unknown-token", "This token was revoked.", "a revoked token")
    if grant.until <= now_text():
        day = grant.until[:10]
        raise _unknown("unknown-token", f"This token ended on {day}.", f"a token that ended {day}")
    scopes = frozenset(grant.scopes)
    return _shown(request, Caller(grant.id, grant.role, scopes, grant.claim, grant.name))


def _shown(request: Request, caller: Caller) -> Caller:
    """The caller, named for the log of requests."""
    request.scope.setdefault("state", {})["token"] = caller.token
    return caller


def _unknown(kind: str, detail: str, found: str) -> Refusal:
    entry = at("header", ("Authorization",), found, "Bearer and a token that is in force")
    return Refusal(kind, detail, [entry], {"WWW-Authenticate": "Bearer"})


def allowed(*scopes: Scope, shop: bool = False) -> Callable[..., Caller]:
    """A dependency: the caller, who has one of the scopes and, for `shop`, is no adjuster."""

    def check(caller: Annotated[Caller, Depends(caller_of)]) -> Caller:
        if caller.scopes.isdisjoint(scopes) or (shop and caller.role == "adjuster"):
            wanted = " or ".join(f'"{scope}"' for scope in scopes)
            found = f"a token of an {caller.role}, for {', '.join(sorted(caller.scopes))}"
            expected = f"one for {wanted}" + (" of the shop" if shop else "")
            entry = at("header", ("Authorization",), found, expected)
            raise Refusal("not-allowed", "This token does not allow it.", [entry])
        return caller

    return check


Reader = Annotated[Caller, Depends(allowed("read"))]
"""The shop, or the adjuster of the claim."""

ShopReader = Annotated[Caller, Depends(allowed("read", shop=True))]
Owner = Annotated[Caller, Depends(allowed("manage"))]
"""Whoever the shop's money is shown to: the scope that the owner alone has."""

Writer = Annotated[Caller, Depends(allowed("write"))]
Issuer = Annotated[Caller, Depends(allowed("issue"))]
Answerer = Annotated[Caller, Depends(allowed("answer"))]
EitherSide = Annotated[Caller, Depends(allowed("issue", "answer"))]
"""Whoever may speak for a side."""
