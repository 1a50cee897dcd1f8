"""Prices are told by the line, and keep what they were reckoned from; tickets name their method."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import sqlalchemy as sa
from alembic import op

revision: str = "0005"
down_revision: str | None = "0004"
branch_labels: None = None
depends_on: None = None

_WITHOUT_DECIMALS = frozenset(
    "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF".split()
)
_WITH_THREE = frozenset("BHD IQD JOD KWD LYD OMR TND".split())


def upgrade() -> None:
    """Bring the tables up to this revision.

    Answers of quotes that were given are told in the new shape, with the same amounts. What they
    were reckoned from was not kept, so they cannot be recomputed.
    """
    op.execute("ALTER TABLE quote ADD COLUMN inputs_json TEXT DEFAULT '{}' NOT NULL")
    op.execute(
        "ALTER TABLE ticket ADD COLUMN method VARCHAR(48) DEFAULT '' NOT NULL "
        "CONSTRAINT ck_ticket_method_length CHECK (length(method) <= 48)"
    )
    _rewrite_answers(_told_by_line)


def downgrade() -> None:
    """Take the tables back to the revision before; amounts stay as they were told.

    A price of one piece is rounded to the currency's own decimals.
    """
    _rewrite_answers(_told_by_piece)
    op.execute("ALTER TABLE ticket DROP COLUMN method")
    op.execute("ALTER TABLE quote DROP COLUMN inputs_json")


def _rewrite_answers(change: Any) -> None:
    quote = sa.table("quote", sa.column("id", sa.String), sa.column("answer_json", sa.Text))
    bind = op.get_bind()
    for quote_id in bind.execute(sa.select(quote.c.id)).scalars().all():
        mine = quote.c.id == quote_id
        answer = json.loads(bind.execute(sa.select(quote.c.answer_json).where(mine)).scalar_one())
        if "lines" not in answer:
            continue
        told = json.dumps(change(answer), separators=(",", ":"), ensure_ascii=False)
        bind.execute(quote.update().where(mine).values(answer_json=told))


def _told_by_line(answer: dict[str, Any]) -> dict[str, Any]:
    for line in answer["lines"]:
        pieces = line["pieces_by_size"]
        line["counted_pieces"] = sum(pieces.values())
        line["totals_by_size"] = {
            size: {**price, "amount": price["amount"] * pieces[size]}
            for size, price in line["unit_prices"].items()
        }
        line["unit_prices"] = {
            size: _per_piece(price["amount"], price["currency"])
            for size, price in line["unit_prices"].items()
        }
    return {**answer, "goods": answer["total"]}


def _per_piece(minor: int, currency: str) -> dict[str, str]:
    digits = _digits(currency)
    amount = Decimal(minor).scaleb(-digits).quantize(Decimal(1).scaleb(-digits - 2))
    return {"per_piece": f"{amount:f}", "currency": currency}


def _told_by_piece(answer: dict[str, Any]) -> dict[str, Any]:
    for line in answer["lines"]:
        line["unit_prices"] = {
            size: {
                "amount": int(round(Decimal(price["per_piece"]).scaleb(_digits(price["currency"])))),
                "currency": price["currency"],
            }
            for size, price in line["unit_prices"].items()
        }
        del line["totals_by_size"], line["counted_pieces"]
    kept = ("id", "catalogue_version", "created_at", "expires_at", "lines", "total", "promise")
    return {name: answer[name] for name in kept}


def _digits(currency: str) -> int:
    if currency in _WITHOUT_DECIMALS:
        return 0
    return 3 if currency in _WITH_THREE else 2
