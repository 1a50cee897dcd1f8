"""Tickets are ganged in runs, and stock that is taken is booked."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from alembic import op

revision: str = "0006"
down_revision: str | None = "0005"
branch_labels: None = None
depends_on: None = None

_STATES = "('proposed', 'accepted', 'dissolved')"
_ACTS = "('propose', 'accept', 'reprint', 'dissolve')"

_TABLES = ("stock_move", "run_reprint", "run_act_ticket", "run_act", "run_claim", "run")


def upgrade() -> None:
    """Bring the tables up to this revision."""
    _create_run()
    _create_run_claim()
    _create_run_act()
    _create_run_act_ticket()
    _create_run_reprint()
    _create_stock_move()


def downgrade() -> None:
    """Take the tables back to the revision before: runs and the stock they took are forgotten."""
    for table in _TABLES:
        op.drop_table(table)


def _reference(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [target], name=op.f(f"fk_{table}_{column}"), deferrable=True, initially="DEFERRED"
    )


def _least(table: str, column: str, least: int) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} >= {least}", name=op.f(f"ck_{table}_{column}_least"))


def _known(table: str, column: str, values: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} IN {values}", name=op.f(f"ck_{table}_{column}_known"))


def _lengths(table: str, **most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(
            sa.func.length(sa.column(column)) <= length,
            name=op.f(f"ck_{table}_{column}_length"),
        )
        for column, length in most.items()
    ]


def _at() -> sa.Column[datetime]:
    return sa.Column("at", sa.DateTime(timezone=True), nullable=False)


def _create_run() -> None:
    op.create_table(
        "run",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(40), nullable=False),
        sa.Column("number", sa.String(16), nullable=False),
        sa.Column("medium", sa.String(48), nullable=False),
        sa.Column("colour", sa.String(200), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("document_json", sa.Text(), nullable=False),
        sa.Column("length_um", sa.BigInteger(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_run")),
        sa.UniqueConstraint("id", name=op.f("uq_run_id")),
        sa.UniqueConstraint("number", name=op.f("uq_run_number")),
        _known("run", "state", _STATES),
        _least("run", "length_um", 1),
        _least("run", "version", 1),
        *_lengths("run", id=40, number=16, medium=48, colour=200, state=16, who=64),
    )
    op.create_index(op.f("ix_run_state_seq"), "run", ["state", "seq"])


def _create_run_claim() -> None:
    op.create_table(
        "run_claim",
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("decoration", sa.Integer(), nullable=False),
        sa.Column("medium", sa.String(48), nullable=False),
        sa.Column("first_piece", sa.Integer(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("first_place", sa.Integer(), nullable=False),
        sa.Column("last_place", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(40), nullable=False),
        sa.PrimaryKeyConstraint(
            "ticket_id", "decoration", "medium", "first_piece", name=op.f("pk_run_claim")
        ),
        _least("run_claim", "decoration", 0),
        _least("run_claim", "first_piece", 1),
        _least("run_claim", "pieces", 1),
        _least("run_claim", "first_place", 1),
        _reference("run_claim", "ticket_id", "ticket.id"),
        _reference("run_claim", "run_id", "run.id"),
        *_lengths("run_claim", medium=48, run_id=40),
    )
    op.create_index(op.f("ix_run_claim_run_id"), "run_claim", ["run_id"])


def _create_run_act() -> None:
    op.create_table(
        "run_act",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(40), nullable=False),
        sa.Column("act", sa.String(16), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _at(),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_act")),
        _known("run_act", "act", _ACTS),
        _least("run_act", "version", 1),
        _reference("run_act", "run_id", "run.id"),
        *_lengths("run_act", run_id=40, act=16, who=64),
    )
    op.create_index(op.f("ix_run_act_run_id"), "run_act", ["run_id"])


def _create_run_act_ticket() -> None:
    op.create_table(
        "run_act_ticket",
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("act_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("ticket_id", "version", name=op.f("pk_run_act_ticket")),
        _least("run_act_ticket", "version", 1),
        _reference("run_act_ticket", "ticket_id", "ticket.id"),
        _reference("run_act_ticket", "act_id", "run_act.id"),
    )
    op.create_index(op.f("ix_run_act_ticket_act_id"), "run_act_ticket", ["act_id"])


def _create_run_reprint() -> None:
    op.create_table(
        "run_reprint",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(40), nullable=False),
        sa.Column("ticket_id", sa.Integer(), nullable=False),
        sa.Column("decoration", sa.Integer(), nullable=False),
        sa.Column("medium", sa.String(48), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("first_piece", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(64), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _at(),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("done_by_run_id", sa.String(40), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_reprint")),
        sa.UniqueConstraint(
            "ticket_id",
            "decoration",
            "medium",
            "first_piece",
            name=op.f("uq_run_reprint_ticket_id_decoration_medium_first_piece"),
        ),
        _least("run_reprint", "decoration", 0),
        _least("run_reprint", "pieces", 1),
        _least("run_reprint", "first_piece", 2),
        _least("run_reprint", "version", 1),
        _reference("run_reprint", "run_id", "run.id"),
        _reference("run_reprint", "ticket_id", "ticket.id"),
        _reference("run_reprint", "done_by_run_id", "run.id"),
        *_lengths("run_reprint", run_id=40, medium=48, who=64, done_by_run_id=40),
    )
    op.create_index(op.f("ix_run_reprint_run_id"), "run_reprint", ["run_id"])
    op.create_index(op.f("ix_run_reprint_done_by_run_id"), "run_reprint", ["done_by_run_id"])


def _create_stock_move() -> None:
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
        _at(),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
        sa.CheckConstraint("quantity <> 0", name=op.f("ck_stock_move_quantity_not_nothing")),
        _reference("stock_move", "run_id", "run.id"),
        *_lengths(
            "stock_move", kind=16, item=48, colour=200, unit=16, reason=24, run_id=40, who=64
        ),
    )
    op.create_index(
        op.f("ix_stock_move_kind_item_colour_id"), "stock_move", ["kind", "item", "colour", "id"]
    )
    op.create_index(op.f("ix_stock_move_run_id"), "stock_move", ["run_id"])
