"""Every table of the service.

Documents (requests, answers, payloads) are kept as the JSON text that was made once, so that what
is read back is byte for byte what was written, on every store. Money is in integer minor units,
station time in whole seconds, times in UTC. Table classes do not validate: values are checked
before they reach one, and the database's own checks stand behind that, the same on every store.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Index,
    Table,
    Text,
    UniqueConstraint,
    func,
    text,
)
from sqlmodel import Field, Relationship, SQLModel
from sqlmodel.sql.sqltypes import AutoString

from service.store.capacity_tables import Booking, StationDay, StationMargin
from service.store.learning_tables import AcceptedStandard, RecordedMinutes
from service.store.promise_tables import (
    CapacityHold,
    OrderPromise,
    SettledDay,
    StockHold,
)
from service.store.run_tables import (
    Run,
    RunActRow,
    RunActTicket,
    RunClaim,
    RunReprint,
    RunSetup,
)
from service.store.stock_tables import StockIncoming, StockMove, StockSum, TicketNeed
from service.store.table_parts import at_least as _at_least
from service.store.table_parts import metadata, with_default
from service.store.table_parts import one_of as _one_of

__all__ = [
    "DELIVERY_STATES",
    "ORDER_STATES",
    "PIECE_EVENT_KINDS",
    "SCOPES",
    "SPOIL_REASONS",
    "TICKET_STATES",
    "AcceptedStandard",
    "ApiKey",
    "Artwork",
    "BenchSession",
    "Booking",
    "CapacityHold",
    "CatalogueVersion",
    "Delivery",
    "DeliveryAttempt",
    "Event",
    "KeptDocument",
    "Order",
    "OrderPromise",
    "Quote",
    "RecordedMinutes",
    "Run",
    "RunActRow",
    "RunActTicket",
    "RunClaim",
    "RunReprint",
    "RunSetup",
    "SettledDay",
    "StationDay",
    "StationMargin",
    "StockHold",
    "StockIncoming",
    "StockMove",
    "StockSum",
    "StoredAnswer",
    "Ticket",
    "TicketMove",
    "TicketNeed",
    "TicketNote",
    "TicketPiece",
    "TicketTick",
    "WebhookEndpoint",
    "metadata",
]

ORDER_STATES = ("accepted", "in_work", "ready", "sent", "cancelled")
TICKET_STATES = ("waiting", "on_bench", "made", "checked", "sent", "halted", "cancelled")
PIECE_EVENT_KINDS = ("done", "spoiled", "undone", "moved")
SPOIL_REASONS = (
    "misplaced",
    "scorched",
    "wrong-colour",
    "ghosted",
    "lifted",
    "cloth-fault",
    "wrong-size",
    "other",
)
DELIVERY_STATES = ("pending", "delivered", "failed")
SCOPES = ("storefront", "staff", "owner")


class CatalogueVersion(SQLModel, table=True):
    """One immutable version of the catalogue; the newest ``seq`` is the one in force."""

    __tablename__ = "catalogue_version"
    __table_args__: Any = (UniqueConstraint("version"),)

    seq: int | None = Field(default=None, primary_key=True)
    version: str = Field(max_length=64)
    document_json: str = Field(sa_type=Text)
    created_at: datetime


class ApiKey(SQLModel, table=True):
    """A caller's key. Only the SHA-256 of the secret is kept."""

    __tablename__ = "api_key"
    __table_args__: Any = (
        UniqueConstraint("secret_sha256"),
        _one_of("scope", SCOPES),
    )

    id: str = Field(primary_key=True, max_length=40)
    holder: str = Field(max_length=48, index=True)
    scope: str = Field(max_length=16)
    label: str = Field(default="", max_length=80)
    secret_sha256: str = Field(max_length=64)
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None


class BenchSession(SQLModel, table=True):
    """A person signed in at the bench by a key; of the secret only its SHA-256 is kept."""

    __tablename__ = "bench_session"

    secret_sha256: str = Field(primary_key=True, max_length=64)
    key_id: str = Field(max_length=40, foreign_key="api_key.id", index=True)
    who: str = Field(max_length=64)
    created_at: datetime
    expires_at: datetime = Field(index=True)


