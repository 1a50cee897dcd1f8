"""What a piece costs the customer in a line of a given number, evened out so that it never rises.

A piece's price is its blank and its share of all else, with overhead, and the factor that margin,
quantity break, offer and rush make:

    u(r) = (blank + a(r)) x (1 + overhead) x factor(pieces that count for the break)

The plain share is ``v(r) / r``, with ``v(r)`` what r good pieces cost but for their own blanks.
Lumps make it jump: a whole row of the roll, one spare piece more. So it is evened upward, to the
greatest share at this quantity or a larger one:

    a(r) = max of v(r') / r', r' from r to the most pieces an order may have

It never rises with the quantity and is never below the plain share. And ``r a(r)`` grows by no
less than what one more start costs: where a falls after r, ``r a(r)`` is ``v(r)`` itself, and
elsewhere it grows by a whole share. So a total never falls between two quantity breaks, whatever
sizes are added. It hangs on neither the sizes nor the other lines, so neither can the law.

Few quantities need a look, as an upper bound of the share that falls with the quantity says when
no larger one can matter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

from service.domain.costing import DirectCost
from service.domain.price_book import PriceBook
from service.domain.roll import taken_at_most

_SLACK = 1e-9
"""By how much the bound, reckoned in floats, is raised: far more than floats can be off by."""


@dataclass(frozen=True, slots=True)
class PriceFactors:
    """How cost, with overhead, becomes price: margin, break, offer, rush, and cost as the floor."""

    book: PriceBook
    offer_share: Decimal
    rush_share: Decimal

    def after_discounts(self, counted: int) -> Decimal:
        """Price over cost as the shares make it, before any floor."""
        discount = self.book.break_reached(counted).discount_share
        off = (1 - discount) * (1 - self.offer_share)
        return off * (1 + self.rush_share) / (1 - self.book.margin_share)

    def of(self, counted: int) -> Decimal:
        """Price over cost, never below 1 unless the shop may sell below cost."""
        factor = self.after_discounts(counted)
        return factor if self.book.may_sell_below_cost else max(Decimal(1), factor)


@dataclass(slots=True)
class EvenedShares:
    """Shares of a piece of one line in all but its blank, in the major unit, not rounded.

    ``most`` is the most pieces an order may have. Keeps what it has worked out: for one request,
    not to be shared between threads.
    """

    direct: DirectCost
    most: int
    _plain: dict[int, Decimal] = field(default_factory=dict)
    _evened: dict[int, Decimal] = field(default_factory=dict)

    def plain(self, pieces: int) -> Decimal:
        """v(r) / r."""
        found = self._plain.get(pieces)
        if found is None:
            found = self._plain[pieces] = self.direct.besides_blanks(pieces) / pieces
        return found

    def evened(self, pieces: int) -> Decimal:
        """a(r)."""
        found = self._evened.get(pieces)
        if found is None:
            found = self._evened[pieces] = self._greatest_from(pieces)
        return found

    def _greatest_from(self, pieces: int) -> Decimal:
        best, bound = self.plain(pieces), self._bound()
        for larger in range(pieces + 1, self.most + 1):
            if bound(larger) <= float(best):
                break
            best = max(best, self.plain(larger))
        return best

    def _bound(self) -> Callable[[int], float]:
        """Never below v(r') / r' of any r' from the given one on."""
        account, spare = self.direct.account, float(self.direct.spare)
        shares = account.starts.greatest_shares(self.most)
        per_start, once = spare + float(self.direct.each), float(self.direct.fixed)
        for price, film in zip(self.direct.films, account.films, strict=True):
            a, b = taken_at_most(film.strip, film.width_mm, film.height_mm)
            per_start, once = per_start + float(price) * a, once + float(price) * b
        once = max(0.0, once)

        def bound(pieces: int) -> float:
            return (per_start * shares[pieces] + once / pieces) * (1 + _SLACK) - spare

        return bound
