"""The price of one line of an order: its rows, its total as told, and what a piece costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from functools import cached_property

from service.domain.costing import CostPart, CostRow, cost_line, cost_row, direct_cost, exact_sum
from service.domain.money import (
    from_minor,
    minor_units,
    split_by_largest_remainder,
    to_minor,
)
from service.domain.price_book import TaxRegion
from service.domain.shop import Catalogue
from service.domain.unit_prices import EvenedShares, PriceFactors
from service.domain.work import LineAccount, LineWork

UNIT_DECIMALS = 2
"""Decimals a unit price has beyond its currency's."""

_ZERO = Decimal(0)
_ONE = Decimal(1)
_HALF = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class LinePrice:
    """The price of a line. ``rows`` sum to ``total_minor`` exactly and are for staff alone.

    ``unit_prices`` are in the major unit by size, with two decimals more than the currency has;
    ``totals_minor`` by size sum to ``total_minor``. ``counted`` is how many pieces count for the
    quantity break. ``cost`` is direct cost and overhead, ``net`` the price without tax before it is
    rounded, both in the major unit.
    """

    currency: str
    rows: tuple[CostRow, ...]
    unit_prices: Mapping[str, Decimal]
    totals_minor: Mapping[str, int]
    total_minor: int
    pieces: int
    counted: int
    cost: Decimal
    net: Decimal
    work: LineWork

    @property
    def below_cost(self) -> bool:
        """True when discounts, and not rounding alone, have taken the price below cost."""
        return (self.cost - self.net).scaleb(minor_units(self.currency)) > _HALF


