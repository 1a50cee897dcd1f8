"""The price of a line at several quantities, so that a customer sees what more would cost each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from heapq import heapify, heapreplace

from service.domain.pricing import NO_TERMS, OrderPrice, PriceTerms, price_in_numbers
from service.domain.shop import Catalogue
from service.domain.spoilage import SpoilageSeen
from service.domain.starts import NOTHING_SEEN
from service.domain.wishes import Line


@dataclass(frozen=True, slots=True)
class BreakAhead:
    """The next quantity break: so many pieces more, and what the whole order then costs."""

    more_pieces: int
    pieces_by_size: Mapping[str, int]
    price: OrderPrice


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The line at one quantity.

    ``one_more_minor`` is what one piece more adds to the total, ``one_more_cost`` what it adds to
    cost, in the major unit; both None at the most pieces an order may have.
    """

    pieces_by_size: Mapping[str, int]
    price: OrderPrice
    one_more_minor: int | None
    one_more_cost: Decimal | None
    next_break: BreakAhead | None


def price_curve(
    catalogue: Catalogue,
    line: Line,
    quantities: Iterable[int],
    terms: PriceTerms = NO_TERMS,
    seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN,
) -> tuple[CurvePoint, ...]:
    """``line`` ordered alone at each of ``quantities``, smallest first, its sizes in proportion.

    No price of a piece rises from one point to a larger one, and no total falls. ValueError for a
    quantity below 1 or above the most pieces an order may have; other errors are those of
    :func:`service.domain.pricing.price_order`.
    """
    most = catalogue.policy.max_pieces_per_order
    asked = sorted(set(quantities))
    if not asked or asked[0] < 1 or asked[-1] > most:
        raise ValueError(f"quantities are {asked}; each must be 1 to {most}")
    starts = [step.from_pieces for step in catalogue.prices.breaks]
    ahead = {q: min((s for s in starts if q < s <= most), default=None) for q in asked}
    wanted = {*asked, *(q + 1 for q in asked if q < most), *filter(None, ahead.values())}
    sizes = in_proportion(line.pieces_by_size, wanted)
    largest_first = sorted(wanted, reverse=True)
    prices = price_in_numbers(catalogue, line, (sizes[q] for q in largest_first), terms, seen)
    priced = dict(zip(largest_first, prices, strict=True))

    def break_ahead(quantity: int) -> BreakAhead | None:
        step = ahead[quantity]
        return None if step is None else BreakAhead(step - quantity, sizes[step], priced[step])

    def point(quantity: int) -> CurvePoint:
        now, more = priced[quantity], priced.get(quantity + 1)
        return CurvePoint(
            pieces_by_size=sizes[quantity],
            price=now,
            one_more_minor=more.total_minor - now.total_minor if more else None,
            one_more_cost=more.lines[0].cost - now.lines[0].cost if more else None,
            next_break=break_ahead(quantity),
        )

    return tuple(point(quantity) for quantity in asked)


def in_proportion(mix: Mapping[str, int], quantities: Iterable[int]) -> dict[int, dict[str, int]]:
    """Each of ``quantities`` pieces split among the sizes of ``mix`` as they stand in it.

    By the highest averages of odd divisors (Webster 1832, Sainte-Lague 1910, from memory), so that
    one piece more never takes one from a size, as largest remainders may. Sizes of no pieces are
    left out; the mix itself is kept as it is.
    """
    return {quantity: _split(mix, quantity) for quantity in set(quantities)}


def _split(mix: Mapping[str, int], quantity: int) -> dict[str, int]:
    """One of the quantities, begun near its end: where all sizes but their last pieces are given.

    At the divisor ``sum / (quantity - sizes / 2)`` counts rounded, halves down, sum to no more than
    the quantity, and are what the highest averages give on the way to it.
    """
    whole, twice = sum(mix.values()), 2 * quantity - len(mix)
    given = {size: max(0, -((whole - count * twice) // (2 * whole))) for size, count in mix.items()}
    waiting = [(-Fraction(mix[size], 2 * given[size] + 1), size) for size in mix]
    heapify(waiting)
    for _ in range(quantity - sum(given.values())):
        size = waiting[0][1]
        given[size] += 1
        heapreplace(waiting, (-Fraction(mix[size], 2 * given[size] + 1), size))
    return {size: count for size, count in given.items() if count}
