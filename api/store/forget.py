"""Forgetting a person: their data and photographs go, sums and counts stay, the chain stays whole.

Rows hold hashes only, so nothing but `contents` has to go. Anonymous claim files, sheets and
answers are put in the place of those that named somebody; PDFs, reasons and notes leave nothing.
Everything happens in one transaction; photographs' files are unlinked after it, and forgetting
again finishes what was interrupted. PostgreSQL keeps deleted rows until its vacuum, and backups
and archives are outside of any store: those who keep them must see to them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store import claims as stored
from api.store import contents as kept
from api.store.faults import told_apart
from api.store.log import note
from api.store.photographs import path_of
from api.store.session import Store, Writing
from api.store.tables import (
    answers,
    claims,
    contents,
    drafts,
    photographs,
    replacements,
    replies,
    revisions,
    tokens,
    withdrawals,
)
from api.store.tokens import unname
from hailcalc.claim.anonymous import anonymous_answers, anonymous_claim, anonymous_sheet

FORGOTTEN = "forgotten"
"""The number of a claim whose person was forgotten."""

Change = Callable[[Any], Any]


class Forgotten(NamedTuple):
    """How much went: contents, of those with an anonymous one instead, links, files."""

    contents: int
    instead: int
    links: int
    files: int


def forget(store: Store, claim: str, who: str) -> Forgotten | None:
    """Forget a claim's person. None if there is no such claim. Raises StoreFault."""
    with store.writing(who) as writing:
        head = stored.head_of(writing.connection, claim)
        if head is None:
            return None
        replaced, revoked = ({}, []) if head.forgotten else _forget_rows(writing, claim)
    files = _unlink(store, claim, who)
    _sweep(store)
    instead = sum(key is not None for key in replaced.values())
    return Forgotten(len(replaced), instead, len(revoked), files)


def _forget_rows(writing: Writing, claim: str) -> tuple[dict[str, str | None], list[str]]:
    """Replace contents, revoke links, empty the head; returns what was replaced and revoked."""
    connection = writing.connection
    replaced: dict[str, str | None] = {}
    for key, change in _named(connection, claim):
        if key not in replaced:
            replaced[key] = _instead(writing, claim, key, change)
    replaced = {key: instead for key, instead in replaced.items() if instead != key}
    for key, instead in replaced.items():
        row = {"claim": claim, "hash": key, "instead": instead}
        made = {"at": writing.at, "who": writing.who}
        connection.execute(sa.insert(replacements).values(row | made))
        gone = (contents.c.claim == claim) & (contents.c.hash == key)
        connection.execute(sa.delete(contents).where(gone))
    revoked = _revoke_links(writing, claim)
    connection.execute(sa.delete(replies).where(replies.c.claim == claim))
    emptied = {"number": FORGOTTEN, "search": "", "forgotten": writing.at}
    connection.execute(sa.update(claims).where(claims.c.id == claim).values(emptied))
    told = {"replaced": replaced, "revoked": revoked, "seals": unname(writing, claim)}
    note(writing, "forgotten", claim, told)
    stored.refresh(writing, claim)
    return replaced, revoked


def _named(connection: Connection, claim: str) -> Iterator[tuple[str, Change | None]]:
    """Every content of a claim with what is made of it; None: nothing."""
    changes: tuple[tuple[sa.Column[Any], Change | None], ...] = (
        (drafts.c.claim_file, lambda file: anonymous_claim(file, FORGOTTEN)),
        (revisions.c.sheet, lambda sheet: anonymous_sheet(sheet, FORGOTTEN)),
        (answers.c.lines, anonymous_answers),
        (revisions.c.pdf, None),
        (revisions.c.changes, None),
        (revisions.c.changes_pdf, None),
        (revisions.c.reason, None),
        (withdrawals.c.reason, None),
        (photographs.c.note, None),
    )
    for column, change in changes:
        query = sa.select(column).where(column.table.c.claim == claim, column.is_not(None))
        for key in connection.scalars(query):
            yield key, change


def _instead(writing: Writing, claim: str, key: str, change: Change | None) -> str | None:
    """The hash of what stands in the place of a content; None for nothing."""
    value = None if change is None else kept.json_content(writing.connection, claim, key)
    if change is None or value is None:
        return None
    # Plain numbers, as the files have them, rather than the exact ones that reading gives.
    text = kept.content(writing.connection, claim, key) or b"null"
    return kept.keep_json(writing, claim, change(json.loads(text)))


def _revoke_links(writing: Writing, claim: str) -> list[str]:
    """Revoke every link of a claim; returns those just revoked."""
    connection = writing.connection
    of_claim = tokens.c.claim == claim
    still_open = sa.select(tokens.c.id).where(of_claim, tokens.c.revoked.is_(None))
    revoked = sorted(connection.scalars(still_open))
    change = sa.update(tokens).where(of_claim)
    connection.execute(change.where(tokens.c.revoked.is_(None)).values(revoked=writing.at))
    return revoked


def _unlink(store: Store, claim: str, who: str) -> int:
    """Unlink the files of photographs that no other claim has; nobody adds one meanwhile."""
    gone = 0
    with store.writing(who) as writing, told_apart():
        for sha256 in _only_here(writing.connection, claim):
            path = path_of(store, sha256)
            if path.is_file():
                path.unlink()
                gone += 1
    return gone


def _only_here(connection: Connection, claim: str) -> set[str]:
    """Hashes of photographs that belong to no claim that is not forgotten."""
    columns = (photographs.c.sha256, photographs.c.preview)
    mine = connection.execute(sa.select(*columns).where(photographs.c.claim == claim))
    others = connection.execute(
        sa.select(*columns)
        .join(claims, claims.c.id == photographs.c.claim)
        .where(claims.c.forgotten.is_(None))
    )
    return {key for row in mine for key in row} - {key for row in others for key in row}


def _sweep(store: Store) -> None:
    """Let the database drop old pages: SQLite's log of writes, PostgreSQL's dead rows."""
    with told_apart(), store.engine.connect() as connection:
        raw = connection.execution_options(isolation_level="AUTOCOMMIT")
        if store.engine.dialect.name == "sqlite":
            raw.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        else:
            for table in ("contents", "claims", "tokens", "replies"):
                raw.exec_driver_sql(f"VACUUM {table}")
