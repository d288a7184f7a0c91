"""Claims out of a store and into another: one zip with everything that belongs to them.

Rows are JSON, contents are files under readable names, photographs are what they are; the log is
one JSON object a line. `archive.json` lists every file with its SHA-256. The same store gives the
same bytes. An archive of a whole store, read into an empty one, restores every row with the log's
chain; one of a single claim is noted in the log of the store it comes into. Tokens come without
what opens them. An anonymous archive has no persons in it, and is for looking at, not for reading
in again.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store import claims as stored
from api.store import contents as kept
from api.store.anonymity import anonymous_parts
from api.store.log import entry_of, head
from api.store.photographs import read_file
from api.store.session import Store
from api.store.tables import (
    agreements,
    answers,
    claims,
    contents,
    drafts,
    log,
    omissions,
    photographs,
    replacements,
    revisions,
    tokens,
    withdrawals,
)
from api.store.tallies import claims_csv, lines_csv
from hailcalc.files import written_beside

FORMAT = "hailcalc-archive"
VERSION = 1

TABLES = (
    drafts, revisions, answers, agreements, withdrawals, photographs, omissions, replacements,
    tokens,
)  # fmt: skip
"""What of a claim stands in its claim.json, beside its head."""

_SUFFIX = {
    "application/json": "json",
    "application/pdf": "pdf",
    "text/plain": "txt",
    "image/jpeg": "jpg",
    "image/png": "png",
}
_DATE = (1980, 1, 1, 0, 0, 0)
"""The date of every file in a zip, so that the same store gives the same bytes."""

Tell = Callable[[str], None]


class Exported(NamedTuple):
    """How much was written."""

    claims: int
    files: int


class _Zip:
    """A zip that is written piece by piece, and the hash of each piece."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.hashes: dict[str, str] = {}
        self._archive = archive

    def add(self, name: str, data: bytes) -> None:
        """Add a file."""
        entry = zipfile.ZipInfo(name, _DATE)
        entry.external_attr = 0o644 << 16
        entry.compress_type = zipfile.ZIP_DEFLATED
        self._archive.writestr(entry, data)
        self.hashes[name] = hashlib.sha256(data).hexdigest()

    def add_json(self, name: str, value: Any) -> None:
        """Add a JSON file that people can read."""
        self.add(name, (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode())


def export(
    store: Store,
    out: Path,
    claim: str | None = None,
    *,
    anonymous: bool = False,
    tell: Tell = lambda _: None,
) -> Exported | None:
    """Write one claim, or all of them, as a zip. None if there is no such claim.

    Raises InputError for a place that cannot be written to, StoreFault for the store.
    """
    with store.reading() as connection:
        wanted = stored.all_ids(connection)
        if claim is not None:
            if claim not in wanted:
                return None
            wanted = [claim]
        with written_beside(out) as file, zipfile.ZipFile(file, "w") as archive:
            written = _Zip(archive)
            for number, each in enumerate(wanted, 1):
                if anonymous:
                    _add_anonymous(written, connection, each, number)
                else:
                    _add_claim(written, store, connection, each)
                tell(f"{number} of {len(wanted)} claims")
            _add_tables(written, connection, wanted, anonymous)
            if claim is None and not anonymous:
                written.add_json("tokens.json", _rows(connection, tokens, tokens.c.claim.is_(None)))
                written.add("log.jsonl", _log_lines(connection))
            about = {
                "format": FORMAT,
                "version": VERSION,
                "whole": claim is None,
                "anonymous": anonymous,
                "log_head": head(connection)[1],
                "claims": len(wanted),
                "files": written.hashes.copy(),
            }
            written.add_json("archive.json", about)
    return Exported(len(wanted), len(written.hashes))


def _add_tables(written: _Zip, connection: Connection, wanted: list[str], anonymous: bool) -> None:
    """The claims and the printed lines as CSV, for spreadsheets."""
    names = {each: f"claim-{number:04}" for number, each in enumerate(wanted, 1)}
    written.add("claims.csv", claims_csv(connection, names if anonymous else None, wanted).encode())
    written.add("lines.csv", lines_csv(connection, names if anonymous else None, wanted).encode())


def _add_claim(written: _Zip, store: Store, connection: Connection, claim: str) -> None:
    """Everything of a claim, in a folder of its own."""
    folder = f"claims/{claim}"
    rows = {table.name: _rows(connection, table, table.c.claim == claim) for table in TABLES}
    names = dict(_content_names(rows))
    listed = []
    query = sa.select(contents).where(contents.c.claim == claim).order_by(contents.c.hash)
    for row in connection.execute(query):
        stem = names.get(row.hash, f"other-{row.hash[:16]}")
        name = f"{stem}.{_SUFFIX[row.media_type]}"
        written.add(f"{folder}/{name}", bytes(row.data))
        listed.append({"file": name, "hash": row.hash, "media_type": row.media_type})
    for picture in rows["photographs"]:
        for name, sha256 in _picture_files(picture):
            data = read_file(store, sha256)
            if data is not None:  # that of a forgotten claim is gone
                written.add(f"{folder}/{name}", data)
    first = _rows(connection, claims, claims.c.id == claim)[0]
    written.add_json(f"{folder}/claim.json", {"claim": first, **rows, "contents": listed})


def _picture_files(picture: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Names and hashes of a photograph's two files."""
    stem = f"photograph-{picture['number']}"
    yield f"{stem}.{_SUFFIX[picture['media_type']]}", picture["sha256"]
    yield f"{stem}-preview.jpg", picture["preview"]


def _content_names(rows: dict[str, list[dict[str, Any]]]) -> Iterator[tuple[str | None, str]]:
    """A readable name for each content, by its hash; of two names the last counts."""
    for each in rows["photographs"]:
        yield each["note"], f"photograph-{each['number']}-note"
    for each in rows["withdrawals"]:
        yield each["reason"], "withdrawal-reason"
    for each in rows["drafts"]:
        yield each["claim_file"], f"draft-{each['number']}"
    for each in rows["answers"]:
        yield each["lines"], f"answer-{each['revision']}-{each['part']}"
    for each in rows["revisions"]:
        stem = f"revision-{each['number']}"
        for column in ("reason", "changes", "sheet"):
            yield each[column], stem if column == "sheet" else f"{stem}-{column}"
        yield each["pdf"], stem
        yield each["changes_pdf"], f"{stem}-changes"
    instead = {each["hash"]: each["instead"] for each in rows["replacements"]}
    for each in rows["drafts"]:
        yield instead.get(each["claim_file"]), f"draft-{each['number']}-anonymous"
    for each in rows["answers"]:
        yield instead.get(each["lines"]), f"answer-{each['revision']}-{each['part']}-anonymous"
    for each in rows["revisions"]:
        yield instead.get(each["sheet"]), f"revision-{each['number']}-anonymous"


def _rows(
    connection: Connection, table: sa.Table, which: sa.ColumnElement[bool]
) -> list[dict[str, Any]]:
    """Rows as JSON values in the order of their keys; a token without what opens it."""
    query = sa.select(table).where(which).order_by(*table.primary_key.columns)
    return [
        {name: value for name, value in row.items() if name != "secret"}
        for row in connection.execute(query).mappings()
    ]


def _log_lines(connection: Connection) -> bytes:
    """The log, an entry a line, with the hashes."""
    rows = connection.execute(sa.select(log).order_by(log.c.seq)).mappings()
    return b"".join(kept.json_bytes(entry_of(row)) + b"\n" for row in rows)


def _add_anonymous(written: _Zip, connection: Connection, claim: str, number: int) -> None:
    """A claim without persons: drafts, sheets and answers, figures of its life."""
    name = f"claim-{number:04}"
    for file, value in anonymous_parts(connection, claim, name):
        written.add_json(str(PurePosixPath("claims", name, file)), value)
