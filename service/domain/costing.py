"""Cost and price of a line, every row kept with its quantity, unit, rate and amount.

One formula holds for every row: ``amount = quantity x rate / rate_per``, where ``rate_per`` says
how many of the row's units its rate is for (60 where minutes are paid by the hour). Amounts of
rows are kept to ten decimals.

    cost        blanks + media + ink + set-up + labour + machines + consumables + spare blanks
    overhead    cost x overhead share
    margin      (cost + overhead) x m / (1 - m), so that m is the margin's share of the price
    break       -(price so far) x the share of the quantity break reached
    more        what is taken off when a larger quantity of the same line costs less in total

**The one rounding place** is the unit price of each size, half up, to the currency's minor units:
(what the size's blank costs + an equal share of all else) x price / cost. A line's total is the
sum of unit price times quantity; an order's is the sum of its lines. A last row holds what that
rounding added or took, so that the rows sum to the total exactly.

**More never costs less.** A quantity break can make more pieces cheaper in total (11 at 10.00 are
110.00, 12 at 9.00 are 108.00). The price before rounding is therefore the least of the price of
the pieces asked for and the prices at each break above them, reached by adding the blank's
cheapest size. Between two breaks the price never falls, as every row grows with the pieces, so no
other quantity needs a look. Rounding the unit price can still move a total by half a minor unit
a piece.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from service.domain.money import minor_units, to_minor, wide_arithmetic
from service.domain.shop import Catalogue, PriceBook, QuantityBreak
from service.domain.wishes import Line
from service.domain.work import LineWork, line_work

_ROW_STEP = Decimal("1e-10")
_ZERO = Decimal(0)
_MIN_PER_HOUR = 60
_MM_PER_M = 1_000


class CostPart(StrEnum):
    """What a row is for. All up to ``spoilage`` are direct cost."""

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
    ROUNDING = "rounding"


@dataclass(frozen=True, slots=True)
class CostRow:
    """``quantity`` of ``unit`` at ``rate`` for each ``rate_per`` of them; negative takes off.

    ``rate`` and ``amount`` are in the currency's major unit; ``amount`` has ten decimals.
    """

    label: str
    part: CostPart
    quantity: Decimal
    unit: str
    rate: Decimal
    rate_per: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class LinePrice:
    """The price of a line. ``rows`` sum to ``total_minor`` exactly and are for staff alone.

    ``unit_prices`` holds minor units by size. ``priced_as_pieces`` is above ``pieces`` where that
    many would cost less in total. ``cost`` is direct cost and overhead, in the major unit.
    """

    currency: str
    rows: tuple[CostRow, ...]
    unit_prices: Mapping[str, int]
    total_minor: int
    pieces: int
    priced_as_pieces: int
    cost: Decimal
    work: LineWork

    @property
    def below_cost(self) -> bool:
        """True when discounts have taken the price below cost."""
        return self.total_minor < to_minor(self.cost, self.currency)


@dataclass(frozen=True, slots=True)
class OrderPrice:
    """The lines of an order in one currency, and their sum."""

    currency: str
    lines: tuple[LinePrice, ...]
    total_minor: int
    pieces: int


def cost_line(catalogue: Catalogue, work: LineWork) -> tuple[CostRow, ...]:
    """Direct cost rows of a line, those of nothing left out; overhead and margin come later.

    Garments the customer brings have neither blank nor spare blank. KeyError for a size the blank
    does not have.
    """
    with wide_arithmetic():
        rows = [
            *_blank_rows(catalogue, work),
            *_material_rows(catalogue, work),
            *_set_up_rows(catalogue, work),
            *_run_rows(catalogue, work),
            *_piece_rows(catalogue, work),
        ]
    order = list(CostPart)
    return tuple(sorted((row for row in rows if row.amount), key=lambda r: order.index(r.part)))


def price_line(catalogue: Catalogue, line: Line, break_pieces: int | None = None) -> LinePrice:
    """Price ``line``, whose every decoration names its method.

    ``break_pieces`` is the count that earns the quantity break, the line's own pieces when None;
    ValueError when it is below them. Other errors are those of
    :func:`service.domain.work.line_work` and :func:`cost_line`.
    """
    work = line_work(catalogue, line)
    counted = work.pieces if break_pieces is None else break_pieces
    if counted < work.pieces:
        raise ValueError(f"{counted} pieces for the break are fewer than the line's {work.pieces}")
    with wide_arithmetic():
        asked = _priced(catalogue, work, counted)
        best = min(
            (asked, *_larger(catalogue, line, counted, asked)), key=lambda priced: priced.discounted
        )
        return _line_price(catalogue.prices, asked, best, _unit_blank_costs(catalogue, work))


def price_order(lines: Sequence[LinePrice]) -> OrderPrice:
    """Add lines up; ValueError for none or for lines in more than one currency."""
    currencies = {line.currency for line in lines}
    if len(currencies) != 1:
        raise ValueError(f"an order has one currency, not {sorted(currencies)}")
    return OrderPrice(
        currency=currencies.pop(),
        lines=tuple(lines),
        total_minor=sum(line.total_minor for line in lines),
        pieces=sum(line.pieces for line in lines),
    )


def break_reached(breaks: Sequence[QuantityBreak], pieces: int) -> QuantityBreak:
    """The highest quantity break that ``pieces`` reach; the first starts from one piece."""
    return max(
        (step for step in breaks if step.from_pieces <= pieces), key=lambda step: step.from_pieces
    )


def _row(
    label: str,
    part: CostPart,
    quantity: Decimal | int,
    unit: str,
    rate: Decimal,
    rate_per: Decimal | int = 1,
) -> CostRow:
    quantity, rate_per = Decimal(quantity), Decimal(rate_per)
    amount = (quantity * rate / rate_per).quantize(_ROW_STEP)
    return CostRow(label, part, quantity, unit, rate, rate_per, amount)


def _exact(rows: Sequence[CostRow]) -> Decimal:
    """Sum of the rows before their amounts were cut to ten decimals."""
    return sum((row.quantity * row.rate / row.rate_per for row in rows), _ZERO)


def _unit_blank_costs(catalogue: Catalogue, work: LineWork) -> dict[str, Decimal]:
    """What one blank costs, by size of the line; 0 for garments the customer brings."""
    if work.blank_id is None:
        return dict.fromkeys(work.pieces_by_size, _ZERO)
    costs = {size.size: size.cost for size in catalogue.blank_by_id[work.blank_id].sizes}
    return {size: costs[size] for size in work.pieces_by_size}


def _blank_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Pieces of a size x what one costs; spares x what the line's dearest size costs."""
    if work.blank_id is None:
        return []
    name = catalogue.blank_by_id[work.blank_id].name
    costs = _unit_blank_costs(catalogue, work)
    rows = [
        _row(f"{name}, {size}", CostPart.BLANK, work.pieces_by_size[size], "piece", cost)
        for size, cost in costs.items()
    ]
    spares = work.starts - work.pieces
    label = f"{name}, spare for spoilage"
    return [*rows, _row(label, CostPart.SPOILAGE, spares, "piece", max(costs.values()))]


