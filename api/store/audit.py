"""Whether a store is whole: the chain of its log, every row and file against it.

Each entry of the log says which rows its transaction added, by what identifies them (`Fact`). So
the log and the tables are held against each other in both directions: a row that nobody logged,
and a log entry whose row is gone, are findings. Contents and photographs must have their hashes,
sheets their digests, heads what their rows give. The log is read in pieces; what is kept in
memory is one fact a row.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection, RowMapping

from api.store import claims as stored
from api.store import contents as kept
from api.store.faults import StoreFault
from api.store.forget import FORGOTTEN
from api.store.log import FIRST, entry_of
from api.store.photographs import read_file
from api.store.session import Store
from api.store.tables import (
    GROWING,
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
from api.store.tokens import seal_of
from hailcalc.sheet.document import KEYS, digest

Fact = tuple[str, ...]
"""A row by what the log says of it: its table and what identifies it."""

Tell = Callable[[str], None]

_PIECE = 500

_MADE = ("at", "who")
_ROWS: dict[sa.Table, tuple[str, ...]] = {
    drafts: ("claim", "number", "claim_file", "storm", *_MADE),
    revisions: (
        "claim", "number", "draft", "reason", "sheet", "pdf", "changes", "changes_pdf", "digest",
        "signed_by", "paper", "labels", "version", "currency", "decimals", "subtotal", "tax",
        "total", "deductible", "net", "complete", "dents", *_MADE,
    ),
    answers: ("claim", "revision", "part", "lines", "carried_from", *_MADE),
    agreements: ("claim", "number", "revision", "side", "settlement", *_MADE),
    withdrawals: ("claim", "reason", *_MADE),
    photographs: (
        "claim", "number", "panel", "sha256", "preview", "media_type", "width", "height", "size",
        "taken", "place_kept", "note", *_MADE,
    ),
    omissions: ("claim", "number", *_MADE),
    replacements: ("claim", "hash", "instead", *_MADE),
    tokens: ("id", "role", "claim", "scopes", "created", "until"),
}  # fmt: skip
"""What of each table's rows is under the log; a token's name and secret by its seal."""


class Finding(NamedTuple):
    """Something that is not as it must be."""

    where: str
    found: str
    expected: str

    def __str__(self) -> str:
        return f"{self.where}: found {self.found}, expected {self.expected}"


class Audit(NamedTuple):
    """What was looked at, the log's last hash, and everything that is wrong."""

    entries: int
    rows: int
    contents: int
    photographs: int
    head: str
    findings: tuple[Finding, ...]


def audit(store: Store, noted: str | None = None, tell: Tell = lambda _: None) -> Audit:
    """Look through a whole store. Raises StoreFault if it cannot be read.

    `noted` is a hash that its log must contain, for nothing up to it to be cut off.
    """
    with store.reading() as connection:
        chain = _Chain(noted)
        findings = list(chain.follow(connection, tell))
        present = set(present_facts(connection))
        findings += _differences(present, chain.facts)
        findings += _seal_findings(connection, chain.seals)
        findings += _forgotten_findings(connection, chain.forgotten)
        findings += _guard_findings(connection)
        tell("contents and sheets")
        findings += findings_in_rows(connection)
        number = connection.scalar(sa.select(sa.func.count()).select_from(contents)) or 0
        files = _files(connection)
    tell("photographs")
    findings += _file_findings(store, files)
    return Audit(chain.entries, len(present), number, len(files), chain.head, tuple(findings))


def findings_in_rows(connection: Connection) -> Iterator[Finding]:
    """What is wrong with contents, sheets and heads, whatever the log says."""
    unreadable: set[str] = set()
    yield from _content_findings(connection, unreadable)
    yield from _sheet_findings(connection)
    yield from _head_findings(connection, unreadable)


