"""Profiles of hypothesis: the same examples in every ordinary run, fresh ones when soaking.

And stores on both databases, for tests of the store and of the API.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from api.store.opening import open_store
from api.store.session import Store
from tests.databases import KINDS, PATIENCE_MS, new_database, postgres
from tests.effort import SOAK

settings.register_profile(
    "every-run",
    deadline=None,
    derandomize=not SOAK,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("every-run")


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """A PostgreSQL server for all tests of this process, started when the first one asks."""
    with postgres() as address:
        yield address


@pytest.fixture(params=KINDS)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """An empty store: what is said of one database is said of the other."""
    url = None
    if request.param == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
    opened = open_store(tmp_path / "data", url, busy_ms=PATIENCE_MS)
    yield opened
    opened.close()
