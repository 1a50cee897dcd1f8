"""The build-up of a price as a table of plain text, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import ROUND_HALF_UP, Decimal

from service.domain.costing import CostPart, CostRow
from service.domain.line_price import LinePrice
from service.domain.money import minor_units
from service.domain.pricing import OrderPrice
from service.render.money_text import money_text

_PART, _LABEL, _QUANTITY, _RATE, _AMOUNT = 12, 44, 18, 20, 14
WIDTH = _PART + _LABEL + _QUANTITY + _RATE + _AMOUNT
"""Columns of the table."""

_STEP = Decimal("0.0001")


def build_up_text(price: OrderPrice, names: Sequence[str]) -> str:
    """Every row of every line, what a piece costs, tax and total; ``names`` are the lines'."""
    return "\n".join(_lines(price, names))


def _lines(price: OrderPrice, names: Sequence[str]) -> Iterator[str]:
    for name, line in zip(names, price.lines, strict=True):
        yield from _line(name, line)
        yield ""
    if price.tax is not None:
        kind = "in the prices" if price.tax.inclusive else "added"
        yield _sum(f"{price.tax.name}, {kind}", price.tax_minor, price.currency)
    yield _sum("to be paid", price.total_minor, price.currency)
    more = price.more_costs_less
    if more is not None:
        added = ", ".join(
            f"{one.pieces} of {one.size} in line {one.line + 1}" for one in more.added
        )
        yield f"With {added} more it would be {money_text(more.total_minor, price.currency)}."


def _line(name: str, line: LinePrice) -> Iterator[str]:
    yield f"{name}: {line.pieces} pieces, {line.work.starts} started; {line.counted} for the break"
    yield _row("for", "what", "quantity", f"rate, {line.currency}", "amount")
    yield "-" * WIDTH
    for row in line.rows:
        yield _cost_row(row)
    yield "-" * WIDTH
    yield _sum("line", line.total_minor, line.currency)
    digits = minor_units(line.currency)
    for size, unit in line.unit_prices.items():
        total = money_text(line.totals_minor[size], line.currency)
        yield f"  {size}: {unit:.{digits + 2}f} a piece, {total} in all"
    if line.below_cost:
        yield "  This is below cost."


def _cost_row(row: CostRow) -> str:
    per = "" if row.rate_per == 1 or row.part is CostPart.MARGIN else f" / {row.rate_per:.6g}"
    if row.part is CostPart.SPOILAGE:
        per = f" / {row.rate_per:f}"
    return _row(
        row.part, row.label, f"{_short(row.quantity)} {row.unit}", f"{_short(row.rate)}{per}",
        _short(row.amount),
    )  # fmt: skip


def _row(part: str, label: str, quantity: str, rate: str, amount: str) -> str:
    label = label if len(label) < _LABEL else label[: _LABEL - 2] + "…"
    return (
        f"{part:<{_PART}}{label:<{_LABEL}}{quantity:>{_QUANTITY}}{rate:>{_RATE}}{amount:>{_AMOUNT}}"
    )


def _sum(label: str, minor: int, currency: str) -> str:
    amount = money_text(minor, currency)
    return f"{label:<{WIDTH - _AMOUNT}}{amount:>{_AMOUNT}}"


def _short(number: Decimal) -> str:
    """At most four decimals, without zeros at the end; what is kept has all."""
    text = f"{number.quantize(_STEP, ROUND_HALF_UP):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
