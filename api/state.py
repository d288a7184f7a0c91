"""What an application keeps between requests: its library of matrices, nothing else."""

from __future__ import annotations

from pathlib import Path

from fastapi import FastAPI

from api.library import Library


def set_folder(app: FastAPI, folder: Path) -> None:
    """Let an application look for matrices in a folder."""
    app.state.library = Library(folder)


def fresh_library(app: FastAPI) -> Library:
    """The application's library as the folder is now.

    Requests at the same time may read a changed file twice; each keeps a whole library.
    """
    before: Library = app.state.library
    library = before.fresh()
    if library is not before:
        app.state.library = library
    return library
