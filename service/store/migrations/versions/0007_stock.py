"""Stock is a ledger by size, with what open tickets need and what is on its way."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa
from alembic import op

revision: str = "0007"
down_revision: str | None = "0006"
branch_labels: None = None
depends_on: None = None

_COLUMNS = "id, kind, item, colour, quantity, unit, reason, run_id, who, note, at"


def upgrade() -> None:
    """Bring the tables up to this revision.

    Open tickets need what their documents say: blanks those that were never started, film those
    that are not finished. A film that lies on several decorations is put to the first; ink was not
    told by the ticket.
    """
    _remake_stock_move(_new_parts(), "quantity <> 0 OR reason = 'count'")
    op.create_index(
        op.f("ix_stock_move_kind_item_colour_size_unit_quantity"),
        "stock_move",
        ["kind", "item", "colour", "size", "unit", "quantity"],
    )
    op.create_index(op.f("ix_stock_move_at"), "stock_move", ["at"])
    op.create_index(op.f("ix_stock_move_ticket_id"), "stock_move", ["ticket_id"])
    _create_ticket_need()
    _create_stock_incoming()
    _need_blanks()
    _need_media()


def downgrade() -> None:
    """Take the tables back to the revision before: only what runs took stays in the ledger."""
    op.drop_table("stock_incoming")
    op.drop_table("ticket_need")
    op.execute("DELETE FROM stock_move WHERE reason NOT IN ('run', 'run_dissolved')")
    _remake_stock_move([], "quantity <> 0")
    op.create_index(
        op.f("ix_stock_move_kind_item_colour_id"), "stock_move", ["kind", "item", "colour", "id"]
    )


def _remake_stock_move(more: Sequence[sa.schema.SchemaItem], not_nothing: str) -> None:
    """Make the table anew, which SQLite cannot alter, and move its rows.

    Names of constraints and indexes are used once in a schema, so the old ones go first.
    """
    op.execute("CREATE TABLE stock_move_before AS SELECT * FROM stock_move")
    op.drop_table("stock_move")
    op.create_table(
        "stock_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("item", sa.String(48), nullable=False),
        sa.Column("colour", sa.String(200), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("reason", sa.String(24), nullable=False),
        sa.Column("run_id", sa.String(40), nullable=True),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _at("at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
        sa.CheckConstraint(not_nothing, name=op.f("ck_stock_move_quantity_not_nothing")),
        _reference("stock_move", "run_id", "run.id"),
        *_lengths(
            "stock_move", kind=16, item=48, colour=200, unit=16, reason=24, run_id=40, who=64
        ),
        *more,
    )
    added, given = (", size", ", ''") if more else ("", "")
    op.execute(
        f"INSERT INTO stock_move ({_COLUMNS}{added}) "  # noqa: S608 - our own names
        f"SELECT {_COLUMNS}{given} FROM stock_move_before ORDER BY id"
    )
    op.drop_table("stock_move_before")
    if not _on_sqlite():
        op.execute(
            "SELECT setval(pg_get_serial_sequence('stock_move', 'id'), "
            "coalesce((SELECT max(id) FROM stock_move), 0) + 1, false)"
        )
        # What waits to be checked at the commit would keep the table from being altered.
        op.execute("SET CONSTRAINTS ALL IMMEDIATE")
    op.create_index(op.f("ix_stock_move_run_id"), "stock_move", ["run_id"])


def _new_parts() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("size", sa.String(16), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=True),
        _reference("stock_move", "ticket_id", "ticket.id"),
        *_lengths("stock_move", size=16),
    ]


def _create_ticket_need() -> None:
    op.create_table(
        "ticket_need",
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("item", sa.String(48), nullable=False),
        sa.Column("colour", sa.String(200), nullable=False),
        sa.Column("size", sa.String(16), nullable=False),
        sa.Column("decoration", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.PrimaryKeyConstraint(
            "ticket_id",
            "kind",
            "item",
            "colour",
            "size",
            "decoration",
            name=op.f("pk_ticket_need"),
        ),
        _least("ticket_need", "decoration", 0),
        _least("ticket_need", "quantity", 1),
        _reference("ticket_need", "ticket_id", "ticket.id"),
        *_lengths("ticket_need", kind=16, item=48, colour=200, size=16, unit=16),
    )
    op.create_index(
        op.f("ix_ticket_need_by_thing"),
        "ticket_need",
        ["kind", "item", "colour", "size", "unit", "decoration", "ticket_id", "quantity"],
    )


def _create_stock_incoming() -> None:
    op.create_table(
        "stock_incoming",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("item", sa.String(48), nullable=False),
        sa.Column("colour", sa.String(200), nullable=False),
        sa.Column("size", sa.String(16), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("expected_on", sa.Date(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _at("at"),
        sa.Column("closed_by", sa.String(64), nullable=True),
        sa.Column("closed_note", sa.Text(), nullable=False),
        _at("closed_at", nullable=True),
        sa.Column("move_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_stock_incoming")),
        sa.UniqueConstraint("id", name=op.f("uq_stock_incoming_id")),
        sa.CheckConstraint(
            "state IN ('expected', 'received', 'called_off')",
            name=op.f("ck_stock_incoming_state_known"),
        ),
        _least("stock_incoming", "quantity", 1),
        _reference("stock_incoming", "move_id", "stock_move.id"),
        *_lengths(
            "stock_incoming",
            id=40,
            kind=16,
            item=48,
            colour=200,
            size=16,
            unit=16,
            state=16,
            who=64,
            closed_by=64,
        ),
    )
    op.create_index(
        op.f("ix_stock_incoming_state_expected_on_seq"),
        "stock_incoming",
        ["state", "expected_on", "seq"],
    )
    op.create_index(op.f("ix_stock_incoming_move_id"), "stock_incoming", ["move_id"])


def _need_blanks() -> None:
    """Blanks to take, as told by size, or before that was told the pieces wanted."""
    sizes = (
        "json_each(coalesce(json_extract(ticket.document_json, '$.starts_by_size'), "
        "json_extract(ticket.document_json, '$.pieces_by_size')))"
        if _on_sqlite()
        else "json_each_text(coalesce(ticket.document_json::json -> 'starts_by_size', "
        "ticket.document_json::json -> 'pieces_by_size'))"
    )
    blank, colour = _text("ticket.document_json", "blank_id", "colour_id")
    op.execute(
        "INSERT INTO ticket_need "  # noqa: S608 - our own names
        "(ticket_id, kind, item, colour, size, decoration, quantity, unit) "
        f"SELECT ticket.id, 'blank', {blank}, {colour}, of_size.key, 0, "
        "CAST(of_size.value AS INTEGER), 'pieces' "
        f"FROM ticket CROSS JOIN {sizes} AS of_size "
        "WHERE coalesce(ticket.halted_from, ticket.state) = 'waiting' "
        f"AND {blank} IS NOT NULL AND {colour} IS NOT NULL "
        "AND CAST(of_size.value AS INTEGER) > 0 "
        "AND NOT EXISTS (SELECT 1 FROM ticket_move WHERE ticket_move.ticket_id = ticket.id "
        "AND ticket_move.move = 'start')"
    )


def _need_media() -> None:
    rows = (
        "json_each(ticket.document_json, '$.materials')"
        if _on_sqlite()
        else "json_array_elements(coalesce(ticket.document_json::json -> 'materials', "
        "'[]'::json)) WITH ORDINALITY"
    )
    alias = "of_medium" if _on_sqlite() else "of_medium (value, place)"
    medium, colour, length_mm, sheets = _text(
        "of_medium.value", "medium", "colour", "length_mm", "sheets"
    )
    quantity = (
        f"coalesce(CAST({sheets} AS INTEGER), "
        f"CAST(round(CAST({length_mm} AS NUMERIC) * 1000) AS BIGINT))"
    )
    op.execute(
        "INSERT INTO ticket_need "  # noqa: S608 - our own names
        "(ticket_id, kind, item, colour, size, decoration, quantity, unit) "
        f"SELECT ticket.id, 'medium', {medium}, coalesce({colour}, ''), '', 0, {quantity}, "
        f"CASE WHEN {sheets} IS NULL THEN 'um' ELSE 'sheets' END "
        f"FROM ticket CROSS JOIN {rows} AS {alias} "
        "WHERE coalesce(ticket.halted_from, ticket.state) IN ('waiting', 'on_bench') "
        f"AND {medium} IS NOT NULL AND {quantity} > 0"
    )


def _text(document: str, *names: str) -> list[str]:
    """Members of a JSON document as text."""
    if _on_sqlite():
        return [f"json_extract({document}, '$.{name}')" for name in names]
    return [f"({document}::json ->> '{name}')" for name in names]


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _reference(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [target], name=op.f(f"fk_{table}_{column}"), deferrable=True, initially="DEFERRED"
    )


def _least(table: str, column: str, least: int) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} >= {least}", name=op.f(f"ck_{table}_{column}_least"))


def _lengths(table: str, **most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(
            sa.func.length(sa.column(column)) <= length,
            name=op.f(f"ck_{table}_{column}_length"),
        )
        for column, length in most.items()
    ]


def _at(name: str, *, nullable: bool = False) -> sa.Column[datetime]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)
