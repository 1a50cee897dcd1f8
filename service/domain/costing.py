"""Direct cost of a line, every row kept with its quantity, unit, rate and amount.

One formula holds for every row: ``amount = quantity x rate / rate_per``, where ``rate_per`` says
how many of the row's units its rate is for (60 where minutes are paid by the hour). Amounts of
rows are kept to ten decimals.

    direct cost     blanks + media + ink + set-up + labour + machines + consumables + spare blanks

Which size a spoiled piece has is not known. A spare blank is reckoned at what the garment's sizes
cost on the mean, whatever sizes the line has: reckoned by the line's own, one piece more of a cheap
size could make all spares, and the order, cost less.

:mod:`service.domain.pricing` makes a price of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from service.domain.money import wide_arithmetic
from service.domain.redo_cost import by_the_hour
from service.domain.shop import Catalogue
from service.domain.work import LineAccount, LineWork, OperationWork

ARTWORK_CHECK = "artwork check"
"""Label of the row of what is done once for an artwork, however often its pieces are run."""

_ROW_STEP = Decimal("1e-10")
_ZERO = Decimal(0)
_MIN_PER_HOUR = 60
_MM_PER_M = 1_000


class CostPart(StrEnum):
    """What a row is for. All up to ``spoilage`` are direct cost, the others make a price of it."""

    BLANK = "blank"
    MEDIUM = "medium"
    INK = "ink"
    SET_UP = "set_up"
    LABOUR = "labour"
    MACHINE = "machine"
    CONSUMABLES = "consumables"
    SPOILAGE = "spoilage"
    OVERHEAD = "overhead"
    MARGIN = "margin"
    DISCOUNT = "discount"
    RUSH = "rush"
    FLOOR = "floor"
    EVENED = "evened"
    TAX = "tax"
    ROUNDING = "rounding"


_PLACE = {part: place for place, part in enumerate(CostPart)}


class CostRow(NamedTuple):
    """``quantity`` of ``unit`` at ``rate`` for each ``rate_per`` of them; negative takes off.

    ``rate`` and ``amount`` are in the currency's major unit; ``amount`` has ten decimals. A tuple,
    as dozens are made for each line.
    """

    label: str
    part: CostPart
    quantity: Decimal
    unit: str
    rate: Decimal
    rate_per: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class DirectCost:
    """Direct cost of a line as it grows, in the major unit: what its rows sum to for any number.

    ``fixed`` is once a job, ``each`` for every piece started, and ``films`` holds the price of a
    millimetre, or of a sheet, of each of the account's films. ``blanks`` is what one blank of each
    size costs, of every size the garment has; those of a garment the customer brings cost nothing.
    """

    account: LineAccount
    fixed: Decimal
    each: Decimal
    films: tuple[Decimal, ...]
    blanks: Mapping[str, Decimal]
    spare: Decimal

    def besides_blanks(self, pieces: int) -> Decimal:
        """What that many good pieces cost but for the blanks they are made of."""
        starts = self.account.starts.of(pieces)
        films = zip(self.account.films, self.films, strict=True)
        media = sum((price * film.lay_out(starts).taken for film, price in films), _ZERO)
        return self.fixed + self.each * starts + media + self.spare * (starts - pieces)

    def of_line(self) -> Decimal:
        """What the account's own line costs."""
        run = self.account.line.pieces_by_size
        blanks = sum((self.blanks[size] * pieces for size, pieces in run.items()), _ZERO)
        return blanks + self.besides_blanks(self.account.line.pieces)


def direct_cost(catalogue: Catalogue, account: LineAccount) -> DirectCost:
    """What grows with the pieces and what does not; KeyError for a size the blank has not."""
    with wide_arithmetic():
        once, each = by_the_hour(catalogue, account.operations)
        ink = [
            one.ml * catalogue.printer_by_id[one.printer].ink_price_per_ml for one in account.ink
        ]
        consumables = catalogue.prices.consumables_per_piece
        media = (catalogue.medium_by_id[film.strip.medium] for film in account.films)
        blanks = _blank_costs(catalogue, account)
        return DirectCost(
            account=account,
            fixed=once + exact_sum(_check_rows(catalogue, account)),
            each=each + consumables + sum(ink, _ZERO),
            films=tuple(
                medium.price_per_m / (_MM_PER_M if medium.sheet_length_mm is None else 1)
                for medium in media
            ),
            blanks=blanks,
            spare=sum(blanks.values(), _ZERO) / len(blanks),
        )


def cost_line(catalogue: Catalogue, account: LineAccount, work: LineWork) -> tuple[CostRow, ...]:
    """Direct cost rows of a line, those of nothing left out.

    ``work`` is the account's own. Garments the customer brings have neither blank nor spare blank.
    KeyError for a size the blank does not have.
    """
    with wide_arithmetic():
        rows = [
            *_blank_rows(catalogue, account, work),
            *_material_rows(catalogue, work),
            *(row for step in work.operations for row in _set_up_rows(catalogue, step)),
            *_check_rows(catalogue, account),
            *(row for step in work.operations for row in _run_rows(catalogue, step)),
            _consumables(catalogue, work.starts),
        ]
    return tuple(sorted((row for row in rows if row.amount), key=lambda row: _PLACE[row.part]))


