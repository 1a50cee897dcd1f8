"""Stock reckoned: what is free, how long it lasts, what to reorder, and what a ticket takes.

Point and level follow a plain reorder policy: common practice, no source. Days of cover and the
figures beside each check are worked out by hand.
"""

from __future__ import annotations

from datetime import date, time, timedelta
from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.shop import WorkCalendar
from service.domain.stock import Expected, Moved, Reordering, StockLevel, material_day
from service.domain.stock_items import (
    StockEntry,
    StockItem,
    StockKind,
    StockUnit,
    counted,
    said,
    stock_entries,
)
from service.domain.stock_needs import TicketStock, needs_of

MONDAY = date(2026, 3, 2)
CALENDAR = WorkCalendar(
    time_zone="Europe/Berlin", working_weekdays=frozenset(range(5)), cut_off=time(12)
)
QUANTITIES = st.integers(-100_000, 100_000)
COUNTS = st.integers(0, 100_000)


def level(
    on_hand: int = 0,
    used: int = 0,
    held: int = 0,
    incoming: tuple[Expected, ...] = (),
    *,
    lead_days: int = 2,
    point: int | None = None,
    to: int | None = None,
) -> StockLevel:
    """How a T-shirt stands; use is told from 20 working days, 3 for safety, 10 for an order."""
    item = StockItem(StockKind.BLANK, "tee", "black", "M", StockUnit.PIECES)
    entry = StockEntry(item, "Tee", "black", "Black", lead_days, point, to)
    return StockLevel(entry, Moved(on_hand, used), held, incoming, Reordering(20, 3, 10))


def coming(*deliveries: tuple[int, int]) -> tuple[Expected, ...]:
    """Deliveries: pieces, and days after Monday."""
    return tuple(
        Expected(str(index), quantity, MONDAY + timedelta(days=days))
        for index, (quantity, days) in enumerate(deliveries)
    )


def test_days_of_cover() -> None:
    """40 used in 20 days are 2 a day: 70 last 35 days; without use there is no telling."""
    assert level(70, 40).use_per_day == 2
    assert level(70, 40).cover_days == 35
    assert level(5, 40).cover_days == Fraction(5, 2)
    assert level(-3, 40).cover_days == 0
    assert level(70, 0).cover_days is None
    assert level(70, -4).cover_days is None


def test_point_and_level() -> None:
    """2 a day over 2 + 3 days make 10, over 10 more 30; what the catalogue says goes before."""
    assert (level(100, 40).reorder_point, level(100, 40).reorder_to) == (10, 30)
    assert level(100, 41).reorder_point == 11
    assert (level(0, 40, point=5).reorder_point, level(0, 40, point=5).reorder_to) == (5, 30)
    assert (level(0, 0, point=6).reorder_to, level(0, 0, point=6, to=24).reorder_to) == (6, 24)
    assert level(0, 40, lead_days=0).reorder_point == 6


def test_what_to_order() -> None:
    """At the point up to the level, by what is free and on its way; never without use or need."""
    assert level(11, 40).to_order == 0
    assert level(10, 40).to_order == 20
    assert level(40, 40, held=30).to_order == 20
    assert level(10, 40, incoming=coming((1, 3))).to_order == 0
    assert level(0, 0).to_order == 0
    assert level(3, 0, held=8).to_order == 5
    assert level(3, 0, point=6, to=24).to_order == 21


@given(QUANTITIES, COUNTS, COUNTS, st.lists(st.tuples(COUNTS, st.integers(0, 60)), max_size=3))
def test_ordering_reaches_the_level_and_no_more(
    on_hand: int, used: int, held: int, deliveries: list[tuple[int, int]]
) -> None:
    """After ordering what is told the position is at the level, and nothing more is to order."""
    before = level(on_hand, used, held, coming(*deliveries))
    assert before.free == on_hand - held
    more = (before.to_order, 1)
    after = level(on_hand, used, held, coming(*deliveries, more))
    assert after.to_order == 0
    assert before.to_order == 0 or after.position == before.reorder_to
    assert before.reorder_to >= before.reorder_point >= 0


@given(QUANTITIES, st.integers(1, 5_000), st.integers(0, 10))
def test_material_is_never_promised_before_it_is_there(
    on_hand: int, needed: int, lead_days: int
) -> None:
    """What is free is there today, and what is not at the latest after the supplier's days."""
    stands = level(on_hand, lead_days=lead_days, incoming=coming((100, 3), (100, 8)))
    day = material_day(stands, needed, today=MONDAY, calendar=CALENDAR)
    more = material_day(stands, needed + 1, today=MONDAY, calendar=CALENDAR)
    assert (day == MONDAY) == (on_hand >= needed or lead_days == 0)
    assert MONDAY <= day <= more
    assert day.weekday() < 5


