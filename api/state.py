"""What an application keeps between requests: how it was set up, and its library of matrices."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fastapi import FastAPI

from api.library import Library
from api.store.session import Store
from api.storms import StormShelf

_AT_ONCE = 2
"""Photographs that are taken in at the same time."""

LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})


@dataclass(frozen=True, slots=True)
class Setup:
    """How a server was started.

    `here` is the SHA-256 of the token made at the start for whoever sits at this machine, None
    where tokens are configured. `hosts` are the names that it answers under, `address` what links
    begin with (None: as the request came), `key` the shop's private signing key, a JWK, `storms` a
    folder of storms' folders for the owner (None: none are shown).
    """

    matrices: Path
    store: Store
    here: str | None = None
    hosts: frozenset[str] = LOOPBACK
    address: str | None = None
    key: dict[str, Any] | None = field(default=None, repr=False)
    storms: Path | None = None


def set_up(app: FastAPI, setup: Setup) -> None:
    """Let an application work with a setup."""
    app.state.setup = setup
    app.state.library = Library(setup.matrices)
    app.state.storms = None if setup.storms is None else StormShelf(setup.storms, setup.matrices)
    app.state.darkroom = threading.Semaphore(_AT_ONCE)


def darkroom(app: FastAPI) -> threading.Semaphore:
    """What a photograph waits for: taking one in may need a gigabyte for a moment."""
    found: threading.Semaphore = app.state.darkroom
    return found


def storms_of(app: FastAPI) -> StormShelf | None:
    """The shop's storms; None if the server was given none."""
    found: StormShelf | None = app.state.storms
    return found


def setup_of(app: FastAPI) -> Setup:
    """How the application was set up."""
    setup: Setup = app.state.setup
    return setup


def fresh_library(app: FastAPI) -> Library:
    """The application's library as the folder is now.

    Requests at the same time may read a changed file twice; each keeps a whole library.
    """
    before: Library = app.state.library
    library = before.fresh()
    if library is not before:
        app.state.library = library
    return library