def cost_row(
    label: str,
    part: CostPart,
    quantity: Decimal | int,
    unit: str,
    rate: Decimal,
    rate_per: Decimal | int = 1,
) -> CostRow:
    """A row with its amount."""
    quantity, rate_per = Decimal(quantity), Decimal(rate_per)
    amount = (quantity * rate / rate_per).quantize(_ROW_STEP)
    return CostRow(label, part, quantity, unit, rate, rate_per, amount)


def exact_sum(rows: Sequence[CostRow]) -> Decimal:
    """Sum of the rows before their amounts were cut to ten decimals."""
    return sum((row.quantity * row.rate / row.rate_per for row in rows), _ZERO)


def _blank_costs(catalogue: Catalogue, account: LineAccount) -> dict[str, Decimal]:
    """What one blank costs, by size; 0 for garments the customer brings."""
    line = account.line
    if line.garment.blank_id is None:
        return dict.fromkeys(line.pieces_by_size, _ZERO)
    costs = {size.size: size.cost for size in catalogue.blank_by_id[line.garment.blank_id].sizes}
    for size in line.pieces_by_size:
        if size not in costs:
            raise KeyError(size)
    return costs


def _blank_rows(catalogue: Catalogue, account: LineAccount, work: LineWork) -> list[CostRow]:
    """Pieces of a size x what one costs; spares x what one of every size costs together."""
    if work.blank_id is None:
        return []
    name = catalogue.blank_by_id[work.blank_id].name
    costs = _blank_costs(catalogue, account)
    rows = [
        cost_row(f"{name}, {size}", CostPart.BLANK, pieces, "piece", costs[size])
        for size, pieces in work.pieces_by_size.items()
    ]
    spares = work.starts - work.pieces
    every_size = sum(costs.values(), _ZERO)
    label = f"{name}, spare for spoilage"
    return [*rows, cost_row(label, CostPart.SPOILAGE, spares, "piece", every_size, len(costs))]


def _material_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Length of roll x price of a metre, or sheets x price of one; millilitres x price of one."""
    rows = []
    for use in work.media:
        medium, layout = catalogue.medium_by_id[use.medium], use.layout
        unit, per = ("mm", _MM_PER_M) if layout.sheets is None else ("sheet", 1)
        price = medium.price_per_m
        rows.append(cost_row(medium.name, CostPart.MEDIUM, layout.taken, unit, price, per))
    for ink in work.ink:
        printer = catalogue.printer_by_id[ink.printer]
        label = f"{printer.ink} ink, {printer.name}"
        rows.append(cost_row(label, CostPart.INK, ink.ml, "ml", printer.ink_price_per_ml))
    return rows


def _set_up_rows(catalogue: Catalogue, step: OperationWork) -> list[CostRow]:
    """Set-up minutes of the job, and of its run, x labour and machine rate; none of nothing."""
    station = catalogue.station_by_id[step.station]
    rate = station.labour_rate_per_hour + station.machine_rate_per_hour
    return [
        cost_row(
            f"{what} {step.kind}, {station.name}",
            CostPart.SET_UP,
            minutes,
            "min",
            rate,
            _MIN_PER_HOUR,
        )
        for what, minutes in (("set up", step.setup_min), ("set up run,", step.run_setup_min))
        if minutes
    ]


def _check_rows(catalogue: Catalogue, account: LineAccount) -> list[CostRow]:
    """Artwork check minutes x labour rate.

    Each different artwork is checked once, at the rate of the station that has it first.
    """
    if not account.operations:
        return []
    rate = catalogue.station_by_id[account.operations[0].station].labour_rate_per_hour
    minutes = catalogue.prices.artwork_check_min * len(account.line.artwork_ids)
    return [cost_row(ARTWORK_CHECK, CostPart.SET_UP, minutes, "min", rate, _MIN_PER_HOUR)]


def _run_rows(catalogue: Catalogue, step: OperationWork) -> list[CostRow]:
    """Attended minutes x labour rate; attended minutes and those of the machine alone x its.

    None of nothing.
    """
    station = catalogue.station_by_id[step.station]
    label = f"{step.kind}, {station.name}"
    occupied = step.run_min + step.machine_min
    return [
        cost_row(label, part, minutes, "min", rate, _MIN_PER_HOUR)
        for part, minutes, rate in (
            (CostPart.LABOUR, step.run_min, station.labour_rate_per_hour),
            (CostPart.MACHINE, occupied, station.machine_rate_per_hour),
        )
        if minutes and rate
    ]


def _consumables(catalogue: Catalogue, starts: int) -> CostRow:
    """Pieces to start x consumables of one."""
    rate = catalogue.prices.consumables_per_piece
    return cost_row("consumables", CostPart.CONSUMABLES, starts, "piece", rate)