class Artwork(SQLModel, table=True):
    """An uploaded picture.

    ``sha256``, ``media_type`` and ``byte_size`` are of what was uploaded. What is kept of it is the
    clean copy, which lies in the file store under ``kept_sha256``; where there is none, the row is
    from before copies were made, and the upload itself lies under ``sha256``.
    """

    __tablename__ = "artwork"
    __table_args__: Any = (UniqueConstraint("holder", "sha256"), _at_least("byte_size", 1))

    id: str = Field(primary_key=True, max_length=40)
    holder: str = Field(max_length=48)
    sha256: str = Field(max_length=64)
    kept_sha256: str | None = Field(default=None, max_length=64)
    media_type: str = Field(max_length=40)
    byte_size: int
    rights_declared: bool
    measures_json: str = Field(sa_type=Text)
    created_at: datetime


class Quote(SQLModel, table=True):
    """A priced, dated, time-limited answer, bound to a catalogue version.

    ``inputs_json`` is what the price was reckoned from besides the request and the catalogue:
    measures of its artworks and spoilage seen.
    """

    __tablename__ = "quote"
    __table_args__: Any = (Index(None, "holder", "created_at"), _at_least("total_minor", 0))

    id: str = Field(primary_key=True, max_length=40)
    holder: str = Field(max_length=48)
    catalogue_version: str = Field(max_length=64, foreign_key="catalogue_version.version")
    request_json: str = Field(sa_type=Text)
    answer_json: str = Field(sa_type=Text)
    inputs_json: str = Field(default="{}", sa_type=Text, sa_column_kwargs={"server_default": "{}"})
    cost_json: str = Field(sa_type=Text)
    plan_json: str = Field(sa_type=Text)
    total_minor: int = Field(sa_type=BigInteger)
    currency: str = Field(max_length=3)
    promised_day: date
    created_at: datetime
    expires_at: datetime


class Order(SQLModel, table=True):
    """What was accepted, exactly as quoted. ``version`` counts visible changes."""

    __tablename__ = "customer_order"
    __table_args__: Any = (
        UniqueConstraint("quote_id"),
        Index(None, "holder", "placed_at"),
        _one_of("state", ORDER_STATES),
        _at_least("total_minor", 0),
        _at_least("version", 1),
        _at_least("event_sequence", 0),
    )

    id: str = Field(primary_key=True, max_length=40)
    holder: str = Field(max_length=48)
    quote_id: str = Field(max_length=40, foreign_key="quote.id")
    reference: str = Field(default="", max_length=64)
    state: str = Field(max_length=16)
    total_minor: int = Field(sa_type=BigInteger)
    currency: str = Field(max_length=3)
    promised_day: date
    placed_at: datetime
    version: int = 1
    event_sequence: int = 0


class KeptDocument(SQLModel, table=True):
    """A ticket's document: its steps, settings and materials. Never changed.

    It is written when it is quoted, under the SHA-256 of its text, so that tickets that are to be
    made alike have it in common and accepting writes none.
    """

    __tablename__ = "kept_document"

    sha256: str = Field(primary_key=True, max_length=64)
    document_json: str = Field(sa_type=Text)


