"""A store that stops working while it is served: what is said, what is left, and that it goes on.

The faults are real ones of SQLite, PostgreSQL and the operating system, none of them played. Each
must end as a problem document, change neither a row nor the log, and be over once its cause is.
"""

from __future__ import annotations

import os
import resource
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
import sqlalchemy as sa

from api.store.audit import audit
from api.store.opening import DATABASE, open_store
from api.store.session import Store
from api.store.tokens import add
from hailcalc.problems import InputError
from tests.api.conftest import app_on, bearer, problem, serving
from tests.api.storehouse import PLAIN, issued, linked, opened, two_panels
from tests.api.test_claim_photographs import picture, sent
from tests.api.test_serving import posix, served
from tests.databases import PATIENCE_MS, new_database

Writes = list[Callable[[], httpx.Response]]


def every_write(shop: httpx.Client, claim: str, adjuster: dict[str, str]) -> Writes:
    """Requests that each would write something about a claim that is issued."""
    at = f"/v1/claims/{claim}"
    accept = {"revision": 1, "answers": [{"line": 1, "answer": "accept"}]}
    return [
        lambda: shop.post("/v1/claims", json=two_panels()),
        lambda: shop.put(f"{at}/draft", json=two_panels(), headers=PLAIN),
        lambda: shop.post(f"{at}/answers", json=accept, headers=PLAIN | adjuster),
        lambda: shop.post(f"{at}/revisions", json={"reason": "More."}, headers=PLAIN),
        lambda: shop.post(f"{at}/links", json={"name": "R. Tallow"}),
        lambda: sent(shop, claim, picture(shade=7)),
        lambda: shop.post(f"{at}/withdrawal", json={"reason": "Sold."}, headers=PLAIN),
    ]


def with_supplement(shop: httpx.Client) -> tuple[str, Writes]:
    """An issued claim with a draft that waits, so that every write makes sense."""
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    assert shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN).is_success
    return claim, every_write(shop, claim, adjuster)


def state_of(store: Store) -> tuple[Any, ...]:
    """Everything that a write could have changed: how many rows of each table, and the log."""
    looked = audit(store)
    assert looked.findings == ()
    return looked.entries, looked.rows, looked.head


def refused(writes: Writes, kind: str, status: int = 503) -> None:
    """Each write gets the problem document of a kind of fault, and is told nothing else."""
    for write in writes:
        answer = write()
        document = problem(answer, status)
        assert document["type"] == f"/problems/store-{kind}"
        assert "sql" not in answer.text.lower()
        assert ("retry-after" in answer.headers) == (kind in ("away", "busy"))


def done(writes: Writes) -> None:
    """Each write is done, one after the other."""
    for write in writes:
        assert write().status_code in (200, 201)


def on_postgres(url: str, *statements: str) -> None:
    """Carry out statements beside the application."""
    with psycopg.connect(url, autocommit=True) as connection:
        for statement in statements:
            connection.execute(statement.encode())


@pytest.fixture
def postgres_store(tmp_path: Path, postgres_server: str) -> Iterator[tuple[Store, str]]:
    """A store on PostgreSQL, and the address of its database."""
    url = new_database(postgres_server)
    store = open_store(tmp_path / "data", url, busy_ms=PATIENCE_MS)
    yield store, url
    store.close()


# --- SQLite -------------------------------------------------------------------------------------