class _Chain:
    """The log, followed from its first entry to its last."""

    def __init__(self, noted: str | None) -> None:
        self.entries = 0
        self.head = FIRST
        self.facts: set[Fact] = set()
        self.seals: dict[str, str] = {}
        self.forgotten: dict[str, str] = {}
        self._noted = noted

    def follow(self, connection: Connection, tell: Tell) -> Iterator[Finding]:
        """Read every entry; `facts` are then what the log says there must be.

        `seals` are what it last said of each token's name and secret, `forgotten` which claims'
        persons were forgotten, and when.
        """
        met = self._noted in (None, FIRST)
        options = {"yield_per": _PIECE}
        query = sa.select(log).order_by(log.c.seq)
        for row in connection.execute(query, execution_options=options).mappings():
            entry = entry_of(row)
            where = f"log entry {entry['seq']}"
            if entry["seq"] != self.entries + 1:
                yield Finding(where, f"number {entry['seq']}", f"number {self.entries + 1}")
            if entry["before"] != self.head:
                yield Finding(where, f"{entry['before']} before it", self.head)
            hashed = entry.pop("hash")
            if digest(entry) != hashed:
                yield Finding(where, f"hash {hashed}", digest(entry))
            self.entries, self.head = entry["seq"], hashed
            met = met or hashed == self._noted
            self.facts.update(named_by(entry))
            self._note_last(entry)
            if self.entries % 10_000 == 0:
                tell(f"{self.entries:,} log entries")
        if not met:
            yield Finding("log", f"{self.entries} entries", f"one with the hash {self._noted}")

    def _note_last(self, entry: dict[str, Any]) -> None:
        """What later entries may change."""
        told = entry["details"]
        if "seal" in told:
            self.seals[told["token"]] = told["seal"]
        self.seals.update(told.get("seals", {}))
        if entry["act"] == "forgotten":
            self.forgotten[entry["claim"]] = entry["at"]
        elif told.get("forgotten"):
            self.forgotten[entry["claim"]] = told["forgotten"]


def fact_of(table: sa.Table, values: Any) -> Fact:
    """What identifies a row, as the log has it."""
    return (table.name, *(_text(values.get(name)) for name in _ROWS[table]))


def _text(value: object) -> str:
    return "" if value is None else str(value)


def named_by(entry: dict[str, Any]) -> Iterator[Fact]:
    """The rows that a log entry says were added by its transaction."""
    told = entry["details"] | {name: entry[name] for name in ("claim", *_MADE)}
    match entry["act"]:
        case "claim opened" | "draft saved":
            yield fact_of(drafts, told | {"number": told["draft"]})
        case "revision issued":
            yield fact_of(revisions, told | {"number": told["revision"]})
        case "lines answered" | "answers carried":
            yield fact_of(answers, told)
        case "agreed":
            yield fact_of(agreements, told)
        case "withdrawn":
            yield fact_of(withdrawals, told)
        case "photograph added":
            yield fact_of(photographs, told)
        case "photograph left out":
            yield fact_of(omissions, told)
        case "token added" | "link given":
            made = {"id": told["token"], "created": told["at"]}
            yield fact_of(tokens, told | made | {"scopes": " ".join(told["scopes"])})
        case "token revoked" | "link revoked":
            yield ("revoked", told["token"], told["at"])
        case "forgotten":
            for key, instead in told["replaced"].items():
                yield fact_of(replacements, told | {"hash": key, "instead": instead})
            for token in told["revoked"]:
                yield ("revoked", token, told["at"])
        case "imported":
            yield from (tuple(each) for each in told["rows"])
        case _:
            return


def present_facts(connection: Connection) -> Iterator[Fact]:
    """Every row that the log must name."""
    for table in _ROWS:
        options = {"yield_per": _PIECE}
        for row in connection.execute(sa.select(table), execution_options=options).mappings():
            yield fact_of(table, row)
            if table is tokens and row["revoked"] is not None:
                yield ("revoked", row["id"], row["revoked"])


def _differences(present: set[Fact], named: set[Fact]) -> Iterator[Finding]:
    for fact in sorted(present - named):
        yield Finding(_words(fact), "a row", "none: the log does not name it")
    for fact in sorted(named - present):
        yield Finding(_words(fact), "no such row", "the one that the log names")


def _words(fact: Fact) -> str:
    table, *rest = fact
    return f"{table} {', '.join(rest)}"


def _seal_findings(connection: Connection, seals: dict[str, str]) -> Iterator[Finding]:
    """Tokens whose name or secret is not the one that the log knows."""
    for row in connection.execute(sa.select(tokens).order_by(tokens.c.id)).mappings():
        known = seals.get(row["id"])
        if known is not None and seal_of(row) != known:
            yield Finding(f"token {row['id']}", "another name or secret", "those it was given")


def _forgotten_findings(connection: Connection, forgotten: dict[str, str]) -> Iterator[Finding]:
    """Claims that say they were forgotten and were not, or the other way round."""
    for claim, at in connection.execute(sa.select(claims.c.id, claims.c.forgotten)):
        if at != forgotten.get(claim):
            expected = forgotten.get(claim) or "nothing: nobody has forgotten it"
            yield Finding(f"claim {claim}, forgotten", _text(at) or "nothing", expected)


