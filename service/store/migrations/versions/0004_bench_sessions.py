"""People are signed in at the bench."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0004"
down_revision: str | None = "0003"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision."""
    op.create_table(
        "bench_session",
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("key_id", sa.String(40), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("secret_sha256", name=op.f("pk_bench_session")),
        sa.ForeignKeyConstraint(
            ["key_id"],
            ["api_key.id"],
            name=op.f("fk_bench_session_key_id"),
            deferrable=True,
            initially="DEFERRED",
        ),
        *(
            sa.CheckConstraint(
                sa.func.length(sa.column(column)) <= length,
                name=op.f(f"ck_bench_session_{column}_length"),
            )
            for column, length in {"secret_sha256": 64, "key_id": 40, "who": 64}.items()
        ),
    )
    op.create_index(op.f("ix_bench_session_expires_at"), "bench_session", ["expires_at"])
    op.create_index(op.f("ix_bench_session_key_id"), "bench_session", ["key_id"])


def downgrade() -> None:
    """Take the tables back to the revision before: everyone is signed out."""
    op.drop_table("bench_session")
