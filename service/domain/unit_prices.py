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

from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple, Self

from service.domain.costing import DirectCost
from service.domain.price_book import PriceBook
from service.domain.roll import taken_at_most
from service.domain.work import FilmOfPiece

_SLACK = 1e-9
"""By what share limits, reckoned in floats, are raised: far more than floats can be off by."""


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

    ``most`` is the most pieces an order may have. Keeps what it has worked out, which hangs on
    neither the line's pieces nor their sizes: for one request, not to be shared between threads.
    """

    direct: DirectCost
    most: int
    _plain: dict[int, Decimal] = field(default_factory=dict)
    _evened: dict[int, Decimal] = field(default_factory=dict)
    _limits: ShareLimits | None = None

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
        limits = self._limits = self._limits or ShareLimits.of(self.direct, self.most)
        best = self.plain(pieces)
        for larger in range(pieces + 1, self.most + 1):
            if limits.from_so_many_on(larger) <= float(best):
                break
            known = self._evened.get(larger)
            if known is not None:
                return max(best, known)
            if limits.may_exceed(larger, float(best)):
                best = max(best, self.plain(larger))
        return best


class _FilmLimit(NamedTuple):
    """So many pieces never take more than ``each`` times their number and ``once``, in money."""

    film: FilmOfPiece
    price: float
    each: float
    once: float


@dataclass(frozen=True, slots=True)
class ShareLimits:
    """What v(r) / r cannot exceed, reckoned in floats and raised by more than they can be off by.

    ``films`` come with those first whose limit is loosest.
    """

    direct: DirectCost
    most: int
    fixed: float
    each: float
    spare: float
    films: tuple[_FilmLimit, ...]

    @classmethod
    def of(cls, direct: DirectCost, most: int) -> Self:
        """The limits of a line of up to ``most`` pieces."""
        films = []
        for price, film in zip(map(float, direct.films), direct.account.films, strict=True):
            each, once = taken_at_most(film.strip, film.width_mm, film.height_mm)
            films.append(_FilmLimit(film, price, price * each, price * once))
        films.sort(key=lambda one: -one.once)
        parts = (float(direct.fixed), float(direct.each), float(direct.spare))
        return cls(direct, most, *parts, tuple(films))

    def from_so_many_on(self, pieces: int) -> float:
        """Never below v(r') / r' of any r' from ``pieces`` on."""
        per_start = self.spare + self.each + sum(film.each for film in self.films)
        once = max(0.0, self.fixed + sum(film.once for film in self.films))
        starts_share = self.direct.account.starts.greatest_shares(self.most)[pieces]
        return (per_start * starts_share + once / pieces) * (1 + _SLACK) - self.spare

    def may_exceed(self, pieces: int, share: float) -> bool:
        """False where v(r) / r is not above ``share``; lays out as few films as can tell."""
        starts = self.direct.account.starts.of(pieces)
        enough = (share + self.spare) * pieces
        at_most = self.fixed + (self.spare + self.each) * starts
        at_most += sum(film.each * starts + film.once for film in self.films)
        for film, price, each, once in self.films:
            if at_most * (1 + _SLACK) <= enough:
                return False
            at_most += price * float(film.lay_out(starts).taken) - each * starts - once
        return at_most * (1 + _SLACK) > enough
