"""Tickets know when they must go on and what a halt gave back; a settled day its catalogue."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0011"
down_revision: str | None = "0010"
branch_labels: None = None
depends_on: None = None

_EPOCH = {
    "sqlite": "CAST(strftime('%s', promised_day) AS INTEGER)",
    "postgresql": "CAST(extract(epoch FROM promised_day) AS BIGINT)",
}


def upgrade() -> None:
    """Bring the tables up to this revision.

    Tickets from before go by their promised day until the day is settled for the first time.
    """
    op.add_column(
        "ticket",
        sa.Column("latest_start_s", sa.BigInteger(), server_default=sa.text("0"), nullable=False),
    )
    op.execute("ALTER TABLE ticket ADD COLUMN aside_json TEXT DEFAULT '[]' NOT NULL")
    op.execute(f"UPDATE ticket SET latest_start_s = {_EPOCH[op.get_bind().dialect.name]}")
    op.drop_index(op.f("ix_ticket_state_station_promised_day_id"), table_name="ticket")
    op.create_index(
        op.f("ix_ticket_state_latest_start_s_id"), "ticket", ["state", "latest_start_s", "id"]
    )
    op.create_index(
        op.f("ix_ticket_state_station_latest_start_s_id"),
        "ticket",
        ["state", "station", "latest_start_s", "id"],
    )
    op.execute(
        "ALTER TABLE settled_day ADD COLUMN catalogue_version VARCHAR(64) DEFAULT '' NOT NULL "
        "CONSTRAINT ck_settled_day_catalogue_version_length CHECK (length(catalogue_version) <= 64)"
    )


def downgrade() -> None:
    """Take the tables back to the revision before."""
    op.execute("ALTER TABLE settled_day DROP COLUMN catalogue_version")
    op.drop_index(op.f("ix_ticket_state_station_latest_start_s_id"), table_name="ticket")
    op.drop_index(op.f("ix_ticket_state_latest_start_s_id"), table_name="ticket")
    op.create_index(
        op.f("ix_ticket_state_station_promised_day_id"),
        "ticket",
        ["state", "station", "promised_day", "id"],
    )
    op.execute("ALTER TABLE ticket DROP COLUMN aside_json")
    op.execute("ALTER TABLE ticket DROP COLUMN latest_start_s")
