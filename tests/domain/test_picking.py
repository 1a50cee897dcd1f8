"""The picking list: everything on the day's tickets, once, in the order of the shelves."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.picking import natural_order, picking_list, size_order
from service.domain.ticket import TicketDocument
from tests.domain.tickets import at, stocked, ticket_of

TICKETS = {
    "T000001": ticket_of(
        stocked("classic-cotton-tee", "black"), at("front", "printed-film"), sizes={"L": 2, "M": 3}
    ),
    "T000002": ticket_of(
        stocked("classic-cotton-tee", "black"), at("back", "cut-film"), sizes={"M": 1, "S": 1}
    ),
    "T000003": ticket_of(
        stocked("sport-polyester-tee", "white"), at("front", "dye-transfer"), sizes={"M": 2}
    ),
    "T000004": ticket_of(
        stocked("classic-cotton-tee", "white"), at("front", "printed-film"), sizes={"2XL": 2}
    ),
}


def test_blanks_of_one_kind_are_fetched_together() -> None:
    """One row for garment, colour and place, its sizes from small to large with their spares."""
    (first, *_) = picking_list(TICKETS.items()).blanks
    assert (first.location, first.garment, first.colour) == ("A-01", "Classic cotton tee", "Black")
    assert first.by_size == {"S": 1, "M": 6, "L": 2}
    assert first.pieces == 9
    assert first.tickets == ("T000001", "T000002")


def test_rows_go_by_place_garment_and_colour() -> None:
    """A person walks the shelves once."""
    rows = [(row.location, row.colour) for row in picking_list(TICKETS.items()).blanks]
    assert rows == [("A-01", "Black"), ("A-01", "White"), ("A-02", "White")]


def test_media_are_summed_over_tickets() -> None:
    """The printable film of two tickets is one length; lengths add up exactly."""
    media = {row.medium: row for row in picking_list(TICKETS.items()).media}
    assert set(media) == {"printable-film", "cut-film", "dye-paper"}
    film = media["printable-film"]
    assert film.tickets == ("T000001", "T000004")
    lengths = [TICKETS[number].materials[0].length_mm for number in film.tickets]
    assert film.length_mm == pytest.approx(sum(lengths))
    assert film.sheets is None


@given(st.lists(st.sampled_from(sorted(TICKETS)), unique=True))
def test_nothing_is_lost_and_order_does_not_matter(numbers: list[str]) -> None:
    """Pieces and lengths of the list are those of its tickets, in whatever order they come."""
    chosen = [(number, TICKETS[number]) for number in numbers]
    listed = picking_list(chosen)
    assert listed == picking_list(reversed(chosen))
    picked = Counter[str]()
    wanted = Counter[str]()
    for row in listed.blanks:
        picked.update(row.by_size)
    for _, document in chosen:
        wanted.update(document.starts_by_size)
    assert picked == wanted
    assert sum(row.length_mm for row in listed.media) == pytest.approx(
        sum(material.length_mm for _, document in chosen for material in document.materials)
    )


def test_what_customers_brought_stays_with_its_ticket() -> None:
    """Two customers' garments are never put together, and come after the shop's own."""
    own = TICKETS["T000003"].model_copy(
        update={"supplied_by_customer": True, "pick_location": "", "garment": "your own garment"}
    )
    listed = picking_list([("T000009", own), ("T000007", own), *TICKETS.items()]).blanks
    assert [row.tickets for row in listed[-2:]] == [("T000007",), ("T000009",)]
    assert [row.supplied for row in listed] == [False] * 3 + [True] * 2


def test_sheets_are_counted_together() -> None:
    """Media in sheets are told by their number too."""
    document = TICKETS["T000002"]
    sheets = (document.materials[0].model_copy(update={"sheets": 2}),)
    in_sheets: TicketDocument = document.model_copy(update={"materials": sheets})
    (row,) = picking_list([("T1", in_sheets), ("T2", in_sheets)]).media
    assert row.sheets == 4


def test_places_sort_as_people_count() -> None:
    """A-2 comes before A-10, and B after A."""
    places = ["B-1", "A-10", "A-2", "", "A"]
    assert sorted(places, key=natural_order) == ["", "A", "A-2", "A-10", "B-1"]


def test_sizes_sort_from_small_to_large() -> None:
    """Letters by size, months by their number."""
    sizes = ["3XL", "12M", "L", "XS", "one size", "S", "6M", "M"]
    assert sorted(sizes, key=size_order) == [
        *["XS", "S", "M", "L", "3XL"],
        *["6M", "12M", "one size"],
    ]


def test_an_empty_day_has_an_empty_list() -> None:
    """Nothing to make, nothing to fetch."""
    assert picking_list([]).model_dump() == {"blanks": (), "media": ()}
