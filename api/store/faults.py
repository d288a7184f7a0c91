"""What can be wrong with a database, told apart by what somebody can do about it.

`away` and `busy` pass by themselves, so the request is worth repeating; `full`, `read-only` and
`broken` need a hand. Nothing that a transaction wrote is left behind by any of them.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal, NamedTuple

from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeout

Kind = Literal["away", "busy", "full", "read-only", "broken"]


class StoreFault(Exception):
    """The database or the folder beside it cannot do what was asked; nothing was written."""

    def __init__(self, kind: Kind, words: str) -> None:
        self.kind = kind
        self.words = words
        super().__init__(words)


class Told(NamedTuple):
    """What a kind of fault is called, and seconds after which another attempt makes sense."""

    words: str
    retry_after: int | None


FAULTS: dict[Kind, Told] = {
    "away": Told("The database does not answer.", 5),
    "busy": Told("The database is locked by somebody else.", 2),
    "full": Told("There is no space left to write.", None),
    "read-only": Told("The database or its folder may only be read.", None),
    "broken": Told("The database is damaged or of another kind.", None),
}

_SQLITE: dict[int, Kind] = {
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_PERM: "read-only",
    sqlite3.SQLITE_CORRUPT: "broken",
    sqlite3.SQLITE_NOTADB: "broken",
    sqlite3.SQLITE_CANTOPEN: "away",
    sqlite3.SQLITE_IOERR: "away",
    sqlite3.SQLITE_PROTOCOL: "away",
}

_POSTGRES: dict[str, Kind] = {
    "53100": "full",  # disk_full
    "53200": "away",  # out_of_memory
    "53300": "away",  # too_many_connections
    "25006": "read-only",  # read_only_sql_transaction
    "42501": "read-only",  # insufficient_privilege
    "55P03": "busy",  # lock_not_available
    "57014": "busy",  # query_canceled, by the statement timeout
    "40001": "busy",  # serialization_failure
    "40P01": "busy",  # deadlock_detected
    "XX001": "broken",  # data_corrupted
    "XX002": "broken",  # index_corrupted
}
"""SQLSTATE codes (PostgreSQL documentation, appendix A)."""

_SYSTEM: dict[int, Kind] = {
    errno.ENOSPC: "full",
    errno.EDQUOT: "full",
    errno.EFBIG: "full",
    errno.EROFS: "read-only",
    errno.EACCES: "read-only",
    errno.EPERM: "read-only",
}


@contextmanager
def told_apart() -> Iterator[None]:
    """Turn errors of the database and of files into `StoreFault`s; our own mistakes pass."""
    try:
        yield
    except (DBAPIError, PoolTimeout) as error:
        kind = _kind(error)
        if kind is None:
            raise
        raise StoreFault(kind, FAULTS[kind].words) from error
    except OSError as error:
        kind = _SYSTEM.get(error.errno or 0, "away")
        raise StoreFault(kind, FAULTS[kind].words) from error


def _kind(error: SQLAlchemyError) -> Kind | None:
    """What sort of fault it is; None for a mistake of ours, such as a broken constraint."""
    if isinstance(error, PoolTimeout):
        return "busy"
    assert isinstance(error, DBAPIError)
    original = error.orig
    if isinstance(original, sqlite3.Error):
        code = getattr(original, "sqlite_errorcode", 0) & 0xFF
        return _SQLITE.get(code)
    state = getattr(original, "sqlstate", None)
    if state in _POSTGRES:
        return _POSTGRES[state]
    # 08: connection exceptions; 57P: the server is shutting down or starting.
    lost = error.connection_invalidated or state is None or state[:2] == "08" or state[:3] == "57P"
    from psycopg import InterfaceError, OperationalError

    return "away" if lost and isinstance(original, (OperationalError, InterfaceError)) else None
