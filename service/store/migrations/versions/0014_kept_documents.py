"""Documents of tickets are kept once, under the SHA-256 of their text."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import reduce
from hashlib import sha256

import sqlalchemy as sa
from alembic import op

revision: str = "0014"
down_revision: str | None = "0013"
branch_labels: None = None
depends_on: None = None

_AT_ONCE = 200
_FOR_A_MOMENT = "document_json TEXT DEFAULT '' NOT NULL"
_REFERENCE = (
    "CONSTRAINT fk_ticket_document_sha256 FOREIGN KEY(document_sha256) "
    "REFERENCES kept_document (sha256) DEFERRABLE INITIALLY DEFERRED"
)
_OF_ITS_DOCUMENT = (
    "(SELECT d.document_json FROM kept_document AS d WHERE d.sha256 = ticket.document_sha256)"
)


def upgrade() -> None:
    """Bring the tables up to this revision; quotes from before keep theirs in their plans."""
    op.create_table(
        "kept_document",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("document_json", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_kept_document")),
        sa.CheckConstraint(
            sa.func.length(sa.column("sha256")) <= 64,
            name=op.f("ck_kept_document_sha256_length"),
        ),
    )
    op.execute(
        "ALTER TABLE ticket ADD COLUMN document_sha256 VARCHAR(64) DEFAULT '' NOT NULL "
        "CONSTRAINT ck_ticket_document_sha256_length CHECK (length(document_sha256) <= 64)"
    )
    for number, text in _documents():
        name = {"sha256": sha256(text.encode()).hexdigest()}
        _run(
            "INSERT INTO kept_document (sha256, document_json) VALUES (:sha256, :text) "
            "ON CONFLICT (sha256) DO NOTHING",
            {**name, "text": text},
        )
        _run("UPDATE ticket SET document_sha256 = :sha256 WHERE id = :id", {**name, "id": number})
    _judge_now()
    op.execute("ALTER TABLE ticket DROP COLUMN document_json")
    if _on_sqlite():
        _rebuild(lambda made: f"{made.rstrip()[:-1]}, {_REFERENCE})")
    else:
        op.execute(f"ALTER TABLE ticket ADD {_REFERENCE}")


def downgrade() -> None:
    """Take the tables back to the revision before; quotes that are not accepted expire."""
    op.execute(f"ALTER TABLE ticket ADD COLUMN {_FOR_A_MOMENT}")
    op.execute(f"UPDATE ticket SET document_json = {_OF_ITS_DOCUMENT}")  # noqa: S608 - our own
    op.execute(
        "UPDATE quote SET expires_at = created_at "
        "WHERE id NOT IN (SELECT quote_id FROM customer_order)"
    )
    _judge_now()
    if _on_sqlite():
        without = {f", {_REFERENCE}": "", _FOR_A_MOMENT: "document_json TEXT NOT NULL"}
        _rebuild(lambda made: reduce(lambda text, one: text.replace(*one), without.items(), made))
    else:
        op.alter_column("ticket", "document_json", server_default=None)
    op.execute("ALTER TABLE ticket DROP COLUMN document_sha256")
    op.drop_table("kept_document")


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _documents() -> Iterator[tuple[int, str]]:
    """Id and document of every ticket, a few at a time."""
    last = 0
    look = sa.text(
        "SELECT id, document_json FROM ticket WHERE id > :last ORDER BY id LIMIT :at_once"
    )
    while rows := op.get_bind().execute(look, {"last": last, "at_once": _AT_ONCE}).all():
        yield from ((row.id, row.document_json) for row in rows)
        last = rows[-1].id


def _rebuild(change: Callable[[str], str]) -> None:
    """Make the table anew with its statement changed, for SQLite alters no table; move its rows."""
    look = sa.text(
        "SELECT sql FROM sqlite_master WHERE tbl_name = 'ticket' AND sql IS NOT NULL "
        "ORDER BY type DESC"  # the table before its indexes
    )
    made, *indexes = op.get_bind().execute(look).scalars().all()
    op.execute(f"CREATE TABLE ticket_built {change(made[made.index('(') :])}")
    op.execute("INSERT INTO ticket_built SELECT * FROM ticket")
    op.drop_table("ticket")
    op.rename_table("ticket_built", "ticket")
    for index in indexes:
        op.execute(index)


def _run(statement: str, given: dict[str, object]) -> None:
    op.get_bind().execute(sa.text(statement), given)


def _judge_now() -> None:
    # What waits to be checked at the commit would keep the table from being altered.
    if not _on_sqlite():
        op.execute("SET CONSTRAINTS ALL IMMEDIATE")
