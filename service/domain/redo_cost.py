"""What starting too few pieces costs beside one spare more: what the redo cost decides starts by.

The more another run costs beside one piece, the surer the first run has to be. Both are reckoned
from the line, of one piece, so that they hang on neither its number nor its sizes: else an order
could cost less for one piece more.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Protocol

from service.domain.money import wide_arithmetic
from service.domain.roll import DoesNotFit, Strip, taken_at_most
from service.domain.shop import Catalogue
from service.domain.wishes import Line

MOST_RATIO = 200
"""A run's fixed cost is weighed as at most that of so many pieces; a design choice."""

_ZERO = Decimal(0)
_MIN_PER_HOUR = 60
_MM_PER_M = 1_000
_DIGITS = 3


class _Timed(Protocol):
    """An operation of one piece, with its set-ups; all in minutes."""

    @property
    def station(self) -> str: ...
    @property
    def setup_min(self) -> Decimal: ...
    @property
    def run_setup_min(self) -> Decimal: ...
    @property
    def each_min(self) -> Decimal: ...
    @property
    def machine_each_min(self) -> Decimal: ...


class _OnFilm(Protocol):
    """A piece on a medium; sides in mm."""

    @property
    def strip(self) -> Strip: ...
    @property
    def width_mm(self) -> float: ...
    @property
    def height_mm(self) -> float: ...


class _Inked(Protocol):
    """Ink of one piece."""

    @property
    def printer(self) -> str: ...
    @property
    def ml(self) -> Decimal: ...


def by_the_hour(catalogue: Catalogue, operations: Iterable[_Timed]) -> tuple[Decimal, Decimal]:
    """What set-ups cost, and what a piece does, of labour and machines, in the major unit."""
    once = each = _ZERO
    for step in operations:
        station = catalogue.station_by_id[step.station]
        labour, machine = station.labour_rate_per_hour, station.machine_rate_per_hour
        once += (step.setup_min + step.run_setup_min) * (labour + machine)
        each += step.each_min * labour + (step.each_min + step.machine_each_min) * machine
    return once / _MIN_PER_HOUR, each / _MIN_PER_HOUR


def redo_ratio(
    catalogue: Catalogue,
    line: Line,
    operations: Iterable[_Timed],
    films: Iterable[_OnFilm],
    ink: Iterable[_Inked],
) -> float:
    """What another run costs before its first piece, in pieces: to three digits, 200 at most.

    A run costs its set-ups and what the price book adds for the delay. A piece costs its time, its
    film in a full layout, ink and consumables, and a blank at the mean of its sizes.
    """
    book = catalogue.prices
    with wide_arithmetic():
        once, each = by_the_hour(catalogue, operations)
        once += book.redo_extra_cost
        each += book.consumables_per_piece + _blank(catalogue, line)
        each += sum((_film(catalogue, film) for film in films), _ZERO)
        each += sum(
            (one.ml * catalogue.printer_by_id[one.printer].ink_price_per_ml for one in ink), _ZERO
        )
        if once >= MOST_RATIO * each:
            return float(MOST_RATIO if once else 0)
        return float(f"{once / each:.{_DIGITS}g}")


def _blank(catalogue: Catalogue, line: Line) -> Decimal:
    """A blank, whichever size is spoiled; nothing for a garment that the customer brings."""
    if line.garment.blank_id is None:
        return _ZERO
    sizes = catalogue.blank_by_id[line.garment.blank_id].sizes
    return sum((size.cost for size in sizes), _ZERO) / len(sizes)


def _film(catalogue: Catalogue, film: _OnFilm) -> Decimal:
    """The piece's share of a full layout; nothing where it has no room, which is told elsewhere."""
    medium = catalogue.medium_by_id[film.strip.medium]
    try:
        taken, _ = taken_at_most(film.strip, film.width_mm, film.height_mm)
    except DoesNotFit:
        return _ZERO
    per = _MM_PER_M if medium.sheet_length_mm is None else 1
    return medium.price_per_m * Decimal(str(taken)) / per
