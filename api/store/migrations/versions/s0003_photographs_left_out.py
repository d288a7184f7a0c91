"""Photographs that are on no later sheet: noted beside them, since no row is ever changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "s0003"
down_revision = "s0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table, and the triggers that keep its rows as they are."""
    op.create_table(
        "omissions",
        sa.Column("claim", sa.String(length=12), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("who", sa.String(length=12), nullable=False),
        sa.ForeignKeyConstraint(["claim"], ["claims.id"], name=op.f("fk_omissions_claim")),
        sa.ForeignKeyConstraint(
            ["claim", "number"],
            ["photographs.claim", "photographs.number"],
            name=op.f("fk_omissions_claim_number"),
        ),
        sa.PrimaryKeyConstraint("claim", "number", name=op.f("pk_omissions")),
    )
    postgres = op.get_bind().dialect.name == "postgresql"
    for act in ("UPDATE", "DELETE"):
        does = "EXECUTE FUNCTION written_rows_stay()"
        if not postgres:
            does = "BEGIN SELECT RAISE(ABORT, 'omissions is only added to'); END"
        op.execute(
            f"CREATE TRIGGER no_{act.lower()}_of_omissions BEFORE {act} ON omissions "
            f"FOR EACH ROW {does}"
        )
    if postgres:
        op.execute(
            "CREATE TRIGGER no_truncate_of_omissions BEFORE TRUNCATE ON omissions "
            "FOR EACH STATEMENT EXECUTE FUNCTION written_rows_stay()"
        )


def downgrade() -> None:
    """Forget which photographs were left out."""
    op.drop_table("omissions")
