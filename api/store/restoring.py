"""An archive read into a store: everything is checked first, then all of it is written or nothing.

Names, sizes and hashes of the zip's files; every row's columns and kinds of value; and, within the
transaction, what `audit` checks: contents, sheets' digests, heads against rows, log against rows.
"""

from __future__ import annotations

import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DataError, IntegrityError

from api.store import claims as stored
from api.store.archive import FORMAT, TABLES, VERSION
from api.store.audit import fact_of, findings_in_rows, named_by, present_facts
from api.store.faults import told_apart
from api.store.ids import PATTERN
from api.store.log import FIRST, entry_of, note
from api.store.photographs import path_of
from api.store.session import Store, Writing
from api.store.tables import claims, contents, log, tokens
from api.store.tokens import hash_of, new_secret, seal_of
from hailcalc.files import text_of, write_all
from hailcalc.problems import InputError, Place, Problem, shown
from hailcalc.reading import load_json
from hailcalc.sheet.document import digest

MAX_FILE_BYTES = 64_000_000
MAX_FILES = 2_000_000
MAX_BYTES = 50_000_000_000

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,100}(/[A-Za-z0-9][A-Za-z0-9._-]{0,100}){0,3}")
_TOP = ("archive.json", "tokens.json", "log.jsonl", "claims.csv", "lines.csv")
_ENTRY = ("seq", "at", "who", "act", "claim", "before", "hash", "details")

Row = dict[str, Any]
Tell = Callable[[str], None]


class Imported(NamedTuple):
    """How much came in."""

    claims: int
    whole: bool


@dataclass(frozen=True, slots=True)
class _Archive:
    """A zip whose names, sizes and hashes are checked."""

    zip: zipfile.ZipFile
    file: str
    hashes: dict[str, str]
    whole: bool
    log_head: str

    def bytes(self, name: str) -> bytes:
        """A file's bytes, which must have the hash that is listed."""
        data = _read(self.zip, name, self.file)
        if hashlib.sha256(data).hexdigest() != self.hashes[name]:
            raise _refused(self.file, (name,), "other bytes", "those that archive.json lists")
        return data

    def json(self, name: str) -> Any:
        """A JSON file's value."""
        return load_json(text_of(self.bytes(name), name), f"{self.file}, {name}")


@dataclass(frozen=True, slots=True)
class _Claim:
    """A claim as it stands in an archive, its rows checked."""

    id: str
    head: Row
    rows: dict[str, list[Row]]
    contents: list[Row]
    pictures: dict[str, str]


