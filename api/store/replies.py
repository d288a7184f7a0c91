"""What was answered to requests with an Idempotency-Key, so that repeating one is harmless.

A reply is written in the transaction of the write it answers, so there is never one without the
other. It is kept for some days, sealed with a key that comes from the caller's secret and their
Idempotency-Key, neither of which the store has: a new link's secret is not to be read from it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import sqlalchemy as sa
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from sqlalchemy.engine import Connection

from api.store.session import Writing, now_text
from api.store.tables import replies

KEPT = timedelta(days=7)


class Reply(NamedTuple):
    """An answer as it went out."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class Once(NamedTuple):
    """A request that is to have one effect: where its reply is kept, how it is sealed.

    `request` is a hash over everything that was asked; the same key with another is a mistake.
    """

    place: str
    seal: bytes
    request: str


def once(secret: str, key: str, request: bytes) -> Once:
    """The place of a request's reply, from the caller's secret and the Idempotency-Key."""
    both = secret.encode() + b"\n" + key.encode()
    seal = HKDF(SHA256(), 32, salt=None, info=b"hailcalc reply").derive(both)
    place = hashlib.sha256(b"hailcalc place\n" + both).hexdigest()
    return Once(place, seal, hashlib.sha256(request).hexdigest())


def kept(connection: Connection, wanted: Once) -> tuple[Reply, bool] | None:
    """The reply to an earlier request with the key, and whether that asked the same; or None."""
    since = now_text(datetime.now(UTC) - KEPT)
    query = sa.select(replies).where(replies.c.key == wanted.place, replies.c.at > since)
    row = connection.execute(query).first()
    if row is None:
        return None
    data = bytes(row.sealed)
    opened = AESGCM(wanted.seal).decrypt(data[:12], data[12:], row.request.encode())
    head, _, body = opened.partition(b"\n")
    told = json.loads(head)
    return Reply(told["status"], told["headers"], body), row.request == wanted.request


def keep(writing: Writing, wanted: Once, reply: Reply, claim: str | None) -> None:
    """Keep a reply, and drop those that nobody will ask for any more."""
    import secrets

    connection = writing.connection
    since = now_text(datetime.now(UTC) - KEPT)
    connection.execute(sa.delete(replies).where(replies.c.at <= since))
    head = json.dumps({"status": reply.status, "headers": dict(reply.headers)})
    nonce = secrets.token_bytes(12)
    text = head.encode() + b"\n" + reply.body
    sealed = nonce + AESGCM(wanted.seal).encrypt(nonce, text, wanted.request.encode())
    connection.execute(
        sa.insert(replies).values(
            key=wanted.place, request=wanted.request, claim=claim, sealed=sealed, at=writing.at
        )
    )
