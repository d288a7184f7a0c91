"""A real server on a free port of this machine, over matrices made for these tests.

Minutes and dollars. Two grids' worth of figures, small enough to work out by hand.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI
from jsonschema import Draft202012Validator

from api.app import create_app
from api.responses import PROBLEM
from api.serve import listening_socket
from api.state import Setup
from api.store.opening import open_store
from api.store.session import Store
from api.store.tokens import hash_of

Claim = dict[str, Any]

OWN = """
[matrix]
name = "thistle-own"
title = "Thistle, own matrix"
revision = 2
currency = "USD"
effective = 2026-01-01
until = 2099-12-31
columns = ["dime", "quarter"]
cells = "minutes"
within_band = "flat"
stacking = "add"

[rates]
repair = "90.00"
removal = "60.00"

[[grid]]
name = "wide"
panels = ["hood", "roof"]
bands = [1, 3]
last = 6
rows = [[10, 20], [16, 32]]

[oversize]
minutes = "40"
minutes_per_mm = "2"

[[extra]]
id = "aluminium"
label = "Aluminium panel"
when = { metal = "aluminium" }
percent = "20"
"""
"""The shop's own matrix. Three dimes on a hood: 16 min at 90.00 an hour, 24.00.

It is in force today too, whenever that is: a page begins with the sizes for a loss of today.
"""


def agreed(name: str, insurer: str, first: str, rate: str = "120.00") -> str:
    """A matrix agreed with an insurer; a hood's first dime takes ten minutes here too."""
    return (
        OWN.replace("thistle-own", name)
        .replace("revision = 2", f'insurer = "{insurer}"')
        .replace("2026-01-01", first)
        .replace('"90.00"', f'"{rate}"')
    )


MATRICES = {
    "thistle-own": OWN,
    "marram-agreed": agreed("marram-agreed", "Marram Mutual", "2026-01-01"),
    "sorrel-spring": agreed("sorrel-spring", "Sorrel Assurance", "2026-01-01"),
    "sorrel-summer": agreed("sorrel-summer", "Sorrel Assurance", "2026-05-01"),
}
"""What the server's folder holds; Sorrel's two overlap from May on."""


def write_matrices(folder: Path, matrices: dict[str, str]) -> Path:
    for name, text in matrices.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


HERE = "hc_a-token-for-these-tests-0123456789"
"""What the client of these tests shows."""


def app_on(matrices: Path, store: Store, **more: Any) -> FastAPI:
    """An application over a store, which takes `HERE` for an owner's token."""
    return create_app(Setup(matrices=matrices, store=store, here=hash_of(HERE), **more))


def bearer(secret: str) -> dict[str, str]:
    """The header that shows a token."""
    return {"Authorization": f"Bearer {secret}"}


@contextmanager
def serving(app: FastAPI) -> Iterator[httpx.Client]:
    """The application behind a real socket, and a client for it that shows `HERE`."""
    with listening_socket(0) as listener:
        config = uvicorn.Config(app, lifespan="off", log_level="critical", access_log=False)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([listener],))
        thread.start()
        port = listener.getsockname()[1]
        try:
            # The socket listens already, so a request waits in its queue until all is up.
            with httpx.Client(
                base_url=f"http://127.0.0.1:{port}", timeout=60, headers=bearer(HERE)
            ) as client:
                yield client
        finally:
            server.should_exit = True
            thread.join()


@pytest.fixture(scope="session")
def matrices(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_matrices(tmp_path_factory.mktemp("matrices"), MATRICES)


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store for tests that keep nothing in it."""
    store = open_store(tmp_path_factory.mktemp("data"))
    yield store
    store.close()


@pytest.fixture(scope="session")
def client(matrices: Path, empty_store: Store) -> Iterator[httpx.Client]:
    with serving(app_on(matrices, empty_store)) as found:
        yield found


@pytest.fixture
def shop(matrices: Path, store: Store) -> Iterator[httpx.Client]:
    """The owner's client over an empty store, on both databases."""
    with serving(app_on(matrices, store)) as found:
        yield found


def three_dimes(**panel: Any) -> Claim:
    """A sedan with three dimes on its hood."""
    return {
        "claim": {"number": "T-7", "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "sedan"},
        "panels": [{"panel": "hood", "tally": {"dime": 3}} | panel],
    }


def with_claim(**keys: str) -> Claim:
    """The same with more in the claim's header."""
    claim = three_dimes()
    claim["claim"] |= keys
    return claim


def problem(response: httpx.Response, status: int) -> dict[str, Any]:
    """The problem document of an answer, which must be one of this status."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["x-content-type-options"] == "nosniff"
    document: dict[str, Any] = response.json()
    Draft202012Validator(PROBLEM).validate(document)
    assert document["status"] == status
    return document


def places(document: dict[str, Any]) -> list[tuple[str, str]]:
    """Where its mistakes are: (in, pointer)."""
    return [(entry["in"], entry["pointer"]) for entry in document["errors"]]


TRIM = (
    OWN
    + """
[[extra]]
id = "glue"
label = "Dents pulled with glue"
when = { access = "glue" }
percent = "50"

[[removal]]
id = "hood-liner"
label = "Hood liner"
minutes = "9"
opens = ["hood"]
fasteners = 10
caution = "heat"

[[removal]]
id = "visors"
label = "Sun visors"
minutes = "5"
caution = ["airbag", "glass"]

[[removal]]
id = "sunroof"
label = "Sunroof frame"
minutes = "20"
equipment = "sunroof"

[[removal]]
id = "headliner"
label = "Headliner lowered"
minutes = "30"
after = ["visors", "sunroof"]
opens = ["roof", "rail-l", "rail-r"]
"""
)
"""The same with trim to take off, and glue half as dear again.

Three dimes on a panel: pushed 24.00 in 16 min, glued 36.00 in 24 min. What comes off costs
1.00 a minute, so a hood is better pushed (33.00) and a roof better glued (pushed 59.00).
"""


@pytest.fixture(scope="session")
def trim_client(
    tmp_path_factory: pytest.TempPathFactory, empty_store: Store
) -> Iterator[httpx.Client]:
    folder = write_matrices(tmp_path_factory.mktemp("trim"), {"thistle-own": TRIM})
    with serving(app_on(folder, empty_store)) as found:
        yield found


def planned(*panels: str, **every: Any) -> Claim:
    """A sedan with three dimes on each of these panels, all to be planned."""
    claim = three_dimes()
    claim["panels"] = [
        {"panel": panel, "access": "plan", "tally": {"dime": 3}} | every for panel in panels
    ]
    return claim