def restore(store: Store, path: Path, who: str, tell: Tell = lambda _: None) -> Imported:
    """Read an archive into a store. Raises InputError for what is wrong, StoreFault for the store.

    An archive of a whole store needs an empty one, a single claim's one without that claim.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            return _restore(store, _opened(archive, str(path)), who, tell)
    except (IntegrityError, DataError):
        found = "rows that do not go together"
        raise _refused(str(path), (), found, "those of a store") from None
    except (
        zipfile.BadZipFile, zlib.error, struct.error, EOFError, RuntimeError, ValueError,
        OverflowError,
    ) as error:  # fmt: skip
        found = shown(str(error)) or "no zip"
        raise _refused(str(path), (), found, "an archive made by hailcalc export") from None
    except OSError as error:
        reason = (error.strerror or "unreadable").lower()
        raise _refused(str(path), (), reason, "an archive to read") from None


def _restore(store: Store, archive: _Archive, who: str, tell: Tell) -> Imported:
    found = [_claim(archive, name) for name in sorted(_claim_names(archive))]
    shop = _checked_rows(archive, "tokens.json", tokens) if archive.whole else []
    entries = list(_entries(archive)) if archive.whole else []
    with store.reading() as connection:
        _require_room(connection, found, archive)
    for number, claim in enumerate(found, 1):
        _write_pictures(store, archive, claim)
        tell(f"{number} of {len(found)} claims")
    with store.writing(who) as writing:
        _require_room(writing.connection, found, archive)
        seals = _insert_tokens(writing, shop)
        for claim in found:
            seals |= _insert_claim(writing, archive, claim)
        if entries:
            writing.connection.execute(sa.insert(log), entries)
        rows = [] if archive.whole else [list(fact) for each in found for fact in _facts(each)]
        told = {"archive": archive.hashes.get("claims.csv"), "rows": rows, "seals": seals}
        if not archive.whole:
            told["forgotten"] = found[0].head["forgotten"]
        note(writing, "imported", None if archive.whole else found[0].id, told)
        problems = [
            Problem(archive.file, (finding.where,), finding.found, finding.expected)
            for finding in findings_in_rows(writing.connection)
        ]
        if archive.whole:
            problems += _chain_problems(writing.connection, archive)
        if problems:
            raise InputError(problems)
    return Imported(len(found), archive.whole)


# --- the zip ----------------------------------------------------------------------------------


def _opened(archive: zipfile.ZipFile, file: str) -> _Archive:
    """The zip with its list of files, names and sizes looked at."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    problems: list[Problem] = []
    if len(names) > MAX_FILES or sum(entry.file_size for entry in entries) > MAX_BYTES:
        raise _refused(file, (), f"{len(names):,} files", "an archive of ordinary size")
    for entry in entries:
        if _NAME.fullmatch(entry.filename) is None:
            problems.append(Problem(file, (shown(entry.filename),), "such a name", "a plain name"))
        elif entry.file_size > MAX_FILE_BYTES:
            found = f"{entry.file_size:,} bytes"
            problems.append(Problem(file, (entry.filename,), found, f"at most {MAX_FILE_BYTES:,}"))
    if len(set(names)) < len(names):
        problems.append(Problem(file, (), "a name twice", "each name once"))
    if problems:
        raise InputError(problems)
    if "archive.json" not in names:
        raise _refused(file, (), "no archive.json", "an archive made by hailcalc export")
    about = load_json(
        text_of(_read(archive, "archive.json", file), "archive.json"), f"{file}, archive.json"
    )
    _require_ours(about, file)
    listed = about["files"]
    for name in sorted(set(names) ^ (listed.keys() | {"archive.json"})):
        problems.append(Problem(file, (name,), "not both listed and there", "every file listed"))
    if problems:
        raise InputError(problems)
    return _Archive(archive, file, listed, about["whole"], about["log_head"])


def _require_ours(about: Any, file: str) -> None:
    kinds = {"format": str, "version": int, "whole": bool, "anonymous": bool, "log_head": str}
    ours = isinstance(about, dict) and all(
        isinstance(about.get(key), kind) for key, kind in kinds.items()
    )
    listed = about.get("files") if isinstance(about, dict) else None
    if not ours or not isinstance(listed, dict) or about["format"] != FORMAT:
        raise _refused(file, ("archive.json",), "another form", f'format "{FORMAT}"')
    if not all(isinstance(value, str) for value in listed.values()):
        raise _refused(file, ("archive.json", "files"), "another form", "SHA-256 by name")
    if about["version"] != VERSION:
        found = f"version {about['version']}"
        raise _refused(file, ("archive.json", "version"), found, f"version {VERSION}")
    if about["anonymous"]:
        raise _refused(file, (), "an anonymous archive", "one with everything; it is to look at")


def _read(archive: zipfile.ZipFile, name: str, file: str) -> bytes:
    """A file's bytes, however many its head says there are."""
    with archive.open(name) as opened:
        data = opened.read(MAX_FILE_BYTES + 1)
    if len(data) > MAX_FILE_BYTES:
        raise _refused(file, (name,), "more bytes than it says", f"at most {MAX_FILE_BYTES:,}")
    return data


def _claim_names(archive: _Archive) -> set[str]:
    """The claims' names, by their folders."""
    found: set[str] = set()
    for name in archive.hashes:
        if name in _TOP:
            continue
        parts = name.split("/")
        if len(parts) != 3 or parts[0] != "claims" or re.fullmatch(PATTERN, parts[1]) is None:
            raise _refused(archive.file, (name,), "such a file", "claims/NAME/FILE")
        found.add(parts[1])
    if not archive.whole and len(found) != 1:
        raise _refused(archive.file, (), f"{len(found)} claims", "one")
    needed = [f"claims/{claim}/claim.json" for claim in found]
    needed += ["tokens.json", "log.jsonl"] if archive.whole else []
    missing = [Problem(archive.file, (name,), "no such file", "one") for name in needed
               if name not in archive.hashes]  # fmt: skip
    if missing:
        raise InputError(missing)
    return found