class LineToPrice:
    """One line while its order is priced: what it costs in other numbers too.

    All amounts are worked out in :func:`service.domain.money.wide_arithmetic`, which the caller
    holds. Keeps what it has worked out: for one request, not to be shared between threads.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        account: LineAccount,
        factors: PriceFactors,
        tax: TaxRegion | None,
        shares: EvenedShares | None = None,
    ) -> None:
        """Reckon with ``tax`` where prices are told with it; KeyError for a size unknown.

        ``shares`` are those of the same line in another number, None where there are none yet.
        """
        self.line = account.line
        self._catalogue, self._account, self._factors = catalogue, account, factors
        self._currency = catalogue.prices.currency
        self._direct = direct_cost(catalogue, account)
        self.shares = shares or EvenedShares(self._direct, catalogue.policy.max_pieces_per_order)
        self._tax = tax if tax is not None and tax.inclusive else None
        self._gross = _ONE + self._tax.rate if self._tax else _ONE
        self._load = _ONE + catalogue.prices.overhead_share
        self._told: dict[tuple[int, int], int] = {}
        self._as_told_of: dict[int, Decimal] = {}
        blanks = self._direct.blanks
        self.filler = min(blanks, key=lambda size: (blanks[size], size))
        """The size one more piece costs least in."""

    def told_minor(self, more: int, counted: int) -> int:
        """The line's total as told, with ``more`` of the cheapest size, before any reduction.

        ``counted`` pieces count for the quantity break, these among them.
        """
        key = more, counted
        if key not in self._told:
            pieces, direct = self.line.pieces + more, self._direct
            cost = self._goods_cost + more * direct.blanks[self.filler]
            cost += pieces * self.shares.evened(pieces)
            self._told[key] = to_minor(cost * self._as_told(counted), self._currency)
        return self._told[key]

    def one_more_minor(self, counted: int) -> int:
        """Whole minor units that one piece more, of any size, adds to the total at the least.

        Its blank and the work on one start, at the break that ``counted`` pieces reach.
        """
        cost = self._direct.blanks[self.filler] + self._direct.each
        return to_minor(cost * self._as_told(counted), self._currency, ROUND_FLOOR)

    def price(self, counted: int, reduction_minor: int) -> LinePrice:
        """The line as it is charged, with so much taken off that more does not cost less."""
        currency = self._currency
        units = self._units(counted)
        before = self.told_minor(0, counted)
        total = before - reduction_minor
        work = self._account.work()
        rows = self._rows(work, units, counted)
        rows += _rounding(currency, before, rows)
        if reduction_minor:
            off = -from_minor(reduction_minor, currency)
            rows.append(cost_row("more pieces cost less", CostPart.DISCOUNT, 1, "line", off))
        share = Decimal(total) / before if before else _ONE
        return LinePrice(
            currency=currency,
            rows=tuple(rows),
            unit_prices=self._unit_prices(units, share),
            totals_minor=self._totals(units, total),
            total_minor=total,
            pieces=self.line.pieces,
            counted=counted,
            cost=self._direct.of_line() * self._load,
            net=from_minor(total, currency) / self._gross,
            work=work,
        )

    def _as_told(self, counted: int) -> Decimal:
        """What cost is multiplied by to be a price as told."""
        found = self._as_told_of.get(counted)
        if found is None:
            found = self._load * self._factors.of(counted) * self._gross
            self._as_told_of[counted] = found
        return found

    def _units(self, counted: int) -> dict[str, Decimal]:
        """Price without tax of a piece by size, not rounded, before any reduction."""
        share, factor = self.shares.evened(self.line.pieces), self._factors.of(counted)
        blanks = self._direct.blanks
        return {
            size: (blanks[size] + share) * self._load * factor for size in self.line.pieces_by_size
        }

    @cached_property
    def _goods_cost(self) -> Decimal:
        """What the blanks of the good pieces cost."""
        blanks = self._direct.blanks
        return sum((blanks[size] * n for size, n in self.line.pieces_by_size.items()), _ZERO)

    def _goods(self, units: Mapping[str, Decimal]) -> Decimal:
        """Price without tax of the pieces asked for."""
        return sum((units[size] * n for size, n in self.line.pieces_by_size.items()), _ZERO)

    def _unit_prices(self, units: Mapping[str, Decimal], share: Decimal) -> dict[str, Decimal]:
        step = Decimal(1).scaleb(-minor_units(self._currency) - UNIT_DECIMALS)
        return {
            size: (unit * self._gross * share).quantize(step, ROUND_HALF_UP)
            for size, unit in units.items()
        }

    def _totals(self, units: Mapping[str, Decimal], total_minor: int) -> dict[str, int]:
        """The total by size; sizes of equal remainder take their unit by name."""
        sizes = sorted(self.line.pieces_by_size)
        weights = [units[size] * self.line.pieces_by_size[size] for size in sizes]
        if not any(weights):
            return dict.fromkeys(self.line.pieces_by_size, 0)
        parts = dict(zip(sizes, split_by_largest_remainder(total_minor, weights), strict=True))
        return {size: parts[size] for size in self.line.pieces_by_size}

    def _rows(self, work: LineWork, units: Mapping[str, Decimal], counted: int) -> list[CostRow]:
        """From direct cost to the price as told, not rounded; rows of nothing are left out."""
        book, factors, currency = self._catalogue.prices, self._factors, self._currency
        direct_rows = cost_line(self._catalogue, self._account, work)
        direct = exact_sum(direct_rows)
        loaded = direct * self._load
        listed = loaded / (1 - book.margin_share)
        step = book.break_reached(counted)
        broken = listed * (1 - step.discount_share)
        offered = broken * (1 - factors.offer_share)
        rushed = offered * (1 + factors.rush_share)
        floored = loaded * factors.of(counted)
        goods = self._goods(units)
        label = f"quantity break from {step.from_pieces} pieces"
        rows = [
            cost_row("overhead", CostPart.OVERHEAD, direct, currency, book.overhead_share),
            cost_row(
                "margin",
                CostPart.MARGIN,
                loaded,
                currency,
                book.margin_share,
                1 - book.margin_share,
            ),
            cost_row(label, CostPart.DISCOUNT, listed, currency, -step.discount_share),
            cost_row("offer", CostPart.DISCOUNT, broken, currency, -factors.offer_share),
            cost_row("rush", CostPart.RUSH, offered, currency, factors.rush_share),
            cost_row("lifted to cost", CostPart.FLOOR, 1, "line", floored - rushed),
            cost_row("evened out", CostPart.EVENED, 1, "line", goods - floored),
        ]
        if self._tax is not None:
            rows.append(cost_row(self._tax.name, CostPart.TAX, goods, currency, self._tax.rate))
        return [*direct_rows, *(row for row in rows if row.amount)]


def _rounding(currency: str, total_minor: int, rows: list[CostRow]) -> list[CostRow]:
    left = from_minor(total_minor, currency) - sum((row.amount for row in rows), _ZERO)
    return [cost_row("total rounded", CostPart.ROUNDING, 1, "line", left)] if left else []
