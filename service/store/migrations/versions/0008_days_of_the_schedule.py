"""Station days and bookings are found by their day, as the schedule reads them."""

from __future__ import annotations

from alembic import op

revision: str = "0008"
down_revision: str | None = "0007"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision."""
    op.create_index(op.f("ix_station_day_day"), "station_day", ["day"])
    op.create_index(op.f("ix_booking_day_ticket_id"), "booking", ["day", "ticket_id"])


def downgrade() -> None:
    """Take the tables back to the revision before."""
    op.drop_index(op.f("ix_booking_day_ticket_id"), table_name="booking")
    op.drop_index(op.f("ix_station_day_day"), table_name="station_day")
