"""Promises are kept with what became of them, quotes may hold, and station time tells of rush."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0009"
down_revision: str | None = "0008"
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision.

    What is booked of finished tickets is worked. Orders from before are not looked back on, for
    what their promise was made of was not kept.
    """
    _alter_bookings()
    _create_capacity_hold()
    _create_stock_hold()
    _create_order_promise()
    op.create_table(
        "settled_day",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("day", name=op.f("pk_settled_day")),
    )


def downgrade() -> None:
    """Take the tables back to the revision before."""
    for table in ("settled_day", "order_promise", "stock_hold", "capacity_hold"):
        op.drop_table(table)
    op.drop_index(op.f("ix_booking_worked_day_ticket_id"), table_name="booking")
    for table, column in (
        ("booking", "worked"),
        ("booking", "rush"),
        ("station_day", "squares_s2"),
        ("station_day", "rush_s"),
    ):
        op.execute(f"ALTER TABLE {table} DROP COLUMN {column}")


def _alter_bookings() -> None:
    op.execute(
        "ALTER TABLE station_day ADD COLUMN rush_s INTEGER DEFAULT 0 NOT NULL "
        "CONSTRAINT ck_station_day_rush_s_least CHECK (rush_s >= 0)"
    )
    op.add_column(
        "station_day",
        sa.Column("squares_s2", sa.BigInteger(), server_default=sa.text("0"), nullable=False),
    )
    for name in ("rush", "worked"):
        op.add_column(
            "booking", sa.Column(name, sa.Boolean(), server_default=sa.false(), nullable=False)
        )
    op.create_index(
        op.f("ix_booking_worked_day_ticket_id"), "booking", ["worked", "day", "ticket_id"]
    )
    op.execute(
        "UPDATE station_day SET squares_s2 = (SELECT coalesce(sum(CAST(b.seconds AS BIGINT) * "
        "b.seconds), 0) FROM booking b WHERE b.station = station_day.station "
        "AND b.day = station_day.day)"
    )
    op.execute(
        "UPDATE booking SET worked = true WHERE ticket_id IN "
        "(SELECT id FROM ticket WHERE state IN ('made', 'checked', 'sent'))"
    )


def _create_capacity_hold() -> None:
    op.create_table(
        "capacity_hold",
        sa.Column("quote_id", sa.String(length=40), nullable=False),
        sa.Column("part", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(length=48), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.Column("rush", sa.Boolean(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        *_lengths("capacity_hold", quote_id=40, station=48),
        sa.CheckConstraint("part >= 0", name=op.f("ck_capacity_hold_part_least")),
        sa.CheckConstraint("seconds >= 1", name=op.f("ck_capacity_hold_seconds_least")),
        _reference("capacity_hold", "quote_id", "quote.id"),
        sa.PrimaryKeyConstraint("quote_id", "part", name=op.f("pk_capacity_hold")),
    )
    op.create_index(op.f("ix_capacity_hold_expires_at"), "capacity_hold", ["expires_at"])


def _create_stock_hold() -> None:
    key = ("quote_id", "kind", "item", "colour", "size")
    op.create_table(
        "stock_hold",
        sa.Column("quote_id", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("item", sa.String(length=48), nullable=False),
        sa.Column("colour", sa.String(length=200), nullable=False),
        sa.Column("size", sa.String(length=16), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        *_lengths("stock_hold", quote_id=40, kind=16, item=48, colour=200, size=16, unit=16),
        sa.CheckConstraint("quantity >= 1", name=op.f("ck_stock_hold_quantity_least")),
        _reference("stock_hold", "quote_id", "quote.id"),
        sa.PrimaryKeyConstraint(*key, name=op.f("pk_stock_hold")),
    )
    op.create_index(op.f("ix_stock_hold_expires_at"), "stock_hold", ["expires_at"])


def _create_order_promise() -> None:
    op.create_table(
        "order_promise",
        sa.Column("order_id", sa.String(length=40), nullable=False),
        sa.Column("method", sa.String(length=48), nullable=False),
        sa.Column("rush", sa.Boolean(), nullable=False),
        sa.Column("promised_day", sa.Date(), nullable=False),
        sa.Column("nominal_day", sa.Date(), nullable=False),
        sa.Column("median_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("quantile_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("target_percent", sa.Integer(), nullable=False),
        sa.Column("load_permille", sa.Integer(), nullable=False),
        sa.Column("corrected_millidays", sa.Integer(), nullable=False),
        sa.Column("expected_day", sa.Date(), nullable=False),
        sa.Column("told_day", sa.Date(), nullable=True),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed", sa.Boolean(), nullable=False),
        *_lengths("order_promise", order_id=40, method=48),
        sa.CheckConstraint("load_permille >= 0", name=op.f("ck_order_promise_load_permille_least")),
        _reference("order_promise", "order_id", "customer_order.id"),
        sa.PrimaryKeyConstraint("order_id", name=op.f("pk_order_promise")),
    )
    op.create_index(
        op.f("ix_order_promise_promised_day_order_id"),
        "order_promise",
        ["promised_day", "order_id"],
    )
    op.create_index(
        op.f("ix_order_promise_closed_expected_day"), "order_promise", ["closed", "expected_day"]
    )


def _lengths(table: str, **most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(f"length({column}) <= {length}", name=op.f(f"ck_{table}_{column}_length"))
        for column, length in most.items()
    ]


def _reference(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [to], name=op.f(f"fk_{table}_{column}"), initially="DEFERRED", deferrable=True
    )
