"""How much later work may still delay what was accepted, by station and day."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0013"
down_revision: str | None = "0012"
branch_labels: None = None
depends_on: None = None

_FREED = {"freed_s": "INTEGER", "freed_rush_s": "INTEGER", "freed_squares_s2": "BIGINT"}


def upgrade() -> None:
    """Bring the tables up to this revision; orders accepted before leave no margin."""
    op.create_table(
        "station_margin",
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("rush", sa.Boolean(), nullable=False),
        sa.Column("margin_s", sa.Integer(), nullable=False),
        sa.Column("courses", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("station", "day", "rush", name=op.f("pk_station_margin")),
        sa.CheckConstraint("margin_s >= 0", name=op.f("ck_station_margin_margin_s_least")),
        sa.CheckConstraint("courses >= 0", name=op.f("ck_station_margin_courses_least")),
        sa.CheckConstraint(
            sa.func.length(sa.column("station")) <= 48,
            name=op.f("ck_station_margin_station_length"),
        ),
    )
    for name, kind in _FREED.items():
        op.execute(
            f"ALTER TABLE station_day ADD COLUMN {name} {kind} DEFAULT 0 NOT NULL "
            f"CONSTRAINT ck_station_day_{name}_least CHECK ({name} >= 0)"
        )
    op.create_index(op.f("ix_station_margin_day"), "station_margin", ["day"])


def downgrade() -> None:
    """Take the tables back to the revision before."""
    for name in _FREED:
        op.execute(f"ALTER TABLE station_day DROP COLUMN {name}")
    op.drop_index(op.f("ix_station_margin_day"), "station_margin")
    op.drop_table("station_margin")
