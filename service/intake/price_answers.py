"""What callers are told of prices. The storefront sees prices; what things cost staff alone see.

Money is in integer minor units. A price of one piece is the exception: it has two decimals more
than its currency and is told as a decimal number in the major unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated

from pydantic import Field, PlainSerializer

from service.domain.capable_to_promise import Reach
from service.domain.costing import CostPart
from service.intake.answers import Answer, FindingAnswer, Moment, MoneyAnswer

ExactNumber = Annotated[Decimal, PlainSerializer(lambda number: f"{number:f}", return_type=str)]
"""A decimal number, written out as text so that no reader makes a float of it."""


class UnitPriceAnswer(Answer):
    """The price of one piece in the currency's major unit, with two decimals more than it has.

    Times the pieces it is their total but for the one rounding; the total is what counts.
    """

    per_piece: ExactNumber
    currency: str


class TaxAnswer(Answer):
    """The tax in the total. Where ``inclusive``, the lines are told with it; else it is added."""

    region: str
    name: str
    rate: ExactNumber
    inclusive: bool
    amount: MoneyAnswer


class PiecesAddedAnswer(Answer):
    """Pieces of a size more in the line of that index."""

    line: int
    size: str
    pieces: int


class MoreCostsLessAnswer(Answer):
    """With these pieces more the whole order would cost less: ``total`` is to be paid then."""

    added: tuple[PiecesAddedAnswer, ...]
    total: MoneyAnswer


class QuoteLineAnswer(Answer):
    """The price of one line: by size, and in all.

    ``totals_by_size`` sum to ``total``. ``counted_pieces`` count for the quantity break: those of
    the same artwork over all lines. ``day`` is when the line is done at the soonest, as surely as
    the order is; it is told for information, for the order leaves as a whole on ``promise.day``.
    None in a quote from before lines had days.
    """

    garment: str
    colour: str
    methods: Mapping[str, str] = Field(description="method by placement")
    pieces_by_size: Mapping[str, int]
    counted_pieces: int
    unit_prices: Mapping[str, UnitPriceAnswer]
    totals_by_size: Mapping[str, MoneyAnswer]
    total: MoneyAnswer
    day: date | None = None
    findings: tuple[FindingAnswer, ...]
    risk: str = ""


class PromiseAnswer(Answer):
    """The day it leaves the shop, in the shop's time zone, and what decides it.

    It is meant to be kept ``kept_percent`` times in a hundred. ``tightest_station`` is where the
    work waits longest; ``waits_for`` is the material that comes last, on ``material_day``, where
    any line waits, which need not be the line that is done last. ``rush_days`` are the working days
    that were gained by rush.
    """

    day: date
    time_zone: str
    reason: str
    kept_percent: int | None = None
    tightest_station: str | None = None
    waits_for: str | None = None
    material_day: date | None = None
    rush_days: int = 0


class NeededByAnswer(Answer):
    """Whether the day asked for can be had: ``yes``, with ``rush``, or ``no``.

    ``nearest_day`` is the nearest to it that can be promised, with ``nearest_rush_days`` gained by
    rush, 0 without, and is to be had for ``nearest_total``. ``ways`` say what would help.
    """

    day: date
    answer: Reach
    nearest_day: date
    nearest_rush_days: int
    nearest_total: MoneyAnswer
    ways: tuple[str, ...]


class QuoteAnswer(Answer):
    """A price and a day that stand until ``expires_at``.

    ``goods`` is the sum of the lines, ``total`` what is to be paid. ``offer`` is the id of the
    offer that was taken off. ``more_costs_less`` is told where the shop lets more cost less.
    The day's station time and material are held until ``held_until``, where that was asked for.
    """

    id: str
    catalogue_version: str
    created_at: Moment
    expires_at: Moment
    lines: tuple[QuoteLineAnswer, ...]
    goods: MoneyAnswer
    tax: TaxAnswer | None = None
    total: MoneyAnswer
    offer: str | None = None
    more_costs_less: MoreCostsLessAnswer | None = None
    promise: PromiseAnswer
    needed_by: NeededByAnswer | None = None
    held_until: Moment | None = None


class BreakAheadAnswer(Answer):
    """So many pieces more and each costs less: the next quantity break."""

    more_pieces: int
    unit_prices: Mapping[str, UnitPriceAnswer]
    total: MoneyAnswer


class CurvePointAnswer(Answer):
    """The line at one quantity; ``one_more`` is what one piece more adds to the total."""

    pieces: int
    pieces_by_size: Mapping[str, int]
    unit_prices: Mapping[str, UnitPriceAnswer]
    mean_unit_price: UnitPriceAnswer
    total: MoneyAnswer
    one_more: MoneyAnswer | None
    next_break: BreakAheadAnswer | None
    more_costs_less: MoreCostsLessAnswer | None = None


class PriceCurveAnswer(Answer):
    """What a line costs at each quantity asked for, smallest first.

    No price of a piece rises from one point to a larger one, and, unless the shop lets it, no total
    falls. Nothing is kept and no day is promised: ask for a quote.
    """

    catalogue_version: str
    methods: Mapping[str, str] = Field(description="method by placement")
    points: tuple[CurvePointAnswer, ...]
    breaks_from: tuple[int, ...]


class StaffCurvePointAnswer(CurvePointAnswer):
    """With what the pieces cost the shop, overhead and all, in the major unit; for staff alone.

    ``starts`` are the pieces begun, ``one_more_cost`` what one piece more adds to ``cost``.
    """

    starts: int
    cost: ExactNumber
    one_more_cost: ExactNumber | None


class StaffPriceCurveAnswer(PriceCurveAnswer):
    """The price curve with what it costs the shop; for staff alone."""

    points: tuple[StaffCurvePointAnswer, ...]


class CostRowAnswer(Answer):
    """A row of the build-up: ``quantity`` of ``unit`` at ``rate`` for each ``rate_per`` of them."""

    label: str
    part: CostPart
    quantity: ExactNumber
    unit: str
    rate: ExactNumber
    rate_per: ExactNumber
    amount: ExactNumber


class AuditLineAnswer(Answer):
    """The build-up of one line: ``rows`` sum to ``total`` exactly.

    ``starts`` are the pieces begun for ``pieces`` good ones. ``starts_of_least_cost`` would cost
    least over all if what is short were made up by another run, which is set up anew, and reach the
    pieces with ``least_cost_probability`` at the mean share of spoiled ones; both None where that
    cannot be told.
    """

    rows: tuple[CostRowAnswer, ...]
    pieces: int
    starts: int
    starts_of_least_cost: int | None
    least_cost_probability: float | None
    cost: ExactNumber
    below_cost: bool
    total: MoneyAnswer


class SpoilageAnswer(Answer):
    """Pieces a method has made and how many of them it spoiled, as the price took them."""

    made: int
    spoiled: int


class QuoteAuditAnswer(Answer):
    """A quote priced anew from what was stored; for staff alone.

    ``same`` says that every cent and every row came out as they were told; ``differences`` name
    what did not. ``spoilage`` is by method, as seen before the day of the quote.
    """

    quote_id: str
    catalogue_version: str
    told_total: MoneyAnswer
    recomputed_total: MoneyAnswer
    same: bool
    differences: tuple[str, ...]
    spoilage: Mapping[str, SpoilageAnswer]
    lines: tuple[AuditLineAnswer, ...]
