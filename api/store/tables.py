"""The tables of the store.

Times are UTC as ISO 8601 text, which sorts, reads alike on both databases and can be hashed.
Amounts are minor units. Free text and whatever names a person lies in `contents` alone: every
other row refers to it by its SHA-256, so that a person can be forgotten while sums, counts and
the chain of the log stay whole. `contents` rows may be deleted, never changed; the rows of
`GROWING` are neither changed nor deleted. Only `claims`, `tokens` and `replies` change.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

STATES = ("draft", "issued", "answered", "agreed", "withdrawn")
ROLES = ("owner", "estimator", "adjuster")
_HASH = 64
_ID = 12
_TIME = 27


def _one_of(column: str, values: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def _claim_key() -> Column[str]:
    return Column("claim", String(_ID), ForeignKey("claims.id"), primary_key=True)


def _made() -> tuple[Column[str], Column[str]]:
    """When a row was written, and by which token."""
    return Column("at", String(_TIME), nullable=False), Column("who", String(_ID), nullable=False)


claims = Table(
    "claims",
    metadata,
    Column("id", String(_ID), primary_key=True),
    Column("seq", BigInteger, nullable=False, unique=True),
    Column("version", Integer, nullable=False),
    Column("created", String(_TIME), nullable=False),
    Column("changed", String(_TIME), nullable=False),
    Column("state", String(12), nullable=False),
    Column("draft", Integer, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("issued_draft", Integer, nullable=False),
    Column("storm", String(60)),
    Column("insurer", Text),
    Column("number", Text, nullable=False),
    Column("date_of_loss", String(10), nullable=False),
    Column("search", Text, nullable=False),
    Column("forgotten", String(_TIME)),
    Column("currency", String(3)),
    Column("decimals", Integer),
    Column("total", BigInteger),
    Column("net", BigInteger),
    Column("agreed", BigInteger),
    Column("open", BigInteger),
    Column("disputed", BigInteger),
    _one_of("state", STATES),
    Index(None, "storm"),
    Index(None, "state"),
    Index(None, "date_of_loss"),
)
"""A claim's head: what lists show, worked out from the rows of the other tables."""

contents = Table(
    "contents",
    metadata,
    _claim_key(),
    Column("hash", String(_HASH), primary_key=True),
    Column("media_type", String(40), nullable=False),
    Column("data", LargeBinary, nullable=False),
)
"""Claim files, sheets, PDFs, answers, reasons and notes, by the SHA-256 of their bytes."""


def _content(name: str, *, optional: bool = False) -> Column[str]:
    return Column(name, String(_HASH), nullable=optional)


drafts = Table(
    "drafts",
    metadata,
    _claim_key(),
    Column("number", Integer, primary_key=True),
    _content("claim_file"),
    Column("storm", String(60)),
    *_made(),
)
"""A claim file as it was saved; saving again adds the next."""

revisions = Table(
    "revisions",
    metadata,
    _claim_key(),
    Column("number", Integer, primary_key=True),
    Column("draft", Integer, nullable=False),
    _content("reason", optional=True),
    _content("sheet"),
    _content("pdf"),
    _content("changes", optional=True),
    _content("changes_pdf", optional=True),
    Column("digest", String(_HASH), nullable=False),
    Column("signed_by", String(60)),
    Column("paper", String(10), nullable=False),
    Column("labels", String(10), nullable=False),
    Column("version", String(20), nullable=False),
    Column("currency", String(3), nullable=False),
    Column("decimals", Integer, nullable=False),
    Column("subtotal", BigInteger, nullable=False),
    Column("tax", BigInteger, nullable=False),
    Column("total", BigInteger, nullable=False),
    Column("deductible", BigInteger, nullable=False),
    Column("net", BigInteger, nullable=False),
    Column("complete", Boolean, nullable=False),
    Column("dents", Integer, nullable=False),
    *_made(),
    ForeignKeyConstraint(["claim", "draft"], ["drafts.claim", "drafts.number"]),
)
"""An issued sheet: where its bytes are, and its sums. `version` of the program that made it.

`changes` is what a supplement changed against the revision before, frozen with it.
"""