def _guard_findings(connection: Connection) -> Iterator[Finding]:
    """Triggers that keep written rows as they are, and are gone or put to sleep."""
    postgres = connection.dialect.name == "postgresql"
    there = set(connection.scalars(sa.text(_GUARDS_POSTGRES if postgres else _GUARDS_SQLITE)))
    acts = ("update", "delete", "truncate") if postgres else ("update", "delete")
    wanted = {f"no_{act}_of_{table.name}" for table in GROWING for act in acts}
    for name in sorted((wanted | {"no_update_of_contents"}) - there):
        yield Finding(
            f"trigger {name}", "none that is awake", "the one that the store was made with"
        )


_GUARDS_SQLITE = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
_GUARDS_POSTGRES = (
    "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
    "WHERE NOT tgisinternal AND tgenabled IN ('O', 'A') "
    "AND relnamespace = current_schema()::regnamespace"
)


def _content_findings(connection: Connection, unreadable: set[str]) -> Iterator[Finding]:
    """Contents with other bytes, and rows whose content is neither there nor replaced.

    Their claims are added to `unreadable`.
    """
    there: set[tuple[str, str]] = set()
    options = {"yield_per": 50}
    for row in connection.execute(sa.select(contents), execution_options=options):
        there.add((row.claim, row.hash))
        found = kept.sha256(bytes(row.data))
        if found != row.hash:
            unreadable.add(row.claim)
            yield Finding(f"contents {row.claim}, {row.hash}", f"bytes with {found}", "its own")
    gone = {(row.claim, row.hash) for row in connection.execute(sa.select(replacements))}
    sound = there | gone
    for claim, key, where in referred(connection):
        if (claim, key) not in sound:
            unreadable.add(claim)
            yield Finding(where, f"no content {key}", "the bytes that it names")


def referred(connection: Connection) -> Iterator[tuple[str, str, str]]:
    """Claim, hash and place of every content that a row names."""
    named = (
        (drafts, ("claim_file",)),
        (revisions, ("sheet", "pdf", "reason", "changes", "changes_pdf")),
        (answers, ("lines",)),
        (withdrawals, ("reason",)),
        (photographs, ("note",)),
        (replacements, ("instead",)),
    )
    for table, columns in named:
        for row in connection.execute(sa.select(table)).mappings():
            for column in columns:
                if row[column] is not None:
                    yield row["claim"], row[column], f"{table.name} of {row['claim']}, {column}"


def _sheet_findings(connection: Connection) -> Iterator[Finding]:
    """Sheets whose digest is not that of their revision; a forgotten one has another."""
    for row in connection.execute(sa.select(revisions).order_by(revisions.c.claim)):
        data = kept.content(connection, row.claim, row.sheet)
        if data is None or kept.sha256(data) != row.sheet:
            continue
        sheet = json.loads(data)
        found = digest({key: sheet[key] for key in KEYS[:-1]})
        if not found == sheet["digest"] == row.digest:
            where = f"sheet of {row.claim}, revision {row.number}"
            yield Finding(where, f"digest {found}", row.digest)


def _head_findings(connection: Connection, unreadable: set[str]) -> Iterator[Finding]:
    """Heads that say something else than their rows, as far as those can be read."""
    for claim in stored.all_ids(connection):
        if claim in unreadable:
            continue
        head = connection.execute(sa.select(claims).where(claims.c.id == claim)).mappings().one()
        wanted = stored.worked_out(connection, claim) | _found_by(connection, head)
        for name, value in wanted.items():
            if head[name] != value:
                yield Finding(f"claim {claim}, {name}", _text(head[name]), _text(value))


def _found_by(connection: Connection, head: RowMapping) -> dict[str, Any]:
    """What a claim must be found by: its file as issued, or as first drafted before that."""
    first = stored.draft_numbered(connection, head["id"], 1)
    draft = stored.draft_numbered(connection, head["id"], head["issued_draft"] or head["draft"])
    if first is None or draft is None or draft.claim_file is None:
        return {}  # found as missing rows or contents
    found = stored.found_by(draft.claim_file, draft.storm) | {"created": first.at}
    if head["forgotten"] is not None:
        found |= {"number": FORGOTTEN, "search": ""}
    return found


def _files(connection: Connection) -> list[str]:
    """The hashes of all photographs of claims that are not forgotten."""
    query = (
        sa.select(photographs.c.sha256, photographs.c.preview)
        .join(claims, claims.c.id == photographs.c.claim)
        .where(claims.c.forgotten.is_(None))
    )
    return sorted({key for row in connection.execute(query) for key in row})


def _file_findings(store: Store, files: list[str]) -> Iterator[Finding]:
    for sha256 in files:
        try:
            data = read_file(store, sha256)
        except StoreFault as fault:
            yield Finding(f"photograph {sha256}", fault.words, "its bytes")
        else:
            if data is None:
                yield Finding(f"photograph {sha256}", "no file", "its bytes")
