"""The log: every write with who, when and what, each entry hashed with the one before.

An entry's hash is SHA-256 over the RFC 8785 canonical form of its other fields, the hash before
included. So no entry can be changed, taken out or put in without every later hash changing; that
the last ones were cut off shows only against a hash that somebody noted. Details are hashes,
numbers and sums, never text that people typed.
"""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, RowMapping

from api.store.session import Writing
from api.store.tables import log
from hailcalc.sheet.document import digest

FIRST = "0" * 64
"""What stands before the first entry."""


def head(connection: Connection) -> tuple[int, str]:
    """Number and hash of the last entry; (0, FIRST) for an empty log."""
    last = sa.select(log.c.seq, log.c.hash).order_by(log.c.seq.desc()).limit(1)
    row = connection.execute(last).first()
    return (0, FIRST) if row is None else (row.seq, row.hash)


def note(writing: Writing, act: str, claim: str | None, details: dict[str, Any]) -> None:
    """Add an entry to the log; it stands or falls with what else the transaction writes."""
    seq, before = head(writing.connection)
    entry = {
        "seq": seq + 1,
        "at": writing.at,
        "who": writing.who,
        "act": act,
        "claim": claim,
        "details": details,
        "before": before,
    }
    row = entry | {"details": json.dumps(details, sort_keys=True), "hash": digest(entry)}
    writing.connection.execute(sa.insert(log).values(row))


def entry_of(row: RowMapping) -> dict[str, Any]:
    """A row as an entry with its hash."""
    names = ("seq", "at", "who", "act", "claim", "before", "hash")
    return {name: row[name] for name in names} | {"details": json.loads(row["details"])}


def of_claim(connection: Connection, claim: str) -> list[dict[str, Any]]:
    """The entries about a claim, oldest first."""
    rows = connection.execute(sa.select(log).where(log.c.claim == claim).order_by(log.c.seq))
    return [entry_of(row) for row in rows.mappings()]