def _material_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Length of roll x price of a metre, or sheets x price of one; millilitres x price of one."""
    rows = []
    for use in work.media:
        medium, layout = catalogue.medium_by_id[use.medium], use.layout
        if layout.sheets is None:
            quantity, unit, per = layout.length_mm, "mm", _MM_PER_M
        else:
            quantity, unit, per = Decimal(layout.sheets), "sheet", 1
        rows.append(_row(medium.name, CostPart.MEDIUM, quantity, unit, medium.price_per_m, per))
    printers = {printer.id: printer for printer in catalogue.printers}
    for ink in work.ink:
        printer = printers[ink.printer]
        label = f"{printer.ink} ink, {printer.name}"
        rows.append(_row(label, CostPart.INK, ink.ml, "ml", printer.ink_price_per_ml))
    return rows


def _set_up_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Set-up minutes x labour and machine rate; artwork check minutes x labour rate.

    Each different artwork is checked once, at the rate of the station that has it first.
    """
    rows = []
    for operation in work.operations:
        station = catalogue.station_by_id[operation.station]
        rate = station.labour_rate_per_hour + station.machine_rate_per_hour
        label = f"set up {operation.kind}, {station.name}"
        rows.append(_row(label, CostPart.SET_UP, operation.setup_min, "min", rate, _MIN_PER_HOUR))
    if work.operations:
        first = catalogue.station_by_id[work.operations[0].station]
        minutes = catalogue.prices.artwork_check_min * work.artworks
        rate = first.labour_rate_per_hour
        rows.append(_row("artwork check", CostPart.SET_UP, minutes, "min", rate, _MIN_PER_HOUR))
    return rows


