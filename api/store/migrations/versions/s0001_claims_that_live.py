"""The first store: claims, revisions, answers, tokens and the log.

Written out, not made from `tables`, which go on changing.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "s0001"
down_revision = None
branch_labels = None
depends_on = None

_GROWING = (
    "drafts", "revisions", "answers", "agreements", "withdrawals", "photographs", "replacements",
    "log",
)  # fmt: skip


def upgrade() -> None:
    """Make the tables, and the triggers that keep written rows as they are."""
    _tables()
    postgres = op.get_bind().dialect.name == "postgresql"
    if postgres:
        op.execute(
            "CREATE FUNCTION written_rows_stay() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION '% is only added to', TG_TABLE_NAME; END $$"
        )
    for table in _GROWING:
        for act in ("UPDATE", "DELETE"):
            _forbid(table, act, postgres)
        if postgres:
            op.execute(
                f"CREATE TRIGGER no_truncate_of_{table} BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION written_rows_stay()"
            )
    _forbid("contents", "UPDATE", postgres)


def _forbid(table: str, act: str, postgres: bool) -> None:
    name = f"no_{act.lower()}_of_{table}"
    if postgres:
        does = "EXECUTE FUNCTION written_rows_stay()"
    else:
        does = f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"
    op.execute(f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW {does}")


def downgrade() -> None:
    """There is nothing before the first step."""
    raise NotImplementedError("the first step cannot be taken back")


def _tables() -> None:
    op.create_table(
        "claims",
        sa.Column("id", sa.String(length=12), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.String(length=27), nullable=False),
        sa.Column("changed", sa.String(length=27), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("draft", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("issued_draft", sa.Integer(), nullable=False),
        sa.Column("storm", sa.String(length=60), nullable=True),
        sa.Column("insurer", sa.Text(), nullable=True),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("date_of_loss", sa.String(length=10), nullable=False),
        sa.Column("search", sa.Text(), nullable=False),
        sa.Column("forgotten", sa.String(length=27), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("decimals", sa.Integer(), nullable=True),
        sa.Column("total", sa.BigInteger(), nullable=True),
        sa.Column("net", sa.BigInteger(), nullable=True),
        sa.Column("agreed", sa.BigInteger(), nullable=True),
        sa.Column("open", sa.BigInteger(), nullable=True),
        sa.Column("disputed", sa.BigInteger(), nullable=True),
        sa.CheckConstraint(
            "state IN ('draft', 'issued', 'answered', 'agreed', 'withdrawn')",
            name=op.f("ck_claims_state_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_claims")),
        sa.UniqueConstraint("seq", name=op.f("uq_claims_seq")),
    )
    op.create_index(op.f("ix_claims_date_of_loss"), "claims", ["date_of_loss"], unique=False)
    op.create_index(op.f("ix_claims_state"), "claims", ["state"], unique=False)
    op.create_index(op.f("ix_claims_storm"), "claims", ["storm"], unique=False)
    op.create_table(
        "log",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.Column("act", sa.String(length=30), nullable=False),
        sa.Column("claim", sa.String(length=12), nullable=True),
        sa.Column("details", sa.Text(), nullable=False),
        sa.Column("before", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_log")),
    )
    op.create_index(op.f("ix_log_claim"), "log", ["claim"], unique=False)
    op.create_table(
        "replies",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("request", sa.String(length=64), nullable=False),
        sa.Column("claim", sa.String(length=12), nullable=True),
        sa.Column("sealed", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_replies")),
    )
    op.create_index(op.f("ix_replies_at"), "replies", ["at"], unique=False)
    op.create_index(op.f("ix_replies_claim"), "replies", ["claim"], unique=False)
    op.create_table(
        "contents",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("media_type", sa.String(length=40), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_contents_claim")),
        sa.PrimaryKeyConstraint("claim", "hash", name=op.f("pk_contents")),
    )
    op.create_table(
        "drafts",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("claim_file", sa.String(length=64), nullable=False),
        sa.Column("storm", sa.String(length=60), nullable=True),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_drafts_claim")),
        sa.PrimaryKeyConstraint("claim", "number", name=op.f("pk_drafts")),
    )
    op.create_table(
        "photographs",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("panel", sa.String(length=20), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("preview", sa.String(length=64), nullable=False),
        sa.Column("media_type", sa.String(length=20), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("taken", sa.String(length=40), nullable=True),
        sa.Column("place_kept", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=64), nullable=True),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_photographs_claim")),
        sa.PrimaryKeyConstraint("claim", "number", name=op.f("pk_photographs")),
    )
    op.create_index(op.f("ix_photographs_preview"), "photographs", ["preview"], unique=False)
    op.create_index(op.f("ix_photographs_sha256"), "photographs", ["sha256"], unique=False)
    op.create_table(
        "replacements",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("instead", sa.String(length=64), nullable=True),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_replacements_claim")),
        sa.PrimaryKeyConstraint("claim", "hash", name=op.f("pk_replacements")),
    )
    op.create_table(
        "tokens",
        sa.Column("id", sa.String(length=12), nullable=False),
        sa.Column("secret", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("scopes", sa.String(length=60), nullable=False),
        sa.Column("claim", sa.String(length=12), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created", sa.String(length=27), nullable=False),
        sa.Column("until", sa.String(length=27), nullable=False),
        sa.Column("revoked", sa.String(length=27), nullable=True),
        sa.CheckConstraint(
            "(role = 'adjuster') = (claim IS NOT NULL)",
            name=op.f("ck_tokens_adjuster_of_one_claim"),
        ),
        sa.CheckConstraint(
            "role IN ('owner', 'estimator', 'adjuster')", name=op.f("ck_tokens_role_known")
        ),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_tokens_claim")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("secret", name=op.f("uq_tokens_secret")),
    )
    op.create_index(op.f("ix_tokens_claim"), "tokens", ["claim"], unique=False)
    op.create_table(
        "withdrawals",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("reason", sa.String(length=64), nullable=True),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_withdrawals_claim")),
        sa.PrimaryKeyConstraint("claim", name=op.f("pk_withdrawals")),
    )
    op.create_table(
        "revisions",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("draft", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=64), nullable=True),
        sa.Column("sheet", sa.String(length=64), nullable=False),
        sa.Column("pdf", sa.String(length=64), nullable=False),
        sa.Column("changes", sa.String(length=64), nullable=True),
        sa.Column("changes_pdf", sa.String(length=64), nullable=True),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("signed_by", sa.String(length=60), nullable=True),
        sa.Column("paper", sa.String(length=10), nullable=False),
        sa.Column("labels", sa.String(length=10), nullable=False),
        sa.Column("version", sa.String(length=20), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("decimals", sa.Integer(), nullable=False),
        sa.Column("subtotal", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.Column("total", sa.BigInteger(), nullable=False),
        sa.Column("deductible", sa.BigInteger(), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("complete", sa.Boolean(), nullable=False),
        sa.Column("dents", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim", "draft"],
            ["drafts.claim", "drafts.number"],
            name=op.f("fk_revisions_claim_draft"),
        ),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_revisions_claim")),
        sa.PrimaryKeyConstraint("claim", "number", name=op.f("pk_revisions")),
    )
    op.create_table(
        "agreements",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(length=10), nullable=False),
        sa.Column("settlement", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.CheckConstraint("side IN ('shop', 'adjuster')", name=op.f("ck_agreements_side_known")),
        sa.ForeignKeyConstraint(
            ["claim", "revision"],
            ["revisions.claim", "revisions.number"],
            name=op.f("fk_agreements_claim_revision"),
        ),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_agreements_claim")),
        sa.PrimaryKeyConstraint("claim", "number", name=op.f("pk_agreements")),
    )
    op.create_table(
        "answers",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("part", sa.Integer(), nullable=False),
        sa.Column("lines", sa.String(length=64), nullable=False),
        sa.Column("carried_from", sa.Integer(), nullable=True),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim", "revision"],
            ["revisions.claim", "revisions.number"],
            name=op.f("fk_answers_claim_revision"),
        ),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_answers_claim")),
        sa.PrimaryKeyConstraint("claim", "revision", "part", name=op.f("pk_answers")),
    )
