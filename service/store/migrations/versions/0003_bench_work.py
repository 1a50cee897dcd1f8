"""What happens to a ticket on the bench: pieces, ticks, notes, its station, and remakes."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "0003"
down_revision: str | None = "0002"
branch_labels: None = None
depends_on: None = None

_STATES = "('waiting', 'on_bench', 'made', 'checked', 'sent', 'halted', 'cancelled')"
_KINDS = "('done', 'spoiled', 'undone', 'moved')"
_REASONS = (
    "('misplaced', 'scorched', 'wrong-colour', 'ghosted', 'lifted', 'cloth-fault', 'wrong-size', "
    "'other')"
)
_COLUMNS = (
    "id, number, order_id, line_index, state, halted_from, pieces, promised_day, document_json, "
    "created_at, version"
)


def upgrade() -> None:
    """Bring the tables up to this revision.

    A ticket waits at the station of its first step. Where one was finished before pieces were
    counted, finishing meant that all were good, and is entered so in the name of who finished it.
    """
    if _on_sqlite():
        _rebuild("ticket_built", _new_columns(), f"{_COLUMNS}, 0, {_first_station()}")
    else:
        _alter()
    op.create_index(
        op.f("ix_ticket_state_station_promised_day_id"),
        "ticket",
        ["state", "station", "promised_day", "id"],
    )
    _create_ticket_piece()
    _create_ticket_tick()
    _create_ticket_note()
    _count_finished()


def downgrade() -> None:
    """Take the tables back to the revision before: what was entered at the bench is dropped.

    Tickets that make pieces anew stay, as lines of their own far beyond an order's lines.
    """
    for table in ("ticket_note", "ticket_tick", "ticket_piece"):
        op.drop_table(table)
    op.execute("UPDATE ticket SET line_index = 1000000 + id WHERE remake > 0")
    if _on_sqlite():
        _rebuild("ticket_built", _old_columns(), _COLUMNS)
        return
    op.drop_index(op.f("ix_ticket_state_station_promised_day_id"), "ticket")
    op.drop_constraint(op.f("uq_ticket_order_id_line_index_remake"), "ticket", type_="unique")
    op.create_unique_constraint(
        op.f("uq_ticket_order_id_line_index"), "ticket", ["order_id", "line_index"]
    )
    for column in ("station", "remake_of", "remake"):
        op.drop_column("ticket", column)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _first_station() -> str:
    if _on_sqlite():
        return "coalesce(json_extract(document_json, '$.steps[0].station'), '')"
    return "coalesce(document_json::json -> 'steps' -> 0 ->> 'station', '')"


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


def _alter() -> None:
    op.add_column("ticket", sa.Column("station", sa.String(48), nullable=True))
    op.add_column("ticket", sa.Column("remake", sa.Integer(), nullable=True))
    op.add_column("ticket", sa.Column("remake_of", sa.String(16), nullable=True))
    op.execute(f"UPDATE ticket SET remake = 0, station = {_first_station()}")  # noqa: S608 - ours
    # What waits to be checked at the commit would keep the table from being altered.
    op.execute("SET CONSTRAINTS ALL IMMEDIATE")
    op.alter_column("ticket", "station", nullable=False)
    op.alter_column("ticket", "remake", nullable=False)
    op.drop_constraint(op.f("uq_ticket_order_id_line_index"), "ticket", type_="unique")
    op.create_unique_constraint(
        op.f("uq_ticket_order_id_line_index_remake"), "ticket", ["order_id", "line_index", "remake"]
    )
    op.create_foreign_key(
        op.f("fk_ticket_remake_of"),
        "ticket",
        "ticket",
        ["remake_of"],
        ["number"],
        deferrable=True,
        initially="DEFERRED",
    )
    op.create_check_constraint(op.f("ck_ticket_remake_least"), "ticket", "remake >= 0")
    for column, length in {"station": 48, "remake_of": 16}.items():
        op.create_check_constraint(
            op.f(f"ck_ticket_{column}_length"),
            "ticket",
            sa.func.length(sa.column(column)) <= length,
        )


def _rebuild(name: str, differing: Sequence[sa.schema.SchemaItem], selected: str) -> None:
    """Make the table anew with all its checks, which SQLite cannot alter, and move the rows.

    ``selected`` gives a value for each column but ``remake_of``, in the order of the table's.
    """
    op.create_table(name, *_standing_columns(), *differing)
    added = ", remake, station" if len(selected) > len(_COLUMNS) else ""
    op.execute(
        f"INSERT INTO {name} ({_COLUMNS}{added}) SELECT {selected} FROM ticket"  # noqa: S608 - ours
    )
    op.drop_table("ticket")
    op.rename_table(name, "ticket")
    op.create_index(
        op.f("ix_ticket_state_promised_day_id"), "ticket", ["state", "promised_day", "id"]
    )


def _standing_columns() -> list[sa.schema.SchemaItem]:
    return [
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
        sa.CheckConstraint(f"state IN {_STATES}", name=op.f("ck_ticket_state_known")),
        sa.CheckConstraint(f"halted_from IN {_STATES}", name=op.f("ck_ticket_halted_from_known")),
        sa.CheckConstraint("line_index >= 0", name=op.f("ck_ticket_line_index_least")),
        sa.CheckConstraint("pieces >= 1", name=op.f("ck_ticket_pieces_least")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_ticket_version_least")),
        _reference("order_id", "customer_order.id", op.f("fk_ticket_order_id")),
        *_lengths("ticket", number=16, order_id=40, state=16, halted_from=16),
    ]


def _old_columns() -> list[sa.schema.SchemaItem]:
    return [
        sa.UniqueConstraint("order_id", "line_index", name=op.f("uq_ticket_order_id_line_index"))
    ]


def _new_columns() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("station", sa.String(48), nullable=False),
        sa.Column("remake", sa.Integer(), nullable=False),
        sa.Column("remake_of", sa.String(16), nullable=True),
        sa.UniqueConstraint(
            "order_id", "line_index", "remake", name=op.f("uq_ticket_order_id_line_index_remake")
        ),
        sa.CheckConstraint("remake >= 0", name=op.f("ck_ticket_remake_least")),
        _reference("remake_of", "ticket.number", op.f("fk_ticket_remake_of")),
        *_lengths("ticket", station=48, remake_of=16),
    ]


def _create_ticket_piece() -> None:
    op.create_table(
        "ticket_piece",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("size", sa.String(16), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(16), nullable=True),
        sa.Column("undoes", sa.String(16), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_piece")),
        sa.CheckConstraint(f"kind IN {_KINDS}", name=op.f("ck_ticket_piece_kind_known")),
        sa.CheckConstraint(f"undoes IN {_KINDS}", name=op.f("ck_ticket_piece_undoes_known")),
        sa.CheckConstraint(f"reason IN {_REASONS}", name=op.f("ck_ticket_piece_reason_known")),
        sa.CheckConstraint("count >= 1", name=op.f("ck_ticket_piece_count_least")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_ticket_piece_version_least")),
        _reference("ticket_id", "ticket.id", op.f("fk_ticket_piece_ticket_id")),
        *_lengths("ticket_piece", kind=16, size=16, reason=16, undoes=16, who=64),
    )
    op.create_index(op.f("ix_ticket_piece_ticket_id"), "ticket_piece", ["ticket_id"])


def _create_ticket_tick() -> None:
    op.create_table(
        "ticket_tick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("step_key", sa.String(64), nullable=False),
        sa.Column("done", sa.Boolean(), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_tick")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_ticket_tick_version_least")),
        _reference("ticket_id", "ticket.id", op.f("fk_ticket_tick_ticket_id")),
        *_lengths("ticket_tick", step_key=64, who=64),
    )
    op.create_index(op.f("ix_ticket_tick_ticket_id"), "ticket_tick", ["ticket_id"])


def _create_ticket_note() -> None:
    op.create_table(
        "ticket_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ticket_note")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_ticket_note_version_least")),
        _reference("ticket_id", "ticket.id", op.f("fk_ticket_note_ticket_id")),
        *_lengths("ticket_note", who=64),
    )
    op.create_index(op.f("ix_ticket_note_ticket_id"), "ticket_note", ["ticket_id"])


def _count_finished() -> None:
    sizes = (
        "json_each(ticket.document_json, '$.pieces_by_size')"
        if _on_sqlite()
        else "json_each_text(ticket.document_json::json -> 'pieces_by_size')"
    )
    op.execute(
        "INSERT INTO ticket_piece (ticket_id, kind, size, count, note, who, at, version) "  # noqa: S608 - ours
        "SELECT ticket.id, 'done', of_size.key, CAST(of_size.value AS INTEGER), "
        "'counted when it was finished', ticket_move.who, ticket_move.at, 1 "
        f"FROM ticket CROSS JOIN {sizes} AS of_size "
        "JOIN ticket_move ON ticket_move.id = (SELECT max(id) FROM ticket_move AS finish "
        "WHERE finish.ticket_id = ticket.id AND finish.move = 'finish') "
        "WHERE coalesce(ticket.halted_from, ticket.state) IN ('made', 'checked', 'sent') "
        "ORDER BY ticket.id, of_size.key"
    )