# --- rows -------------------------------------------------------------------------------------


def _claim(archive: _Archive, claim: str) -> _Claim:
    """A claim's rows, contents and photographs, all of them checked."""
    folder = f"claims/{claim}"
    name = f"{folder}/claim.json"
    told = archive.json(name)
    keys = {"claim", "contents", *(table.name for table in TABLES)}
    if not isinstance(told, dict) or told.keys() != keys:
        raise _refused(archive.file, (name,), "other keys", ", ".join(sorted(keys)))
    head = _checked([told["claim"]], claims, archive.file, (name, "claim"))[0]
    rows = {
        table.name: _checked(told[table.name], table, archive.file, (name, table.name))
        for table in TABLES
    }
    owned = [head["id"], *(row["claim"] for each in rows.values() for row in each)]
    if any(owner != claim for owner in owned):
        raise _refused(archive.file, (name,), "rows of another claim", claim)
    listed = told["contents"]
    _require_contents(archive, name, listed)
    pictures = {
        row[key]: f"{folder}/{file}"
        for row in rows["photographs"]
        for key, file in (
            ("sha256", f"photograph-{row['number']}.{row['media_type'].removeprefix('image/')}"),
            ("preview", f"photograph-{row['number']}-preview.jpg"),
        )
    }
    pictures = {key: file.replace(".jpeg", ".jpg") for key, file in pictures.items()}
    if head["forgotten"] is None:
        for sha256, file in pictures.items():
            if archive.hashes.get(file) != sha256:
                raise _refused(archive.file, (file,), "not this photograph", sha256)
    else:
        pictures = {}
    return _Claim(claim, head, rows, listed, pictures)


def _require_contents(archive: _Archive, name: str, listed: Any) -> None:
    folder = name.rpartition("/")[0]
    keys = {"file", "hash", "media_type"}
    if not isinstance(listed, list) or not all(
        isinstance(each, dict)
        and each.keys() == keys
        and all(isinstance(value, str) for value in each.values())
        for each in listed
    ):
        raise _refused(archive.file, (name, "contents"), "another form", ", ".join(sorted(keys)))
    for each in listed:
        file = f"{folder}/{each['file']}"
        if archive.hashes.get(file) != each["hash"]:
            raise _refused(archive.file, (file,), "not this content", each["hash"])


def _checked_rows(archive: _Archive, name: str, table: sa.Table) -> list[Row]:
    return _checked(archive.json(name), table, archive.file, (name,))


def _checked(given: Any, table: sa.Table, file: str, where: Place) -> list[Row]:
    """Rows of a table, each with just its columns and values of their kinds."""
    columns = {column.name: column for column in table.columns if column.name != "secret"}
    if not isinstance(given, list):
        raise _refused(file, where, "another form", "a list of rows")
    problems: list[Problem] = []
    for position, row in enumerate(given):
        place = (*where, position)
        if not isinstance(row, dict) or row.keys() != columns.keys():
            problems.append(Problem(file, place, "other columns", ", ".join(columns)))
            continue
        for name, value in row.items():
            if not _fits(value, columns[name]):
                expected = f"a value of the column {name}"
                problems.append(Problem(file, (*place, name), shown(value), expected))
    if problems:
        raise InputError(problems[:100])
    return given


def _fits(value: Any, column: sa.Column[Any]) -> bool:
    if value is None:
        return bool(column.nullable)
    kind = column.type
    if isinstance(kind, sa.Boolean):
        return isinstance(value, bool)
    if isinstance(kind, sa.Integer):
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**62
    if not isinstance(value, str) or "\0" in value:
        return False
    length = getattr(kind, "length", None)
    return length is None or len(value) <= length


