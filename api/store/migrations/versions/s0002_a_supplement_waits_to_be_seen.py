"""A supplement, or a sheet without a line, is issued until the adjuster answers or agrees to it.

Before, a claim was answered as soon as no line was open, though nobody had said anything since.
"""

from __future__ import annotations

from alembic import op

revision = "s0002"
down_revision = "s0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take back to issued what nobody has answered or agreed to since its latest revision."""
    op.execute(
        "UPDATE claims SET state = 'issued' WHERE state = 'answered' "
        "AND NOT EXISTS (SELECT 1 FROM answers WHERE answers.claim = claims.id "
        "AND answers.revision = claims.revision AND answers.carried_from IS NULL) "
        "AND NOT EXISTS (SELECT 1 FROM agreements WHERE agreements.claim = claims.id "
        "AND agreements.revision = claims.revision AND agreements.side = 'adjuster')"
    )


def downgrade() -> None:
    """The older state was worked out from fewer rows, so there is nothing to take back."""
