"""What the adjuster answered, part by part, and what both sides agreed to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store import contents
from api.store.log import note
from api.store.session import Writing
from api.store.tables import agreements, answers, tokens
from hailcalc.claim.answers import Given, LineAnswer, effective
from hailcalc.claim.life import Side
from hailcalc.fields import as_json


class Part(NamedTuple):
    """One part of an answer to a revision, as it came in; its reasons may be forgotten."""

    part: int
    at: str
    who: str
    name: str
    carried_from: int | None
    lines: tuple[LineAnswer, ...]


class Agreement(NamedTuple):
    """One side's word to a settlement."""

    number: int
    revision: int
    side: Side
    settlement: str
    at: str
    who: str
    name: str


def add_answers(
    writing: Writing,
    claim: str,
    revision: int,
    given: Sequence[LineAnswer],
    carried_from: int | None = None,
) -> int:
    """Keep a part of an answer; returns its number."""
    connection = writing.connection
    of_revision = (answers.c.claim == claim) & (answers.c.revision == revision)
    part = (connection.scalar(sa.select(sa.func.max(answers.c.part)).where(of_revision)) or 0) + 1
    key = contents.keep_json(writing, claim, [as_json(each) for each in given])
    connection.execute(
        sa.insert(answers).values(
            claim=claim,
            revision=revision,
            part=part,
            lines=key,
            carried_from=carried_from,
            at=writing.at,
            who=writing.who,
        )
    )
    act = "lines answered" if carried_from is None else "answers carried"
    told = {"revision": revision, "part": part, "lines": key, "answered": len(given)}
    if carried_from is not None:
        told["carried_from"] = carried_from
    note(writing, act, claim, told)
    return part


def parts_of(connection: Connection, claim: str, revision: int) -> list[Part]:
    """Every part of the answer to a revision, oldest first."""
    query = (
        sa.select(answers, tokens.c.name)
        .join(tokens, tokens.c.id == answers.c.who, isouter=True)
        .where(answers.c.claim == claim, answers.c.revision == revision)
        .order_by(answers.c.part)
    )
    return [
        Part(
            row.part,
            row.at,
            row.who,
            row.name or "",
            row.carried_from,
            _lines(contents.json_content(connection, claim, row.lines)),
        )
        for row in connection.execute(query)
    ]


def _lines(kept: Any) -> tuple[LineAnswer, ...]:
    assert isinstance(kept, list), "forgotten answers have others without reasons instead"
    return tuple(LineAnswer.model_validate(each) for each in kept)


def given_to(connection: Connection, claim: str, revision: int) -> Mapping[int, Given]:
    """The answer that counts for each line of a revision that has one."""
    return given_in(parts_of(connection, claim, revision))


def given_in(parts: Sequence[Part]) -> Mapping[int, Given]:
    """The answer that counts for each line after these parts."""
    return effective(
        Given(part.part, line, part.at, part.name, part.carried_from)
        for part in parts
        for line in part.lines
    )


def add_agreement(writing: Writing, claim: str, revision: int, side: Side, settled: str) -> None:
    """One side agrees to a settlement."""
    connection = writing.connection
    query = sa.select(sa.func.max(agreements.c.number)).where(agreements.c.claim == claim)
    row = {
        "claim": claim,
        "number": (connection.scalar(query) or 0) + 1,
        "revision": revision,
        "side": side,
        "settlement": settled,
    }
    connection.execute(sa.insert(agreements).values(row | {"at": writing.at, "who": writing.who}))
    told = {key: row[key] for key in ("number", "revision", "side", "settlement")}
    note(writing, "agreed", claim, told)


def agreements_of(connection: Connection, claim: str, revision: int) -> list[Agreement]:
    """What was agreed to about a revision, oldest first."""
    query = (
        sa.select(agreements, tokens.c.name)
        .join(tokens, tokens.c.id == agreements.c.who, isouter=True)
        .where(agreements.c.claim == claim, agreements.c.revision == revision)
        .order_by(agreements.c.number)
    )
    names = Agreement._fields
    return [
        Agreement(**{name: row._mapping[name] for name in names[:-1]}, name=row.name or "")
        for row in connection.execute(query)
    ]