def _entries(archive: _Archive) -> Iterator[Row]:
    """The log's entries, their chain checked."""
    before = FIRST
    lines = text_of(archive.bytes("log.jsonl"), "log.jsonl").split("\n")
    for number, line in enumerate(lines[:-1], 1):
        place: Place = ("log.jsonl", number)
        entry = load_json(line, f"{archive.file}, log.jsonl, line {number}")
        if not isinstance(entry, dict) or entry.keys() != set(_ENTRY):
            raise _refused(archive.file, place, "another form", ", ".join(_ENTRY))
        content = {key: value for key, value in entry.items() if key != "hash"}
        if entry["seq"] != number or entry["before"] != before or digest(content) != entry["hash"]:
            raise _refused(archive.file, place, "a broken chain", "each entry after the last")
        before = entry["hash"]
        row = entry | {"details": json.dumps(entry["details"], sort_keys=True)}
        yield _checked([row], log, archive.file, place)[0]
    if before != archive.log_head:
        raise _refused(archive.file, ("log.jsonl",), f"an end at {before}", archive.log_head)


# --- writing ----------------------------------------------------------------------------------


def _require_room(connection: Connection, found: list[_Claim], archive: _Archive) -> None:
    """Raise InputError unless nothing of what comes is there already."""
    there = set(stored.all_ids(connection))
    if archive.whole:
        taken = bool(there) or connection.scalar(sa.select(log.c.seq).limit(1)) is not None
        if taken:
            raise _refused(archive.file, (), "a store that is in use", "an empty one for all of it")
    for claim in found:
        if claim.id in there:
            raise _refused(archive.file, (claim.id,), "a claim that is there", "a store without it")


def _write_pictures(store: Store, archive: _Archive, claim: _Claim) -> None:
    with told_apart():
        for sha256, name in claim.pictures.items():
            path = path_of(store, sha256)
            if not path.is_file():
                path.parent.mkdir(mode=0o700, exist_ok=True)
                write_all({path: archive.bytes(name)})


def _insert_tokens(writing: Writing, rows: list[Row]) -> dict[str, str]:
    """Tokens for their names; what opens them did not come along, so nothing does.

    Returns their seals.
    """
    unknown = [row | {"secret": hash_of(new_secret())} for row in rows]
    if unknown:
        writing.connection.execute(sa.insert(tokens), unknown)
    return {row["id"]: seal_of(row) for row in unknown}


def _insert_claim(writing: Writing, archive: _Archive, claim: _Claim) -> dict[str, str]:
    """A claim with all that belongs to it; returns the seals of its links."""
    seals: dict[str, str] = {}
    connection, head = writing.connection, claim.head
    if not archive.whole:
        last = connection.scalar(sa.select(sa.func.max(claims.c.seq))) or 0
        head = head | {"seq": last + 1}
    connection.execute(sa.insert(claims).values(head))
    for each in claim.contents:
        data = archive.bytes(f"claims/{claim.id}/{each['file']}")
        row = {"claim": claim.id, "hash": each["hash"], "media_type": each["media_type"]}
        connection.execute(sa.insert(contents).values(row | {"data": data}))
    for table in TABLES:
        rows = claim.rows[table.name]
        if table is tokens:
            seals = _insert_tokens(writing, rows)
        elif rows:
            connection.execute(sa.insert(table), rows)
    # An archive by an older version may have worked its state out by an older rule.
    state = stored.worked_out(connection, claim.id)["state"]
    connection.execute(sa.update(claims).where(claims.c.id == claim.id).values(state=state))
    return seals


def _facts(claim: _Claim) -> Iterator[tuple[str, ...]]:
    """The rows of a claim, as the log names them."""
    for table in TABLES:
        for row in claim.rows[table.name]:
            yield fact_of(table, row)
            if table is tokens and row["revoked"] is not None:
                yield ("revoked", row["id"], row["revoked"])


def _chain_problems(connection: Connection, archive: _Archive) -> Iterator[Problem]:
    """Rows that the log of the archive does not name, or names and that are not there."""
    named: set[tuple[str, ...]] = set()
    for row in connection.execute(sa.select(log).order_by(log.c.seq)).mappings():
        named.update(named_by(entry_of(row)))
    for fact in sorted(set(present_facts(connection)) ^ named):
        place = (" ".join(fact),)
        yield Problem(archive.file, place, "a row or an entry alone", "each named by the other")


def _refused(file: str, where: Place, found: str, expected: str) -> InputError:
    return InputError([Problem(file, where, found, expected)])
