"""Photographs of claims: rows in the database, bytes as files beside it, named by their SHA-256.

A file is written whole and flushed before its row is, so a row always finds its file; a file
without a row is left by a write that did not happen, and harms nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store import contents
from api.store.faults import FAULTS, StoreFault, told_apart
from api.store.log import note
from api.store.session import Store, Writing
from api.store.tables import omissions, photographs
from hailcalc.files import write_all
from hailcalc.photographs import Photograph
from hailcalc.problems import InputError


class Entry(NamedTuple):
    """A photograph of a claim; `panel` None for the whole vehicle, sizes in pixels and bytes.

    `left_out`: since when no sheet prints it and no adjuster sees it, if so.
    """

    number: int
    panel: str | None
    sha256: str
    preview: str
    media_type: str
    width: int
    height: int
    size: int
    taken: str | None
    place_kept: bool
    note: str
    at: str
    who: str
    left_out: str | None


def path_of(store: Store, sha256: str) -> Path:
    """Where the bytes with this hash lie."""
    return store.folder / sha256[:2] / sha256


def write_files(store: Store, photograph: Photograph) -> None:
    """Write a photograph and its preview, unless they lie there already. Raises StoreFault."""
    wanted = {photograph.sha256: photograph.data, photograph.preview_sha256: photograph.preview}
    with told_apart():
        missing = {
            path: data
            for sha256, data in wanted.items()
            if not (path := path_of(store, sha256)).is_file()
        }
        for path in missing:
            path.parent.mkdir(mode=0o700, exist_ok=True)
        try:
            write_all(missing)
        except InputError as error:
            if isinstance(error.__context__, OSError):
                raise error.__context__ from None
            raise


def read_file(store: Store, sha256: str) -> bytes | None:
    """The bytes with this hash; None if they were forgotten. Raises StoreFault if they changed."""
    with told_apart():
        try:
            data = path_of(store, sha256).read_bytes()
        except FileNotFoundError:
            return None
    if contents.sha256(data) != sha256:
        raise StoreFault("broken", FAULTS["broken"].words)
    return data


def add(
    writing: Writing,
    store: Store,
    claim: str,
    photograph: Photograph,
    panel: str | None,
    words: str,
) -> Entry:
    """A photograph of a claim. The same one on one panel is kept once, unless it was left out."""
    connection = writing.connection
    # Written before, so that writers do not wait; looked at again now that nobody can forget it.
    write_files(store, photograph)
    for entry in of_claim(connection, claim):
        same = (entry.sha256, entry.panel) == (photograph.sha256, panel)
        if same and entry.left_out is None:
            return entry
    query = sa.select(sa.func.max(photographs.c.number)).where(photographs.c.claim == claim)
    row = {
        "number": (connection.scalar(query) or 0) + 1,
        "panel": panel,
        "sha256": photograph.sha256,
        "preview": photograph.preview_sha256,
        "media_type": photograph.media_type,
        "width": photograph.width,
        "height": photograph.height,
        "size": len(photograph.data),
        "taken": photograph.taken,
        "place_kept": photograph.place is not None,
    }
    kept = contents.keep_text(writing, claim, words)
    made = {"claim": claim, "note": kept, "at": writing.at, "who": writing.who}
    connection.execute(sa.insert(photographs).values(row | made))
    note(writing, "photograph added", claim, row | {"note": kept})
    return of_claim(connection, claim)[-1]


def leave_out(writing: Writing, claim: str, number: int) -> None:
    """Leave a photograph out of sheets from now on; one that is left out already stays so."""
    connection = writing.connection
    there = (omissions.c.claim == claim) & (omissions.c.number == number)
    if connection.execute(sa.select(omissions).where(there)).first() is None:
        row = {"claim": claim, "number": number, "at": writing.at, "who": writing.who}
        connection.execute(sa.insert(omissions).values(row))
        note(writing, "photograph left out", claim, {"number": number})


def of_claim(connection: Connection, claim: str) -> list[Entry]:
    """A claim's photographs in the order they came, also those left out."""
    query = (
        sa.select(photographs, omissions.c.at.label("left_out"))
        .join(
            omissions,
            (omissions.c.claim == photographs.c.claim)
            & (omissions.c.number == photographs.c.number),
            isouter=True,
        )
        .where(photographs.c.claim == claim)
        .order_by(photographs.c.number)
    )
    return [
        Entry(
            **{name: row._mapping[name] for name in Entry._fields if name != "note"},
            note=contents.text_content(connection, claim, row.note),
        )
        for row in connection.execute(query)
    ]


def shown_of(connection: Connection, claim: str) -> list[Entry]:
    """A claim's photographs but those left out: what sheets print and adjusters see."""
    return [entry for entry in of_claim(connection, claim) if entry.left_out is None]