def _run_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Minutes on all pieces to start x labour rate, and x machine rate."""
    rows = []
    for operation in work.operations:
        station = catalogue.station_by_id[operation.station]
        label = f"{operation.kind}, {station.name}"
        for part, rate in (
            (CostPart.LABOUR, station.labour_rate_per_hour),
            (CostPart.MACHINE, station.machine_rate_per_hour),
        ):
            rows.append(_row(label, part, operation.run_min, "min", rate, _MIN_PER_HOUR))
    return rows


def _piece_rows(catalogue: Catalogue, work: LineWork) -> list[CostRow]:
    """Pieces to start x consumables of one."""
    rate = catalogue.prices.consumables_per_piece
    return [_row("consumables", CostPart.CONSUMABLES, work.starts, "piece", rate)]


@dataclass(frozen=True, slots=True)
class _Priced:
    """A quantity with its direct cost, list price and price after the quantity break."""

    work: LineWork
    rows: tuple[CostRow, ...]
    direct: Decimal
    listed: Decimal
    reached: QuantityBreak
    discounted: Decimal


def _priced(catalogue: Catalogue, work: LineWork, counted: int) -> _Priced:
    book = catalogue.prices
    rows = cost_line(catalogue, work)
    direct = _exact(rows)
    listed = _listed(book, direct)
    reached = break_reached(book.breaks, counted)
    return _Priced(work, rows, direct, listed, reached, listed * (1 - reached.discount_share))


def _larger(catalogue: Catalogue, line: Line, counted: int, asked: _Priced) -> Iterator[_Priced]:
    """The line at each break above that may cost less, filled up with the cheapest size.

    Blanks and consumables alone say of most that they cannot, without another account of work.
    """
    filler, each = _filler(catalogue, line)
    for step in catalogue.prices.breaks:
        more = step.from_pieces - counted
        least = _listed(catalogue.prices, asked.direct + more * each)
        if more > 0 and least * (1 - step.discount_share) < asked.discounted:
            pieces = dict(line.pieces_by_size)
            pieces[filler] = pieces.get(filler, 0) + more
            work = line_work(catalogue, replace(line, pieces_by_size=pieces))
            yield _priced(catalogue, work, step.from_pieces)


def _filler(catalogue: Catalogue, line: Line) -> tuple[str, Decimal]:
    """The size one more piece costs least in, and what it costs at the very least."""
    consumables = catalogue.prices.consumables_per_piece
    blank = catalogue.blank_by_id.get(line.garment.blank_id or "")
    if blank is None:
        return min(line.pieces_by_size), consumables
    cheapest = min(blank.sizes, key=lambda size: size.cost)
    return cheapest.size, cheapest.cost + consumables


def _listed(book: PriceBook, direct: Decimal) -> Decimal:
    """Direct cost with overhead and margin, before any discount."""
    return direct * (1 + book.overhead_share) / (1 - book.margin_share)


def _line_price(
    book: PriceBook, asked: _Priced, best: _Priced, blank_costs: Mapping[str, Decimal]
) -> LinePrice:
    pieces_by_size = asked.work.pieces_by_size
    unit_prices = _unit_prices(book.currency, asked, best.discounted, blank_costs)
    total_minor = sum(unit_prices[size] * count for size, count in pieces_by_size.items())
    rows = [*asked.rows, *_price_rows(book, asked, best)]
    return LinePrice(
        currency=book.currency,
        rows=(*rows, *_rounding_rows(book.currency, total_minor, rows)),
        unit_prices=unit_prices,
        total_minor=total_minor,
        pieces=asked.work.pieces,
        priced_as_pieces=best.work.pieces,
        cost=asked.direct * (1 + book.overhead_share),
        work=asked.work,
    )


def _unit_prices(
    currency: str, asked: _Priced, price: Decimal, blank_costs: Mapping[str, Decimal]
) -> dict[str, int]:
    """Minor units by size: the size's share of cost, times price over cost, rounded here alone."""
    work, direct = asked.work, asked.direct
    if direct == 0:
        return dict.fromkeys(work.pieces_by_size, 0)
    blanks = sum((blank_costs[size] * n for size, n in work.pieces_by_size.items()), _ZERO)
    return {
        size: to_minor(
            (cost * work.pieces + direct - blanks) * price / (direct * work.pieces), currency
        )
        for size, cost in blank_costs.items()
    }


def _price_rows(book: PriceBook, asked: _Priced, best: _Priced) -> list[CostRow]:
    """From direct cost to price; rows of nothing are left out."""
    loaded = asked.direct * (1 + book.overhead_share)
    step = asked.reached
    more = best.discounted - asked.discounted
    rows = [
        _row("overhead", CostPart.OVERHEAD, asked.direct, book.currency, book.overhead_share),
        _row(
            "margin",
            CostPart.MARGIN,
            loaded,
            book.currency,
            book.margin_share,
            1 - book.margin_share,
        ),
        _row(
            f"quantity break from {step.from_pieces} pieces",
            CostPart.DISCOUNT,
            asked.listed,
            book.currency,
            -step.discount_share,
        ),
        _row(f"{best.work.pieces} pieces cost less", CostPart.DISCOUNT, 1, "line", more),
    ]
    return [row for row in rows if row.amount]


def _rounding_rows(currency: str, total_minor: int, rows: Sequence[CostRow]) -> list[CostRow]:
    total = Decimal(total_minor).scaleb(-minor_units(currency))
    left = total - sum((row.amount for row in rows), _ZERO)
    if left == 0:
        return []
    return [_row("unit prices rounded", CostPart.ROUNDING, 1, "line", left)]
