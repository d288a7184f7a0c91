"""Reading and writing in transactions.

`Store.reading` sees one state of the database throughout. `Store.writing` holds the one lock for
writers from its first statement on, so that a chain of hashes has no forks; it commits as a whole
when its block ends, and leaves nothing behind if the block raises. Writers wait their turn, so
whatever takes long (pricing, drawing) is done before.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from api.store.faults import told_apart

LOCK = 0x6861_696C
"""The number of PostgreSQL's advisory lock for writers ("hail" in ASCII)."""


def now_text(moment: datetime | None = None) -> str:
    """A moment, or now, as the store keeps it: 2026-05-21T14:03:05.120000Z."""
    moment = (moment or datetime.now(UTC)).astimezone(UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


@dataclass(frozen=True, slots=True)
class Writing:
    """A transaction that may write: who does it, and when."""

    connection: Connection
    who: str
    at: str


@dataclass(frozen=True, slots=True)
class Store:
    """A database that is open and up to date, and the folder of its photographs."""

    engine: Engine
    folder: Path

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One state of the database. Raises StoreFault."""
        options = {"isolation_level": "REPEATABLE READ"} if self._postgres else {}
        with (
            told_apart(),
            self.engine.connect().execution_options(**options) as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def writing(self, who: str) -> Iterator[Writing]:
        """A transaction that commits when the block ends. Raises StoreFault."""
        with (
            told_apart(),
            self.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            if self._postgres:
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(LOCK)))
            yield Writing(connection, who, now_text())

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    @property
    def _postgres(self) -> bool:
        return self.engine.dialect.name == "postgresql"
