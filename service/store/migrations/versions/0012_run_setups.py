"""Station time that runs gave back, for they are set up for once."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0012"
down_revision: str | None = "0011"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision; runs accepted before have given nothing back."""
    op.create_table(
        "run_setup",
        sa.Column("run_id", sa.String(40), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("run_id", "ticket_id", "station", "day", name=op.f("pk_run_setup")),
        _reference("run_id", "run.id"),
        _reference("ticket_id", "ticket.id"),
        sa.CheckConstraint("seconds >= 1", name=op.f("ck_run_setup_seconds_least")),
        *_lengths(run_id=40, station=48),
    )


def downgrade() -> None:
    """Take the tables back to the revision before; what was given back stays free."""
    op.drop_table("run_setup")


def _reference(column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column],
        [target],
        name=op.f(f"fk_run_setup_{column}"),
        deferrable=True,
        initially="DEFERRED",
    )


def _lengths(**most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(
            sa.func.length(sa.column(column)) <= length,
            name=op.f(f"ck_run_setup_{column}_length"),
        )
        for column, length in most.items()
    ]
