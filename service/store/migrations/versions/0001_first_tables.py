"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0001"
down_revision: str | None = None
branch_labels: None = None
depends_on: None = None


def upgrade() -> None:
    """Bring the tables up to this revision."""
    _create_api_key()
    _create_artwork()
    _create_catalogue_version()
    _create_station_day()
    _create_stored_answer()
    _create_webhook_endpoint()
    _create_quote()
    _create_customer_order()
    _create_event()
    _create_ticket()
    _create_booking()
    _create_delivery()
    _create_ticket_move()
    _create_delivery_attempt()


def downgrade() -> None:
    """Drop every table, those that refer to others first."""
    for table in (
        "delivery_attempt",
        "ticket_move",
        "delivery",
        "booking",
        "ticket",
        "event",
        "customer_order",
        "quote",
        "webhook_endpoint",
        "stored_answer",
        "station_day",
        "catalogue_version",
        "artwork",
        "api_key",
    ):
        op.drop_table(table)


def _reference(column: str, target: str, name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [target], name=name, deferrable=True, initially="DEFERRED"
    )


def _lengths(table: str, **most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(
            sa.func.length(sa.column(column)) <= length,
            name=op.f(f"ck_{table}_{column}_length"),
        )
        for column, length in most.items()
    ]


def _create_api_key() -> None:
    op.create_table(
        "api_key",
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("scope", sa.String(16), nullable=False),
        sa.Column("label", sa.String(80), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("secret_sha256", name=op.f("uq_api_key_secret_sha256")),
        sa.CheckConstraint(
            "scope IN ('storefront', 'staff', 'owner')", name=op.f("ck_api_key_scope_known")
        ),
        *_lengths("api_key", id=40, holder=48, scope=16, label=80, secret_sha256=64),
    )
    op.create_index(op.f("ix_api_key_holder"), "api_key", ["holder"])


def _create_artwork() -> None:
    op.create_table(
        "artwork",
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("media_type", sa.String(40), nullable=False),
        sa.Column("byte_size", sa.Integer(), nullable=False),
        sa.Column("rights_declared", sa.Boolean(), nullable=False),
        sa.Column("measures_json", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_artwork")),
        sa.UniqueConstraint("holder", "sha256", name=op.f("uq_artwork_holder_sha256")),
        sa.CheckConstraint("byte_size >= 1", name=op.f("ck_artwork_byte_size_least")),
        *_lengths("artwork", id=40, holder=48, sha256=64, media_type=40),
    )


def _create_catalogue_version() -> None:
    op.create_table(
        "catalogue_version",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(64), nullable=False),
        sa.Column("document_json", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_catalogue_version")),
        sa.UniqueConstraint("version", name=op.f("uq_catalogue_version_version")),
        *_lengths("catalogue_version", version=64),
    )


def _create_station_day() -> None:
    op.create_table(
        "station_day",
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("booked_s", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("station", "day", name=op.f("pk_station_day")),
        sa.CheckConstraint("booked_s >= 0", name=op.f("ck_station_day_booked_s_least")),
        *_lengths("station_day", station=48),
    )


def _create_stored_answer() -> None:
    op.create_table(
        "stored_answer",
        sa.Column("caller", sa.String(48), nullable=False),
        sa.Column("key", sa.String(128), nullable=False),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers_json", sa.Text(), nullable=False),
        sa.Column("body_json", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("caller", "key", name=op.f("pk_stored_answer")),
        sa.CheckConstraint(
            "status BETWEEN 100 AND 599", name=op.f("ck_stored_answer_status_known")
        ),
        *_lengths("stored_answer", caller=48, key=128, fingerprint=64),
    )
    op.create_index(op.f("ix_stored_answer_expires_at"), "stored_answer", ["expires_at"])


def _create_webhook_endpoint() -> None:
    op.create_table(
        "webhook_endpoint",
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("url", sa.String(2000), nullable=False),
        sa.Column("event_types_json", sa.Text(), nullable=False),
        sa.Column("secret_sealed", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("disabled_reason", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_endpoint")),
        *_lengths("webhook_endpoint", id=40, holder=48, url=2000, disabled_reason=200),
    )
    op.create_index(op.f("ix_webhook_endpoint_holder"), "webhook_endpoint", ["holder"])


def _create_quote() -> None:
    op.create_table(
        "quote",
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("catalogue_version", sa.String(64), nullable=False),
        sa.Column("request_json", sa.Text(), nullable=False),
        sa.Column("answer_json", sa.Text(), nullable=False),
        sa.Column("cost_json", sa.Text(), nullable=False),
        sa.Column("plan_json", sa.Text(), nullable=False),
        sa.Column("total_minor", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("promised_day", sa.Date(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote")),
        sa.CheckConstraint("total_minor >= 0", name=op.f("ck_quote_total_minor_least")),
        _reference(
            "catalogue_version", "catalogue_version.version", op.f("fk_quote_catalogue_version")
        ),
        *_lengths("quote", id=40, holder=48, catalogue_version=64, currency=3),
    )
    op.create_index(op.f("ix_quote_holder_created_at"), "quote", ["holder", "created_at"])


def _create_customer_order() -> None:
    op.create_table(
        "customer_order",
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("quote_id", sa.String(40), nullable=False),
        sa.Column("reference", sa.String(64), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("total_minor", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("promised_day", sa.Date(), nullable=False),
        sa.Column("placed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("event_sequence", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer_order")),
        sa.UniqueConstraint("quote_id", name=op.f("uq_customer_order_quote_id")),
        sa.CheckConstraint(
            "state IN ('accepted', 'in_work', 'ready', 'sent', 'cancelled')",
            name=op.f("ck_customer_order_state_known"),
        ),
        sa.CheckConstraint("total_minor >= 0", name=op.f("ck_customer_order_total_minor_least")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_customer_order_version_least")),
        sa.CheckConstraint(
            "event_sequence >= 0", name=op.f("ck_customer_order_event_sequence_least")
        ),
        _reference("quote_id", "quote.id", op.f("fk_customer_order_quote_id")),
        *_lengths(
            "customer_order", id=40, holder=48, quote_id=40, reference=64, state=16, currency=3
        ),
    )
    op.create_index(
        op.f("ix_customer_order_holder_placed_at"), "customer_order", ["holder", "placed_at"]
    )


def _create_event() -> None:
    op.create_table(
        "event",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(48), nullable=False),
        sa.Column("order_id", sa.String(40), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("type", sa.String(64), nullable=False),
        sa.Column("payload_json", sa.Text(), nullable=False),
        sa.Column("trace_id", sa.String(32), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("spread_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_event")),
        sa.UniqueConstraint("order_id", "sequence", name=op.f("uq_event_order_id_sequence")),
        sa.CheckConstraint("sequence >= 1", name=op.f("ck_event_sequence_least")),
        sa.UniqueConstraint("id", name=op.f("uq_event_id")),
        _reference("order_id", "customer_order.id", op.f("fk_event_order_id")),
        *_lengths("event", id=40, holder=48, order_id=40, type=64, trace_id=32),
    )
    op.create_index(op.f("ix_event_spread_at_seq"), "event", ["spread_at", "seq"])


def _create_ticket() -> None:
    op.create_table(
        "ticket",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(16), nullable=False),
        sa.Column("order_id", sa.String(40), nullable=False),
        sa.Column("line_index", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("halted_from", sa.String(16), nullable=True),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("promised_day", sa.Date(), nullable=False),
        sa.Column("document_json", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket")),
        sa.UniqueConstraint("number", name=op.f("uq_ticket_number")),
        sa.UniqueConstraint("order_id", "line_index", name=op.f("uq_ticket_order_id_line_index")),
        sa.CheckConstraint(
            "state IN ('waiting', 'on_bench', 'made', 'checked', 'sent', 'halted', 'cancelled')",
            name=op.f("ck_ticket_state_known"),
        ),
        sa.CheckConstraint(
            "halted_from IN ('waiting', 'on_bench', 'made', 'checked', 'sent', 'halted', 'cancelled')",
            name=op.f("ck_ticket_halted_from_known"),
        ),
        sa.CheckConstraint("line_index >= 0", name=op.f("ck_ticket_line_index_least")),
        sa.CheckConstraint("pieces >= 1", name=op.f("ck_ticket_pieces_least")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_ticket_version_least")),
        _reference("order_id", "customer_order.id", op.f("fk_ticket_order_id")),
        *_lengths("ticket", number=16, order_id=40, state=16, halted_from=16),
    )
    op.create_index(
        op.f("ix_ticket_state_promised_day_id"), "ticket", ["state", "promised_day", "id"]
    )


def _create_booking() -> None:
    op.create_table(
        "booking",
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("ticket_id", "station", "day", name=op.f("pk_booking")),
        sa.CheckConstraint("seconds >= 0", name=op.f("ck_booking_seconds_least")),
        _reference("ticket_id", "ticket.id", op.f("fk_booking_ticket_id")),
        *_lengths("booking", station=48),
    )


def _create_delivery() -> None:
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event_seq", sa.Integer(), nullable=False),
        sa.Column("endpoint_id", sa.String(40), nullable=False),
        sa.Column("order_id", sa.String(40), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("claim_token", sa.String(40), nullable=True),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery")),
        sa.UniqueConstraint(
            "event_seq", "endpoint_id", name=op.f("uq_delivery_event_seq_endpoint_id")
        ),
        sa.CheckConstraint(
            "state IN ('pending', 'delivered', 'failed')", name=op.f("ck_delivery_state_known")
        ),
        sa.CheckConstraint("attempts >= 0", name=op.f("ck_delivery_attempts_least")),
        _reference("event_seq", "event.seq", op.f("fk_delivery_event_seq")),
        _reference("endpoint_id", "webhook_endpoint.id", op.f("fk_delivery_endpoint_id")),
        *_lengths("delivery", endpoint_id=40, order_id=40, state=16, claim_token=40),
    )
    op.create_index(
        op.f("ix_delivery_endpoint_id_order_id_sequence"),
        "delivery",
        ["endpoint_id", "order_id", "sequence"],
    )
    op.create_index(op.f("ix_delivery_state_next_at"), "delivery", ["state", "next_at"])


def _create_ticket_move() -> None:
    op.create_table(
        "ticket_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("move", sa.String(16), nullable=False),
        sa.Column("from_state", sa.String(16), nullable=False),
        sa.Column("to_state", sa.String(16), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_move")),
        sa.CheckConstraint(
            "from_state IN ('waiting', 'on_bench', 'made', 'checked', 'sent', 'halted', 'cancelled')",
            name=op.f("ck_ticket_move_from_state_known"),
        ),
        sa.CheckConstraint(
            "to_state IN ('waiting', 'on_bench', 'made', 'checked', 'sent', 'halted', 'cancelled')",
            name=op.f("ck_ticket_move_to_state_known"),
        ),
        _reference("ticket_id", "ticket.id", op.f("fk_ticket_move_ticket_id")),
        *_lengths("ticket_move", move=16, from_state=16, to_state=16, who=64),
    )
    op.create_index(op.f("ix_ticket_move_ticket_id"), "ticket_move", ["ticket_id"])


def _create_delivery_attempt() -> None:
    op.create_table(
        "delivery_attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("delivery_id", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("duration_ms", sa.Integer(), nullable=False),
        sa.Column("status_code", sa.Integer(), nullable=True),
        sa.Column("outcome", sa.String(40), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery_attempt")),
        sa.CheckConstraint("attempt >= 1", name=op.f("ck_delivery_attempt_attempt_least")),
        sa.CheckConstraint("duration_ms >= 0", name=op.f("ck_delivery_attempt_duration_ms_least")),
        _reference("delivery_id", "delivery.id", op.f("fk_delivery_attempt_delivery_id")),
        *_lengths("delivery_attempt", outcome=40),
    )
    op.create_index(op.f("ix_delivery_attempt_delivery_id"), "delivery_attempt", ["delivery_id"])