def test_a_lock_held_elsewhere_refuses_every_write_and_no_reader(
    matrices: Path, tmp_path: Path
) -> None:
    store = open_store(tmp_path / "data", busy_ms=50)
    with serving(app_on(matrices, store)) as shop:
        claim, writes = with_supplement(shop)
        before = state_of(store)
        with closing(sqlite3.connect(tmp_path / "data" / DATABASE, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            refused(writes, "busy")
            assert shop.get(f"/v1/claims/{claim}").status_code == 200
        assert state_of(store) == before
        done(writes)
    assert audit(store).findings == ()
    store.close()


def limited(store: Store, pragma: str) -> None:
    """Open every connection anew, under a setting of SQLite."""
    store.engine.dispose()

    def limit(connection: Any, _: Any) -> None:
        connection.execute(f"PRAGMA {pragma}")

    sa.event.listen(store.engine, "connect", limit)


def test_a_database_that_may_only_be_read_refuses_every_write_and_goes_on(
    matrices: Path, tmp_path: Path
) -> None:
    store = open_store(tmp_path / "data")
    with serving(app_on(matrices, store)) as shop:
        claim, writes = with_supplement(shop)
        before = state_of(store)
        limited(store, "query_only = ON")
        refused(writes, "read-only")
        assert shop.get(f"/v1/claims/{claim}").status_code == 200
        limited(store, "query_only = OFF")
        assert state_of(store) == before
        done(writes)
    assert audit(store).findings == ()
    store.close()


def test_a_transaction_that_runs_out_of_space_halfway_is_undone(
    matrices: Path, tmp_path: Path
) -> None:
    """A few pages are left, so the first rows of an issue are written before the last is not.

    `max_page_count` is SQLite's own limit; beyond it a write ends as on a full disk (SQLITE_FULL).
    """
    store = open_store(tmp_path / "data")
    with serving(app_on(matrices, store)) as shop:
        _, writes = with_supplement(shop)
        before = state_of(store)
        with store.reading() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        for more in range(1, 12, 2):
            limited(store, f"max_page_count = {pages + more}")
            refused(writes[3:4], "full", 507)
            assert state_of(store) == before
        limited(store, "max_page_count = 1000000")
        done(writes)
    assert audit(store).findings == ()
    store.close()


def test_a_file_overwritten_while_it_is_served_is_found_broken(
    matrices: Path, tmp_path: Path
) -> None:
    store = open_store(tmp_path / "data")
    with serving(app_on(matrices, store)) as shop:
        _, writes = with_supplement(shop)
        before = state_of(store)
        store.close()  # so that the file is whole, without a log beside it
        whole = (tmp_path / "data" / DATABASE).read_bytes()
        (tmp_path / "data" / DATABASE).write_bytes(b"rubbish " * 10_000)
        refused(writes, "broken")
        document = problem(shop.get("/v1/health/ready"), 503)
        assert document["type"] == "/problems/store-broken"
        assert shop.get("/v1/health/alive").status_code == 200
        store.close()
        (tmp_path / "data" / DATABASE).write_bytes(whole)
        assert state_of(store) == before
        opened(shop)
    store.close()


# --- the operating system -----------------------------------------------------------------------


def owner_of(folder: Path) -> str:
    """An owner's token of a store that is made here."""
    store = open_store(folder)
    with store.writing("command-line") as writing:
        _, secret = add(writing, "owner", "Q", datetime.now(UTC) + timedelta(days=1))
    store.close()
    return secret


@posix
def test_a_file_that_may_not_grow_loses_nothing_and_goes_on(matrices: Path, tmp_path: Path) -> None:
    """A limit on the size of files, set on the server that runs."""
    secret = owner_of(tmp_path / "data")
    with (
        served(tmp_path, matrices) as server,
        httpx.Client(base_url=server.base, headers=bearer(secret), timeout=60) as shop,
    ):
        claim = opened(shop)["id"]
        _, most = resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (1_000, most))
        for answer in (
            sent(shop, claim, picture(size=(900, 900))),
            shop.post("/v1/claims", json=two_panels()),
        ):
            assert answer.status_code in (503, 507)
            assert answer.headers["content-type"] == "application/problem+json"
        assert shop.get(f"/v1/claims/{claim}/photographs").json() == {"photographs": []}
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (most, most))
        assert sent(shop, claim, picture(size=(900, 900))).status_code == 201
        opened(shop)
        assert server.end() == 0
    store = open_store(tmp_path / "data")
    assert audit(store).findings == ()
    assert list((tmp_path / "data").rglob(".hailcalc-*")) == []
    store.close()


NOBODY = 65_534