answers = Table(
    "answers",
    metadata,
    _claim_key(),
    Column("revision", Integer, primary_key=True),
    Column("part", Integer, primary_key=True),
    _content("lines"),
    Column("carried_from", Integer),
    *_made(),
    ForeignKeyConstraint(["claim", "revision"], ["revisions.claim", "revisions.number"]),
)
"""One part of the adjuster's answer; carried over from an older revision if that is named."""

agreements = Table(
    "agreements",
    metadata,
    _claim_key(),
    Column("number", Integer, primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("side", String(10), nullable=False),
    Column("settlement", String(_HASH), nullable=False),
    *_made(),
    _one_of("side", ("shop", "adjuster")),
    ForeignKeyConstraint(["claim", "revision"], ["revisions.claim", "revisions.number"]),
)
"""One side agrees to a settlement, named by its digest."""

withdrawals = Table(
    "withdrawals", metadata, _claim_key(), _content("reason", optional=True), *_made()
)

photographs = Table(
    "photographs",
    metadata,
    _claim_key(),
    Column("number", Integer, primary_key=True),
    Column("panel", String(20)),
    Column("sha256", String(_HASH), nullable=False, index=True),
    Column("preview", String(_HASH), nullable=False, index=True),
    Column("media_type", String(20), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("size", Integer, nullable=False),
    Column("taken", String(40)),
    Column("place_kept", Boolean, nullable=False),
    _content("note", optional=True),
    *_made(),
)
"""A photograph of a claim; its bytes are files beside the database, by their SHA-256."""

omissions = Table(
    "omissions",
    metadata,
    _claim_key(),
    Column("number", Integer, primary_key=True),
    *_made(),
    ForeignKeyConstraint(["claim", "number"], ["photographs.claim", "photographs.number"]),
)
"""A photograph that is left out of every sheet from then on; those that print it stay."""

replacements = Table(
    "replacements",
    metadata,
    _claim_key(),
    Column("hash", String(_HASH), primary_key=True),
    _content("instead", optional=True),
    *_made(),
)
"""Contents that were forgotten, and what stands in their place, if anything does."""

tokens = Table(
    "tokens",
    metadata,
    Column("id", String(_ID), primary_key=True),
    Column("secret", String(_HASH), nullable=False, unique=True),
    Column("role", String(10), nullable=False),
    Column("scopes", String(60), nullable=False),
    Column("claim", String(_ID), ForeignKey("claims.id"), index=True),
    Column("name", Text, nullable=False),
    Column("created", String(_TIME), nullable=False),
    Column("until", String(_TIME), nullable=False),
    Column("revoked", String(_TIME)),
    _one_of("role", ROLES),
    CheckConstraint("(role = 'adjuster') = (claim IS NOT NULL)", name="adjuster_of_one_claim"),
)
"""Who may come in; `secret` is the SHA-256 of what they show.

Rows change when they are revoked, and name and secret when a claim's person is forgotten.
"""

replies = Table(
    "replies",
    metadata,
    Column("key", String(_HASH), primary_key=True),
    Column("request", String(_HASH), nullable=False),
    Column("claim", String(_ID), index=True),
    Column("sealed", LargeBinary, nullable=False),
    Column("at", String(_TIME), nullable=False, index=True),
)
"""What was answered to requests with an Idempotency-Key, for some days."""

log = Table(
    "log",
    metadata,
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("at", String(_TIME), nullable=False),
    Column("who", String(_ID), nullable=False),
    Column("act", String(30), nullable=False),
    Column("claim", String(_ID), index=True),
    Column("details", Text, nullable=False),
    Column("before", String(_HASH), nullable=False),
    Column("hash", String(_HASH), nullable=False),
)
"""Every write in order, each with the hash of the one before."""

GROWING = (
    drafts, revisions, answers, agreements, withdrawals, photographs, omissions, replacements, log,
)  # fmt: skip
"""Tables whose rows are neither changed nor deleted."""
