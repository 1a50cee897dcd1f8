"""Minutes that work took are recorded, and learnt standard minutes kept once they are accepted."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from alembic import op

revision: str = "0010"
down_revision: str | None = "0009"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision."""
    op.create_table(
        "recorded_minutes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("step_key", sa.String(64), nullable=False),
        sa.Column("method", sa.String(48), nullable=False),
        sa.Column("operation", sa.String(24), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("taken_ms", sa.BigInteger(), nullable=False),
        sa.Column("standard_ms", sa.BigInteger(), nullable=False),
        sa.Column("written_ms", sa.BigInteger(), nullable=False),
        sa.Column("written_each_ms", sa.BigInteger(), nullable=False),
        sa.Column("written_weed_e4", sa.Integer(), nullable=False),
        sa.Column("interrupted", sa.Boolean(), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.String(64), nullable=False),
        _at("at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recorded_minutes")),
        sa.UniqueConstraint("corrects_id", name=op.f("uq_recorded_minutes_corrects_id")),
        _reference("recorded_minutes", "ticket_id", "ticket.id"),
        _reference("recorded_minutes", "corrects_id", "recorded_minutes.id"),
        *_least("recorded_minutes", pieces=1, taken_ms=1, standard_ms=0, written_ms=1),
        *_least("recorded_minutes", written_each_ms=0, written_weed_e4=0),
        *_lengths("recorded_minutes", step_key=64, method=48, operation=24),
        *_lengths("recorded_minutes", kind=16, station=48, who=64),
    )
    op.create_index(op.f("ix_recorded_minutes_ticket_id"), "recorded_minutes", ["ticket_id"])
    op.create_index(
        op.f("ix_recorded_minutes_method_kind_station_id"),
        "recorded_minutes",
        ["method", "kind", "station", "id"],
    )
    op.create_table(
        "accepted_standard",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(48), nullable=False),
        sa.Column("operation", sa.String(24), nullable=False),
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("written_each_ms", sa.BigInteger(), nullable=False),
        sa.Column("written_weed_e4", sa.Integer(), nullable=False),
        sa.Column("each_ms", sa.BigInteger(), nullable=False),
        sa.Column("weed_e4", sa.Integer(), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        _at("at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accepted_standard")),
        *_least("accepted_standard", written_each_ms=0, written_weed_e4=0),
        *_least("accepted_standard", each_ms=0, weed_e4=0, jobs=0),
        *_lengths("accepted_standard", method=48, operation=24, station=48, who=64),
    )


def downgrade() -> None:
    """Take the tables back to the revision before; what was accepted holds no longer."""
    op.drop_table("accepted_standard")
    op.drop_table("recorded_minutes")


def _reference(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [target], name=op.f(f"fk_{table}_{column}"), deferrable=True, initially="DEFERRED"
    )


def _least(table: str, **least: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(f"{column} >= {number}", name=op.f(f"ck_{table}_{column}_least"))
        for column, number in least.items()
    ]


def _lengths(table: str, **most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(
            sa.func.length(sa.column(column)) <= length,
            name=op.f(f"ck_{table}_{column}_length"),
        )
        for column, length in most.items()
    ]


def _at(name: str) -> sa.Column[datetime]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=False)