def told_when_opened_without_rights(data: Path) -> str:
    """What somebody is told who may read a store's folder and not write to it."""
    heard, said = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:  # root may write whatever the mode says
                os.setgroups([])
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            open_store(data)
        except InputError as error:
            os.write(said, str(error).encode())
        finally:
            os._exit(0)
    os.close(said)
    with os.fdopen(heard) as reader:
        told = reader.read()
    os.waitpid(child, 0)
    return told


@posix
def test_a_folder_without_the_right_to_write_is_said_and_left_alone() -> None:
    with tempfile.TemporaryDirectory() as place:
        data = Path(place) / "data"
        owner_of(data)
        modes = {Path(place): 0o755, data / "photographs": 0o555, data / DATABASE: 0o444}
        for path, mode in (modes | {data: 0o555}).items():
            path.chmod(mode)
        before = {path.name: path.stat().st_mtime_ns for path in data.iterdir()}
        told = told_when_opened_without_rights(data)
        assert "may only be read" in told
        assert {path.name: path.stat().st_mtime_ns for path in data.iterdir()} == before
        data.chmod(0o755)
        (data / DATABASE).chmod(0o600)
        store = open_store(data)
        assert audit(store).findings == ()
        store.close()


# --- PostgreSQL ---------------------------------------------------------------------------------


def test_a_database_that_may_only_be_read_refuses_every_write_and_no_reader(
    matrices: Path, postgres_store: tuple[Store, str]
) -> None:
    store, url = postgres_store
    name = store.engine.url.database
    with serving(app_on(matrices, store)) as shop:
        claim, writes = with_supplement(shop)
        before = state_of(store)
        on_postgres(url, f"ALTER DATABASE {name} SET default_transaction_read_only = on")
        store.close()  # settings of a database are those of new connections
        refused(writes, "read-only")
        assert shop.get(f"/v1/claims/{claim}").status_code == 200
        on_postgres(
            url,
            "SET default_transaction_read_only = off",
            f"ALTER DATABASE {name} RESET default_transaction_read_only",
        )
        store.close()
        assert state_of(store) == before
        done(writes)
    assert audit(store).findings == ()


WAITING = """
SELECT pid FROM pg_stat_activity
WHERE datname = current_database() AND wait_event_type = 'Lock' AND pid <> pg_backend_pid()
"""


@pytest.mark.parametrize(
    ("how", "kind"),
    [("pg_cancel_backend", "busy"), ("pg_terminate_backend", "away")],
    ids=["its statement is cancelled", "its connection is cut"],
)
def test_a_write_that_is_ended_by_the_server_has_written_nothing(
    matrices: Path, postgres_store: tuple[Store, str], how: str, kind: str
) -> None:
    """Cancelling is what the statement timeout does: SQLSTATE 57014."""
    store, url = postgres_store
    with serving(app_on(matrices, store)) as shop, ThreadPoolExecutor() as beside:
        claim, writes = with_supplement(shop)
        before = state_of(store)
        with psycopg.connect(url, autocommit=True) as look, psycopg.connect(url) as other:
            # What a write reaches after its first rows: the log.
            other.execute("LOCK TABLE log IN SHARE MODE")
            write = beside.submit(writes[1])
            found = None
            while found is None and not write.done():
                found = look.execute(WAITING).fetchone()
            assert found is not None, "the write did not wait"
            look.execute(f"SELECT {how}(%s)".encode(), found)
            refused([write.result], kind)
            assert shop.get(f"/v1/claims/{claim}").status_code == 200
        assert state_of(store) == before
        done(writes)
    assert audit(store).findings == ()


def test_connections_cut_while_nobody_asks_are_not_noticed(
    matrices: Path, postgres_store: tuple[Store, str]
) -> None:
    store, url = postgres_store
    cut = (
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    with serving(app_on(matrices, store)) as shop:
        claim = opened(shop)["id"]
        on_postgres(url, cut)
        assert shop.get(f"/v1/claims/{claim}").status_code == 200
        on_postgres(url, cut)
        opened(shop)