class Ticket(SQLModel, table=True):
    """One line's work for the bench, by its document.

    ``station`` is that of the next step still to do, empty when none is. ``method`` is that of
    its one decoration, empty where there are several. ``remake`` counts the tickets
    that make pieces of the line anew, 0 for the line's own; ``remake_of`` names the ticket whose
    pieces they are. ``version`` counts every act: moves, pieces, ticks, notes, remakes and runs.
    ``latest_start_s`` (of the epoch) orders the queue; ``aside_json`` is what a halt gave back.
    """

    __tablename__ = "ticket"
    __table_args__: Any = (
        UniqueConstraint("number"),
        UniqueConstraint("order_id", "line_index", "remake"),
        Index(None, "state", "promised_day", "id"),
        Index(None, "state", "latest_start_s", "id"),
        Index(None, "state", "station", "latest_start_s", "id"),
        _one_of("state", TICKET_STATES),
        _one_of("halted_from", TICKET_STATES),
        _at_least("line_index", 0),
        _at_least("remake", 0),
        _at_least("pieces", 1),
        _at_least("version", 1),
    )

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=16)
    order_id: str = Field(max_length=40, foreign_key="customer_order.id")
    line_index: int
    state: str = Field(max_length=16)
    halted_from: str | None = Field(default=None, max_length=16)
    method: str = Field(default="", max_length=48, sa_column_kwargs={"server_default": text("''")})
    station: str = Field(max_length=48)
    remake: int = 0
    remake_of: str | None = Field(default=None, max_length=16, foreign_key="ticket.number")
    pieces: int
    promised_day: date
    latest_start_s: int = with_default(0, sa_type=BigInteger)
    aside_json: str = with_default("[]", sa_type=Text)
    document_sha256: str = with_default("", max_length=64, foreign_key="kept_document.sha256")
    created_at: datetime
    version: int = 1

    document: KeptDocument = Relationship(
        sa_relationship_kwargs={"lazy": "joined", "viewonly": True}
    )

    @property
    def document_json(self) -> str:
        """The text of its document."""
        return self.document.document_json


class TicketMove(SQLModel, table=True):
    """One move of a ticket: who, when, from where to where, and why. Never deleted."""

    __tablename__ = "ticket_move"
    __table_args__: Any = (
        _one_of("from_state", TICKET_STATES),
        _one_of("to_state", TICKET_STATES),
    )

    id: int | None = Field(default=None, primary_key=True)
    ticket_id: int = Field(foreign_key="ticket.id", index=True)
    move: str = Field(max_length=16)
    from_state: str = Field(max_length=16)
    to_state: str = Field(max_length=16)
    who: str = Field(max_length=64)
    note: str = Field(default="", sa_type=Text)
    at: datetime


class TicketPiece(SQLModel, table=True):
    """What happened to pieces of one size of a ticket, as an entry of its count. Never deleted.

    ``reason``, ``undoes`` and ``note`` are those of a piece event. ``version`` is the ticket's
    after the entry.
    """

    __tablename__ = "ticket_piece"
    __table_args__: Any = (
        _one_of("kind", PIECE_EVENT_KINDS),
        _one_of("undoes", PIECE_EVENT_KINDS),
        _one_of("reason", SPOIL_REASONS),
        _at_least("count", 1),
        _at_least("version", 1),
    )

    id: int | None = Field(default=None, primary_key=True)
    ticket_id: int = Field(foreign_key="ticket.id", index=True)
    kind: str = Field(max_length=16)
    size: str = Field(max_length=16)
    count: int
    reason: str | None = Field(default=None, max_length=16)
    undoes: str | None = Field(default=None, max_length=16)
    note: str = Field(default="", sa_type=Text)
    who: str = Field(max_length=64)
    at: datetime
    version: int


class TicketTick(SQLModel, table=True):
    """A step of a ticket ticked off, or its tick taken back; the last one counts. Never deleted.

    ``version`` is the ticket's after it.
    """

    __tablename__ = "ticket_tick"
    __table_args__: Any = (_at_least("version", 1),)

    id: int | None = Field(default=None, primary_key=True)
    ticket_id: int = Field(foreign_key="ticket.id", index=True)
    step_key: str = Field(max_length=64)
    done: bool
    who: str = Field(max_length=64)
    at: datetime
    version: int


class TicketNote(SQLModel, table=True):
    """What someone wrote on a ticket. Never deleted; ``version`` is the ticket's after it."""

    __tablename__ = "ticket_note"
    __table_args__: Any = (_at_least("version", 1),)

    id: int | None = Field(default=None, primary_key=True)
    ticket_id: int = Field(foreign_key="ticket.id", index=True)
    text: str = Field(sa_type=Text)
    who: str = Field(max_length=64)
    at: datetime
    version: int


