"""Prices of lines and orders: every row kept, rounded in one place, and never a trap for more.

    loaded      direct cost x (1 + overhead)
    listed      loaded / (1 - m), so that the margin is the share m of the price
    discounts   the quantity break's share, then the offer's, each of what is left
    rush        a share for each working day gained
    floor       what lifts the price to ``loaded``, unless the shop may sell below cost
    evened      what :mod:`service.domain.unit_prices` adds so that no piece costs more in a larger
                order
    tax         where a region's prices are told with it

A quantity break counts the pieces of the same artwork over all sizes and lines of the order; of
several artworks on a line the one with most pieces counts.

**The one rounding place** is the total of a line, half up, to the currency's minor units. It is
split among sizes by largest remainder. Unit prices are told with two decimals more than the
currency has; a quantity times a unit price is its size's total but for that rounding (an invoice
line may have a price of more decimals than its amount: EN 16931, from memory). An order's total is
the sum of its lines, and tax that is added is rounded once for the order.

**More never costs less.** A quantity break can make more pieces cheaper in total (11 at 10.00 are
110.00, 12 at 9.00 are 108.00). What :mod:`service.domain.break_savings` takes off mends that. Where
the shop's book leaves it (``more_may_cost_less``) nothing is taken off and the order says with what
pieces more it would cost less.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.break_savings import savings_minor
from service.domain.line_price import LinePrice, LineToPrice
from service.domain.money import (
    MOST_MINOR,
    TooMuchMoney,
    from_minor,
    to_minor,
    wide_arithmetic,
)
from service.domain.price_book import PriceBook, TaxRegion
from service.domain.shop import Catalogue
from service.domain.spoilage import SpoilageSeen
from service.domain.starts import NOTHING_SEEN
from service.domain.unit_prices import EvenedShares, PriceFactors
from service.domain.wishes import Line
from service.domain.work import line_account


@dataclass(frozen=True, slots=True)
class PriceTerms:
    """What besides its lines decides an order's price.

    ``rush_days`` are the working days gained on the day it would be done without rush.
    """

    offer_id: str | None = None
    rush_days: int = 0
    tax_region_id: str | None = None


NO_TERMS = PriceTerms()


@dataclass(frozen=True, slots=True)
class AddedPieces:
    """So many pieces of a size more in the line of that index."""

    line: int
    size: str
    pieces: int


@dataclass(frozen=True, slots=True)
class MoreCostsLess:
    """With these pieces more the whole order would cost less: in all, as it is to be paid."""

    added: tuple[AddedPieces, ...]
    total_minor: int


@dataclass(frozen=True, slots=True)
class OrderPrice:
    """The lines of an order in one currency, their sum, and tax.

    ``lines_minor`` is the sum of the lines as told; ``total_minor`` is what is to be paid, and
    ``tax_minor`` the tax in it. ``more_costs_less`` is None where nothing is to be said of it.
    """

    currency: str
    lines: tuple[LinePrice, ...]
    lines_minor: int
    tax_minor: int
    total_minor: int
    tax: TaxRegion | None
    pieces: int
    more_costs_less: MoreCostsLess | None


def price_order(
    catalogue: Catalogue,
    lines: Sequence[Line],
    terms: PriceTerms = NO_TERMS,
    seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN,
) -> OrderPrice:
    """Price ``lines``, whose every decoration names its method, by the terms asked for.

    ``seen`` is the spoilage seen by method. ValueError for no lines or for more days gained than
    the book allows, and as :class:`service.domain.money.TooMuchMoney` for a total above 2^53 - 1
    minor units; KeyError for an offer, a region or a size the shop has not; other errors are those
    of :func:`service.domain.work.line_work`.
    """
    if not lines:
        raise ValueError("an order has at least one line")
    with wide_arithmetic():
        return _Order(catalogue, lines, terms, seen).price()


def price_line(
    catalogue: Catalogue,
    line: Line,
    terms: PriceTerms = NO_TERMS,
    seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN,
) -> LinePrice:
    """The price of a line that is ordered alone; errors as :func:`price_order`."""
    return price_order(catalogue, [line], terms, seen).lines[0]


def price_in_numbers(
    catalogue: Catalogue,
    line: Line,
    mixes: Iterable[Mapping[str, int]],
    terms: PriceTerms = NO_TERMS,
    seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN,
) -> list[OrderPrice]:
    """``line`` ordered alone with each of ``mixes``, which are pieces by size.

    Each is what :func:`price_order` gives, with its errors; what hangs on the number of pieces
    alone is worked out once for all, quickest when the largest come first.
    """
    found, shares = [], None
    with wide_arithmetic():
        for mix in mixes:
            order = _Order(catalogue, [replace(line, pieces_by_size=mix)], terms, seen, shares)
            found.append(order.price())
            shares = order.lines[0].shares
    return found


@dataclass(frozen=True, slots=True)
class _Told:
    """Totals of all lines as told, with some pieces added that nobody asked for."""

    added: tuple[AddedPieces, ...]
    totals_minor: tuple[int, ...]

    @property
    def total_minor(self) -> int:
        return sum(self.totals_minor)


class _Order:
    """One order while it is priced."""

    def __init__(
        self,
        catalogue: Catalogue,
        lines: Sequence[Line],
        terms: PriceTerms,
        seen: Mapping[str, SpoilageSeen],
        shares: EvenedShares | None = None,
    ) -> None:
        """``shares`` are those of the only line, where they are known from another number."""
        book, region = catalogue.prices, terms.tax_region_id
        self.book = book
        self.tax = None if region is None else book.tax_region(region)
        factors = PriceFactors(book, _offer_share(book, terms), _rush_share(book, terms))
        accounts = [line_account(catalogue, line, seen) for line in lines]
        self.lines = [LineToPrice(catalogue, one, factors, self.tax, shares) for one in accounts]
        artworks = sorted({artwork for line in lines for artwork in line.artwork_ids})
        self.groups = [
            [index for index, line in enumerate(lines) if artwork in line.artwork_ids]
            for artwork in artworks
        ] + [[index] for index, line in enumerate(lines) if not line.artwork_ids]

    def price(self) -> OrderPrice:
        counted = self.counted(())
        taken_off, more = [0] * len(self.lines), None
        if self.book.more_may_cost_less:
            more = self.more()
        else:
            taken_off = self.taken_off()
        lines = tuple(
            line.price(counted[index], taken_off[index]) for index, line in enumerate(self.lines)
        )
        lines_minor = sum(line.total_minor for line in lines)
        tax_minor, total_minor = self.taxed(lines_minor)
        if total_minor > MOST_MINOR:
            raise TooMuchMoney(f"{total_minor} minor units are more than {MOST_MINOR}")
        return OrderPrice(
            currency=self.book.currency,
            lines=lines,
            lines_minor=lines_minor,
            tax_minor=tax_minor,
            total_minor=total_minor,
            tax=self.tax,
            pieces=sum(line.pieces for line in lines),
            more_costs_less=more,
        )

    def taxed(self, lines_minor: int) -> tuple[int, int]:
        """The tax, and what is to be paid."""
        currency, tax = self.book.currency, self.tax
        if tax is None:
            return 0, lines_minor
        told = from_minor(lines_minor, currency)
        if tax.inclusive:
            return lines_minor - to_minor(told / (1 + tax.rate), currency), lines_minor
        added = to_minor(told * tax.rate, currency)
        return added, lines_minor + added

    def pieces(self, added: Sequence[AddedPieces]) -> list[int]:
        """Pieces of each line with those added."""
        pieces = [line.line.pieces for line in self.lines]
        for more in added:
            pieces[more.line] += more.pieces
        return pieces

    def counted(self, added: Sequence[AddedPieces]) -> list[int]:
        """Pieces that count for each line's quantity break."""
        pieces = self.pieces(added)
        counted = [0] * len(pieces)
        for group in self.groups:
            together = sum(pieces[index] for index in group)
            for index in group:
                counted[index] = max(counted[index], together)
        return counted

    def told(self, added: tuple[AddedPieces, ...]) -> _Told:
        """What all lines cost with those pieces added, before any reduction."""
        pieces, counted = self.pieces(added), self.counted(added)
        totals = (
            line.told_minor(pieces[index] - line.line.pieces, counted[index])
            for index, line in enumerate(self.lines)
        )
        return _Told(added, tuple(totals))

    def taken_off(self) -> list[int]:
        """Minor units taken off each line, so that more does not cost less."""
        in_any_order = sorted(
            range(len(self.lines)), key=lambda index: _in_any_order(self.lines[index].line)
        )
        return savings_minor(
            self.book.breaks,
            [line.line.pieces for line in self.lines],
            self.groups,
            told=lambda index, counted: self.lines[index].told_minor(0, counted),
            one_more=lambda index, counted: self.lines[index].one_more_minor(counted),
            split_in_order=in_any_order,
        )

    def more(self) -> MoreCostsLess | None:
        """A larger order that costs less, found from break to break; None where none was found."""
        best = self.told(())
        while True:
            larger = self.next_cheaper(best)
            if larger is None:
                break
            best = larger
        if not best.added:
            return None
        return MoreCostsLess(best.added, self.taxed(best.total_minor)[1])

    def next_cheaper(self, told: _Told) -> _Told | None:
        """The cheapest that lifts one artwork to a higher break, where it costs less."""
        best = None
        for added in self.additions(told):
            limit = told.total_minor if best is None else best.total_minor
            if not self.cannot_cost_less(added, limit):
                larger = self.told(added)
                best = larger if larger.total_minor < limit else best
        return best

    def additions(self, told: _Told) -> list[tuple[AddedPieces, ...]]:
        """The pieces added so far and more, that lift an artwork to a break above its own."""
        pieces = self.pieces(told.added)
        found = []
        for group in self.groups:
            together = sum(pieces[index] for index in group)
            for step in self.book.breaks:
                more = step.from_pieces - together
                for index in group if more > 0 else ():
                    added = AddedPieces(index, self.lines[index].filler, more)
                    found.append((*told.added, added))
        return found

    def cannot_cost_less(self, added: Sequence[AddedPieces], total_minor: int) -> bool:
        """True where a lower bound of the total, quickly reckoned, is not below the one given."""
        pieces, counted = self.pieces(added), self.counted(added)
        bound = 0
        for line, larger, at in zip(self.lines, pieces, counted, strict=True):
            more = larger - line.line.pieces
            bound += line.told_minor(0, at) + (more * line.one_more_minor(at) if more else 0)
        return bound >= total_minor


def _in_any_order(line: Line) -> tuple[object, ...]:
    """Sorts lines the same in whatever order they were asked for."""
    return (
        line.garment.blank_id or "",
        line.garment.colour_id or line.garment.srgb,
        sorted(line.pieces_by_size.items()),
        sorted(
            (d.placement_id, d.artwork_id, d.method_id or "", d.width_mm) for d in line.decorations
        ),
    )


def _offer_share(book: PriceBook, terms: PriceTerms) -> Decimal:
    return Decimal(0) if terms.offer_id is None else book.offer(terms.offer_id).share


def _rush_share(book: PriceBook, terms: PriceTerms) -> Decimal:
    """Share of the price that the days gained cost; ValueError for more than the book allows."""
    if terms.rush_days == 0:
        return Decimal(0)
    most = book.rush.most_days if book.rush is not None else 0
    if book.rush is None or not 0 < terms.rush_days <= most:
        raise ValueError(f"{terms.rush_days} days cannot be gained; the shop offers at most {most}")
    return book.rush.share_per_day * terms.rush_days
