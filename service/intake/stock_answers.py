"""What staff are told of stock. Quantities are in the ``unit`` beside them."""

from __future__ import annotations

from datetime import date

from service.domain.stock import MoveReason
from service.domain.stock_items import SaidUnit, StockKind
from service.intake.answers import Answer, Moment


class StockThing(Answer):
    """One thing on the shelf. ``item`` is a blank's, medium's or printer's id.

    ``colour`` is the colour's id, empty for paper and ink; ``size`` is empty for all but blanks.
    """

    kind: StockKind
    item: str
    name: str
    colour: str
    colour_name: str
    size: str
    unit: SaidUnit


class ExpectedAnswer(Answer):
    """A delivery on its way."""

    id: str
    quantity: float
    day: date


class StockRow(StockThing):
    """How one thing stands.

    ``held`` is what open tickets still need and ``free`` the rest, below 0 where more is needed
    than there. Use, cover and lead are by working day; ``cover_days`` is null where none was used
    of late. ``to_order`` is what to order now, 0 for nothing. What is not ``in_catalogue`` any more
    may still be counted and thrown away.
    """

    on_hand: float
    held: float
    free: float
    incoming: tuple[ExpectedAnswer, ...]
    use_per_day: float
    cover_days: float | None
    supplier_lead_days: int
    reorder_point: float
    reorder_to: float
    to_order: float
    in_catalogue: bool


class StockPage(Answer):
    """A page of stock, in the order of the catalogue, and how many things there are in all.

    ``window_days`` are the working days of the last four weeks, by which use is told.
    """

    stock: tuple[StockRow, ...]
    count: int
    window_days: int
    safety_days: int
    order_days: int
    next: str | None = None


class StockMoveAnswer(StockThing):
    """A move: ``quantity`` is below 0 for what was taken. Of a count it is the difference."""

    id: int
    reason: MoveReason
    quantity: float
    ticket: str | None
    run: str | None
    who: str
    note: str
    at: Moment


class StockMoved(StockMoveAnswer):
    """A move just made, and what is on hand after it."""

    on_hand: float


class StockMovesPage(Answer):
    """A page of moves, the newest first."""

    moves: tuple[StockMoveAnswer, ...]
    next: str | None = None


class IncomingAnswer(StockThing):
    """A delivery: ``expected``, ``received`` or ``called_off``, and who said so and when."""

    id: str
    quantity: float
    day: date
    state: str
    who: str
    note: str
    at: Moment
    closed_by: str | None
    closed_note: str
    closed_at: Moment | None


class IncomingPage(Answer):
    """A page of deliveries, those expected first of all first."""

    incoming: tuple[IncomingAnswer, ...]
    next: str | None = None
