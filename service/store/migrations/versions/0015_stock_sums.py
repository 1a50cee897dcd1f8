"""What is on hand and what open tickets need are kept by thing, and no longer summed up anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision: str = "0015"
down_revision: str | None = "0014"
branch_labels: None = None
depends_on: None = None

_THING = {"kind": 16, "item": 48, "colour": 200, "size": 16, "unit": 16}
_FILL = """
INSERT INTO stock_sum (kind, item, colour, size, unit, on_hand, moves, needed)
SELECT kind, item, colour, size, unit, SUM(on_hand), SUM(moves), SUM(needed)
FROM (
    SELECT kind, item, colour, size, unit, quantity AS on_hand, 1 AS moves, 0 AS needed
    FROM stock_move
    UNION ALL
    SELECT kind, item, colour, size, unit, 0, 0, quantity
    FROM ticket_need
    WHERE kind <> 'medium' OR NOT EXISTS (
        SELECT 1 FROM run_claim
        WHERE run_claim.ticket_id = ticket_need.ticket_id
        AND run_claim.decoration = ticket_need.decoration
        AND run_claim.medium = ticket_need.item
        AND run_claim.first_piece = 1
    )
) AS every
GROUP BY kind, item, colour, size, unit
"""


def upgrade() -> None:
    """Bring the tables up to this revision; the sums are those of the rows that are there."""
    op.create_table(
        "stock_sum",
        *(sa.Column(name, sa.String(length), nullable=False) for name, length in _THING.items()),
        sa.Column("on_hand", sa.BigInteger(), nullable=False),
        sa.Column("moves", sa.Integer(), nullable=False),
        sa.Column("needed", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint(*_THING, name=op.f("pk_stock_sum")),
        sa.CheckConstraint("moves >= 0", name=op.f("ck_stock_sum_moves_least")),
        *(
            sa.CheckConstraint(
                sa.func.length(sa.column(name)) <= length, name=op.f(f"ck_stock_sum_{name}_length")
            )
            for name, length in _THING.items()
        ),
    )
    op.execute(_FILL)


def downgrade() -> None:
    """Take the tables back to the revision before."""
    op.drop_table("stock_sum")
