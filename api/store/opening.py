"""Finding the database, opening it and bringing it up to date.

By default a SQLite file in the data folder: write-ahead log, full sync, foreign keys on, and
deleted content overwritten, so that what was forgotten is not left in free pages. A URL of
PostgreSQL serves several servers at once. Photographs are files in the data folder either way.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import ConnectionPoolEntry

from api.store.faults import FAULTS, StoreFault, told_apart
from api.store.session import LOCK, Store
from hailcalc.problems import InputError, Problem

DATABASE = "claims.sqlite3"
BUSY_MS = 5_000
"""How long a write waits for another before it gives up."""

STATEMENT_MS = 20_000


def data_folder() -> Path:
    """Where a store lies: $HAILCALC_DATA, else ./hailcalc-data."""
    return Path(os.environ.get("HAILCALC_DATA") or "hailcalc-data")


def database_url() -> str | None:
    """A database named by $HAILCALC_DATABASE_URL; None for the file in the data folder."""
    return os.environ.get("HAILCALC_DATABASE_URL") or None


def open_store(
    folder: Path, url: str | None = None, *, create: bool = True, busy_ms: int = BUSY_MS
) -> Store:
    """The store of a data folder, made or brought up to date. Raises InputError if it cannot be.

    Without `create` a folder that has no store is a mistake, rather than a new one. A write waits
    `busy_ms` for others before it gives up.
    """
    place = str(folder) if url is None else "HAILCALC_DATABASE_URL"
    address = _address(folder, url)
    if url is None and not create and not (folder / DATABASE).is_file():
        raise InputError([Problem(place, (), "no store", f"a folder with {DATABASE}")])
    _prepare_folder(folder)
    try:
        with told_apart():
            if url is None:
                _prepare_file(folder / DATABASE)
            engine = _engine(address, busy_ms)
            _migrate(engine)
    except StoreFault as fault:
        expected = "a database and a folder to write to"
        raise InputError([Problem(place, (), fault.words.rstrip("."), expected)]) from None
    return Store(engine, folder / "photographs")


def _prepare_folder(folder: Path) -> None:
    """Folders that only their owner can look into. Raises InputError if they cannot be made."""
    for each in (folder, folder / "photographs"):
        try:
            each.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            taken = isinstance(error, FileExistsError | NotADirectoryError)
            found = "a file" if taken else (error.strerror or "an error").lower()
            raise InputError([Problem(str(each), (), found, "a folder to write to")]) from None


def _prepare_file(database: Path) -> None:
    """A database file that only its owner can read, before anything is in it.

    SQLite gives the log of writes and its index beside it the mode of the file, and people's names
    lie in them as well.
    """
    if not database.exists():
        os.close(os.open(database, os.O_CREAT | os.O_WRONLY, 0o600))
    for name in ("", "-wal", "-shm"):
        path = database.with_name(database.name + name)
        if path.is_file() and path.stat().st_mode & 0o077:
            path.chmod(0o600)


def _address(folder: Path, url: str | None) -> URL:
    """Where SQLAlchemy finds the database. Raises InputError without telling a password."""
    if url is None:
        return URL.create("sqlite", database=str(folder / DATABASE))
    problem = Problem(
        "HAILCALC_DATABASE_URL", (), "another address", "postgresql://user@host/database"
    )
    try:
        given = make_url(url)
    except (ArgumentError, ValueError):
        raise InputError([problem]) from None
    if given.drivername not in ("postgresql", "postgres", "postgresql+psycopg"):
        raise InputError([problem])
    return given.set(drivername="postgresql+psycopg")


def _engine(address: URL, busy_ms: int) -> Engine:
    if address.get_backend_name() == "postgresql":
        options = f"-c lock_timeout={busy_ms} -c statement_timeout={STATEMENT_MS}"
        return sa.create_engine(
            address,
            hide_parameters=True,
            pool_pre_ping=True,
            pool_size=10,
            max_overflow=10,
            pool_timeout=10,
            connect_args={"connect_timeout": 3, "options": options},
        )
    engine = sa.create_engine(
        address,
        hide_parameters=True,  # an error is printed somewhere, and rows name persons
        pool_timeout=10,
        connect_args={"timeout": busy_ms / 1000, "isolation_level": None},
    )
    sa.event.listen(engine, "connect", _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _: ConnectionPoolEntry) -> None:
    assert isinstance(connection, sqlite3.Connection)
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "secure_delete = ON",
        "recursive_triggers = ON",  # else INSERT OR REPLACE deletes past the triggers
        "trusted_schema = OFF",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    """Begin by hand, since the driver would begin only before the first write.

    A writer takes the lock at once: what it reads is then what it goes on from.
    """
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _migrate(engine: Engine) -> None:
    """Bring the tables up to date; of two servers that start together one waits.

    A database that is up to date is only read, so looking at it waits for nobody.
    """
    if _step_of(engine) == _steps()[-1]:
        return
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(LOCK)))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _steps() -> list[str]:
    """The steps that this version knows, in order."""
    folder = Path(__file__).parent / "migrations" / "versions"
    return sorted(path.stem.partition("_")[0] for path in folder.glob("s*_*.py"))


def _step_of(engine: Engine) -> str | None:
    """The step that a database is at; None for an empty one.

    Raises StoreFault if a later version of the program has already been at it.
    """
    with engine.connect() as connection, connection.begin():
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        step: sa.ColumnElement[str] = sa.column("version_num", sa.String)
        version = sa.select(step).select_from(sa.table("alembic_version"))
        present: str | None = connection.scalar(version)
    if present is not None and present not in _steps():
        raise StoreFault("broken", f'{FAULTS["broken"].words} It is at step "{present}".')
    return present
