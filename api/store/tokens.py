"""Tokens: who may come in, as what, until when.

A token is `hc_` and 32 random bytes in base64url; the store keeps its SHA-256 only (so much chance
needs no slow hash), and whoever made it sees it once. Scopes narrow what the role allows.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal, NamedTuple, get_args

import sqlalchemy as sa
from sqlalchemy.engine import Connection, RowMapping

from api.store.ids import new_id
from api.store.log import note
from api.store.session import Writing, now_text
from api.store.tables import tokens
from hailcalc.sheet.document import digest

Role = Literal["owner", "estimator", "adjuster"]
Scope = Literal["read", "write", "issue", "answer", "manage"]

SCOPES: dict[Role, tuple[Scope, ...]] = {
    "owner": ("read", "write", "issue", "manage"),
    "estimator": ("read", "write", "issue"),
    "adjuster": ("read", "answer"),
}
"""What each role may do at most.

`read` claims, `write` drafts and photographs, `issue` revisions, links and the shop's word,
`answer` as the adjuster of one claim, `manage` what the shop's storms earned.
"""

ALL_SCOPES: tuple[Scope, ...] = get_args(Scope)


class Caller(NamedTuple):
    """Somebody who showed a good token. `claim`: the only one that an adjuster may see."""

    token: str
    role: Role
    scopes: frozenset[Scope]
    claim: str | None
    name: str


class Grant(NamedTuple):
    """A token as lists show it; what it opens with is not known."""

    id: str
    role: Role
    scopes: tuple[Scope, ...]
    claim: str | None
    name: str
    created: str
    until: str
    revoked: str | None


def new_secret() -> str:
    """What somebody shows to come in."""
    return "hc_" + secrets.token_urlsafe(32)


def hash_of(secret: str) -> str:
    """What is kept of it."""
    return hashlib.sha256(secret.encode()).hexdigest()


def seal_of(row: Mapping[str, Any] | RowMapping) -> str:
    """What the log says of a token's name and secret without telling them.

    Nobody can try names against it without the hash of the secret, and that goes with the name.
    """
    return digest({"name": row["name"], "secret": row["secret"]})


def unname(writing: Writing, claim: str) -> dict[str, str]:
    """Forget for whom a claim's links were; returns their new seals."""
    connection = writing.connection
    seals = {}
    for token in connection.scalars(sa.select(tokens.c.id).where(tokens.c.claim == claim)).all():
        row = {"name": "", "secret": hash_of(new_secret())}
        connection.execute(sa.update(tokens).where(tokens.c.id == token).values(row))
        seals[token] = seal_of(row)
    return seals


def add(
    writing: Writing,
    role: Role,
    name: str,
    until: datetime,
    *,
    scopes: tuple[Scope, ...] | None = None,
    claim: str | None = None,
) -> tuple[Grant, str]:
    """A new token, and its secret, which is not to be had again."""
    secret = new_secret()
    allowed = SCOPES[role] if scopes is None else tuple(s for s in SCOPES[role] if s in scopes)
    grant = Grant(new_id(), role, allowed, claim, name, writing.at, now_text(until), None)
    row = grant._asdict() | {"scopes": " ".join(allowed), "secret": hash_of(secret)}
    writing.connection.execute(sa.insert(tokens).values(row))
    told = {"token": grant.id, "role": role, "scopes": list(allowed), "until": grant.until}
    told["seal"] = seal_of(row)
    note(writing, "token added" if claim is None else "link given", claim, told)
    return grant, secret


def revoke(writing: Writing, token: str, claim: str | None = None) -> bool:
    """Let a token (or a claim's link) open nothing from now on; False if there is none.

    One that is revoked already stays as it is.
    """
    query = sa.select(tokens).where(tokens.c.id == token)
    if claim is not None:
        query = query.where(tokens.c.claim == claim)
    row = writing.connection.execute(query).first()
    if row is None:
        return False
    if row.revoked is None:
        change = sa.update(tokens).where(tokens.c.id == token).values(revoked=writing.at)
        writing.connection.execute(change)
        act = "token revoked" if row.claim is None else "link revoked"
        note(writing, act, row.claim, {"token": token})
    return True


def grants(connection: Connection, claim: str | None = None) -> list[Grant]:
    """Every token of the shop, or every link of a claim, newest first."""
    query = sa.select(tokens).order_by(tokens.c.created.desc(), tokens.c.id)
    query = query.where(tokens.c.claim.is_(None) if claim is None else tokens.c.claim == claim)
    return [_grant(row) for row in connection.execute(query)]


def links(connection: Connection) -> list[Grant]:
    """Every link of every claim, newest first."""
    query = sa.select(tokens).where(tokens.c.claim.is_not(None))
    query = query.order_by(tokens.c.created.desc(), tokens.c.id)
    return [_grant(row) for row in connection.execute(query)]


def find(connection: Connection, secret: str) -> Grant | None:
    """The token that a secret belongs to, whether or not it still opens anything."""
    row = connection.execute(sa.select(tokens).where(tokens.c.secret == hash_of(secret))).first()
    return None if row is None else _grant(row)


def any_open(connection: Connection) -> bool:
    """Whether the shop has a token that opens something now."""
    query = sa.select(tokens.c.id).where(
        tokens.c.claim.is_(None), tokens.c.revoked.is_(None), tokens.c.until > now_text()
    )
    return connection.execute(query.limit(1)).first() is not None


def _grant(row: sa.Row[tuple[object, ...]]) -> Grant:
    found = row._mapping
    values = {name: found[name] for name in Grant._fields}
    scopes = tuple(scope for scope in ALL_SCOPES if scope in found["scopes"].split())
    return Grant(**values | {"scopes": scopes})