def test_the_day_of_material() -> None:
    """From the shelf, from the delivery of Thursday, or ordered anew: worked out on a calendar."""
    stands = level(5, lead_days=5, incoming=coming((10, 3), (10, 13)))
    days = [material_day(stands, many, today=MONDAY, calendar=CALENDAR) for many in (5, 15, 16)]
    assert days == [MONDAY, date(2026, 3, 5), date(2026, 3, 9)]
    late = level(0, lead_days=1, incoming=coming((10, 3)))
    assert material_day(late, 5, today=MONDAY, calendar=CALENDAR) == date(2026, 3, 3)
    saturday = level(0, lead_days=9, incoming=coming((10, 5)))
    assert material_day(saturday, 5, today=MONDAY, calendar=CALENDAR) == date(2026, 3, 9)


@given(st.integers(-(10**12), 10**12), st.sampled_from(list(StockUnit)))
def test_quantities_are_said_exactly(quantity: int, unit: StockUnit) -> None:
    """What is said is counted as what it was."""
    assert counted(said(quantity, unit), unit) == quantity


def test_parts_of_what_is_counted_whole() -> None:
    """Half a piece and a tenth of a um are nothing that a ledger counts."""
    assert counted(Decimal("1.5"), StockUnit.PIECES) is None
    assert counted(Decimal("0.0001"), StockUnit.UM) is None
    assert counted(Decimal("0.001"), StockUnit.UL) == 1


def test_what_a_ticket_takes() -> None:
    """Blanks by size with their spares, and each decoration's film and ink."""
    ticket = TicketStock.model_validate(
        {
            "blank_id": "tee",
            "colour_id": "black",
            "pieces_by_size": {"M": 3, "L": 2},
            "starts_by_size": {"M": 4, "L": 2},
            "uses": [
                {
                    "decoration": 1,
                    "kind": "medium",
                    "item": "film",
                    "colour": "White",
                    "quantity": 900,
                    "unit": "um",
                },
                {"decoration": 1, "kind": "ink", "item": "printer", "quantity": 7, "unit": "ul"},
            ],
        }
    )
    found = {
        (one.item.item, one.item.size, one.decoration): one.quantity for one in needs_of(ticket)
    }
    assert found == {
        ("tee", "M", 0): 4,
        ("tee", "L", 0): 2,
        ("film", "", 1): 900,
        ("printer", "", 1): 7,
    }
    brought = ticket.model_copy(update={"supplied_by_customer": True})
    assert {one.item.kind for one in needs_of(brought)} == {"medium", "ink"}


@given(st.integers(1, 10**6), st.integers(1, 5), st.sampled_from(["um", "sheets"]))
def test_a_ticket_from_before_shares_its_film_out(length: int, places: int, unit: str) -> None:
    """By decoration, nothing lost; sheets stay whole."""
    film = {"medium": "film", "colour": "White", "length_mm": length / 1_000}
    ticket = TicketStock.model_validate(
        {
            "pieces_by_size": {"M": 3},
            "materials": [{**film, "sheets": length if unit == "sheets" else None}],
            "decorations": [{"film_colours": {"film": "White"}}] * places,
        }
    )
    needs = list(needs_of(ticket))
    assert sum(one.quantity for one in needs) == length
    assert len({one.decoration for one in needs}) == len(needs) <= places
    assert {one.item.unit for one in needs} == {unit}


def test_everything_in_the_catalogue_is_stocked_once() -> None:
    """Blanks by colour and size, media by colour, ink by printer: counted in the demo shop."""
    catalogue = load_catalogue(demo_shop_path()).catalogue
    entries = list(stock_entries(catalogue))
    assert len({entry.item for entry in entries}) == len(entries)
    kinds = [entry.item.kind for entry in entries]
    assert kinds.count(StockKind.BLANK) == sum(
        len(blank.colours) * len(blank.sizes) for blank in catalogue.blanks
    )
    assert kinds.count(StockKind.MEDIUM) == sum(
        max(1, len(medium.colours)) for medium in catalogue.media
    )
    assert kinds.count(StockKind.INK) == len(catalogue.printers)
