"""Bytes of a claim by their SHA-256: the one place for free text and what names a person."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store.session import Writing
from api.store.tables import contents, replacements
from hailcalc.reading import load_json

JSON = "application/json"
PDF = "application/pdf"
TEXT = "text/plain"


def sha256(data: bytes) -> str:
    """The SHA-256 of bytes, in hex."""
    return hashlib.sha256(data).hexdigest()


def keep(writing: Writing, claim: str, data: bytes, media_type: str) -> str:
    """Keep bytes of a claim, once; returns their hash."""
    key = sha256(data)
    connection = writing.connection
    if _row(connection, claim, key) is None:
        connection.execute(
            sa.insert(contents).values(claim=claim, hash=key, media_type=media_type, data=data)
        )
    return key


def keep_json(writing: Writing, claim: str, value: Any) -> str:
    """Keep a JSON value of a claim; returns the hash of its text."""
    return keep(writing, claim, json_bytes(value), JSON)


def keep_text(writing: Writing, claim: str, text: str) -> str | None:
    """Keep a text of a claim; None for an empty one."""
    return keep(writing, claim, text.encode(), TEXT) if text else None


def json_bytes(value: Any) -> bytes:
    """JSON as it is kept: keys in the order that they have, no spaces to argue about."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()


def content(connection: Connection, claim: str, key: str | None) -> bytes | None:
    """The bytes with this hash, or those in their place; None if they were forgotten."""
    if key is None:
        return None
    row = _row(connection, claim, key)
    if row is None:
        return content(connection, claim, _instead(connection, claim, key))
    return bytes(row.data)


def json_content(connection: Connection, claim: str, key: str) -> Any:
    """The JSON value with this hash, decimals exact; None if it was forgotten."""
    data = content(connection, claim, key)
    return None if data is None else load_json(data.decode(), "the store")


def text_content(connection: Connection, claim: str, key: str | None) -> str:
    """The text with this hash; empty if there is none or it was forgotten."""
    return (content(connection, claim, key) or b"").decode()


def _row(connection: Connection, claim: str, key: str) -> sa.Row[Any] | None:
    query = sa.select(contents.c.data).where(contents.c.claim == claim, contents.c.hash == key)
    return connection.execute(query).first()


def _instead(connection: Connection, claim: str, key: str) -> str | None:
    """What stands in the place of forgotten content."""
    query = sa.select(replacements.c.instead)
    return connection.scalar(query.where(replacements.c.claim == claim, replacements.c.hash == key))