class WebhookEndpoint(SQLModel, table=True):
    """Where a storefront wants to hear. ``event_types_json`` is a JSON list; empty means all."""

    __tablename__ = "webhook_endpoint"

    id: str = Field(primary_key=True, max_length=40)
    holder: str = Field(max_length=48, index=True)
    url: str = Field(max_length=2_000)
    event_types_json: str = Field(sa_type=Text)
    secret_sealed: bytes
    created_at: datetime
    disabled_at: datetime | None = None
    disabled_reason: str = Field(default="", max_length=200)


class Event(SQLModel, table=True):
    """What happened, once, written in the transaction that made it true.

    ``sequence`` counts an order's events from 1. ``spread_at`` is set when its deliveries exist.
    """

    __tablename__ = "event"
    __table_args__: Any = (
        UniqueConstraint("order_id", "sequence"),
        Index(None, "spread_at", "seq"),
        _at_least("sequence", 1),
    )

    seq: int | None = Field(default=None, primary_key=True)
    id: str = Field(max_length=40, unique=True)
    holder: str = Field(max_length=48)
    order_id: str = Field(max_length=40, foreign_key="customer_order.id")
    sequence: int
    type: str = Field(max_length=64)
    payload_json: str = Field(sa_type=Text)
    trace_id: str = Field(default="", max_length=32)
    happened_at: datetime
    spread_at: datetime | None = None


class Delivery(SQLModel, table=True):
    """The telling of one event to one endpoint.

    ``claim_token`` and ``lease_until`` keep two senders from telling it at once; a result that
    comes back under another token is dropped.
    """

    __tablename__ = "delivery"
    __table_args__: Any = (
        UniqueConstraint("event_seq", "endpoint_id"),
        Index(None, "state", "next_at"),
        Index(None, "endpoint_id", "order_id", "sequence"),
        _one_of("state", DELIVERY_STATES),
        _at_least("attempts", 0),
    )

    id: int | None = Field(default=None, primary_key=True)
    event_seq: int = Field(foreign_key="event.seq")
    endpoint_id: str = Field(max_length=40, foreign_key="webhook_endpoint.id")
    order_id: str = Field(max_length=40)
    sequence: int
    state: str = Field(max_length=16)
    attempts: int = 0
    next_at: datetime
    lease_until: datetime | None = None
    claim_token: str | None = Field(default=None, max_length=40)
    done_at: datetime | None = None


class DeliveryAttempt(SQLModel, table=True):
    """One attempt to tell an endpoint; ``outcome`` is a word of ours, never the receiver's."""

    __tablename__ = "delivery_attempt"
    __table_args__: Any = (_at_least("attempt", 1), _at_least("duration_ms", 0))

    id: int | None = Field(default=None, primary_key=True)
    delivery_id: int = Field(foreign_key="delivery.id", index=True)
    attempt: int
    at: datetime
    duration_ms: int
    status_code: int | None = None
    outcome: str = Field(max_length=40)


class StoredAnswer(SQLModel, table=True):
    """The answer kept for an idempotency key, replayed to the same caller for the same request."""

    __tablename__ = "stored_answer"
    __table_args__: Any = (CheckConstraint("status BETWEEN 100 AND 599", name="status_known"),)

    caller: str = Field(primary_key=True, max_length=48)
    key: str = Field(primary_key=True, max_length=128)
    fingerprint: str = Field(max_length=64)
    status: int
    headers_json: str = Field(sa_type=Text)
    body_json: str = Field(sa_type=Text)
    created_at: datetime
    expires_at: datetime = Field(index=True)


def _bound_texts(table: Table) -> None:
    # SQLite keeps a text of any length in a VARCHAR(n); a check bounds it as PostgreSQL does.
    for column in table.columns:
        if isinstance(column.type, AutoString):
            bound = func.length(column) <= column.type.length
            table.append_constraint(CheckConstraint(bound, name=f"{column.name}_length"))


def _judge_references_at_commit(table: Table) -> None:
    # No relationship is written by, so a flush writes rows of several tables in any order.
    for reference in table.foreign_key_constraints:
        reference.deferrable = True
        reference.initially = "DEFERRED"


for _table in metadata.sorted_tables:
    _bound_texts(_table)
    _judge_references_at_commit(_table)
