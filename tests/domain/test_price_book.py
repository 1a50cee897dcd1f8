"""What a price book may say, and what it refuses."""

from __future__ import annotations

from decimal import Decimal

import pytest
from pydantic import ValidationError

from service.domain.price_book import Offer, PriceBook, StartsBy
from tests.domain.orders_to_price import ADDED, CLUB, RUSH, WITHIN
from tests.domain.shops import tiny_prices


def _book(**changes: object) -> PriceBook:
    return PriceBook.model_validate({**tiny_prices().model_dump(), **changes})


@pytest.mark.parametrize(
    ("pieces", "from_pieces"), [(1, 1), (11, 1), (12, 12), (23, 12), (999, 24)]
)
def test_the_highest_break_reached_counts(pieces: int, from_pieces: int) -> None:
    """Breaks begin at their own number of pieces."""
    assert tiny_prices().break_reached(pieces).from_pieces == from_pieces


def _steps(*steps: tuple[int, str]) -> list[dict[str, object]]:
    return [{"from_pieces": n, "discount_share": share} for n, share in steps]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"breaks": []}, "at least 1 item"),
        ({"breaks": _steps((2, "0"))}, "the first quantity break must start from 1 piece"),
        ({"breaks": _steps((1, "0"), (9, "0"), (9, "0"))}, "quantity breaks overlap: 9 follows 9"),
        ({"breaks": _steps((1, "0"), (9, "0"), (5, "0"))}, "quantity breaks overlap: 5 follows 9"),
        ({"breaks": _steps((1, "0.2"), (9, "0.1"))}, "discount falls from 0.2 to 0.1 at 9 pieces"),
        ({"breaks": _steps((1, "1"))}, "less than 1"),
        ({"margin_share": "-0.1"}, "greater than or equal to 0"),
        ({"margin_share": "1"}, "less than 1"),
        ({"overhead_share": "NaN"}, "finite number"),
        ({"spoilage_share": "0.5"}, "less than 0.5"),
        ({"spoilage_probability": "1"}, "less than or equal to 0.999"),
        ({"starts_by": "luck"}, "'probability' or 'redo_cost'"),
        ({"redo_extra_cost": "-1"}, "greater than or equal to 0"),
        ({"spoilage_prior_pieces": 19}, "greater than or equal to 20"),
        ({"margin_share": "0.9999999"}, "no more than 6 decimal places"),
        ({"overhead_share": "0.3333333"}, "no more than 6 decimal places"),
        ({"breaks": _steps((1, "0"), (9, "0.1234567"))}, "no more than 6 decimal places"),
        ({"breaks": _steps(*((n, "0") for n in range(1, 42)))}, "at most 40 items"),
        ({"currency": "euro"}, "match pattern"),
        ({"rush": {"share_per_day": "-0.1", "most_days": 1}}, "greater than or equal to 0"),
        ({"rush": {"share_per_day": "0.1", "most_days": 0}}, "greater than or equal to 1"),
        ({"offers": [CLUB, CLUB]}, "offer 'club' stands twice"),
        ({"offers": [{**CLUB.model_dump(), "share": "1"}]}, "less than 1"),
        ({"tax_regions": [ADDED, WITHIN, ADDED]}, "tax region 'added' stands twice"),
        ({"tax_regions": [{**ADDED.model_dump(), "rate": "1.5"}]}, "less than or equal to 1"),
        ({"discount": "0.1"}, "Extra inputs are not permitted"),
    ],
)
def test_what_makes_no_sense_is_refused(changes: dict[str, object], told: str) -> None:
    """At load, with the value and what would do."""
    with pytest.raises(ValidationError, match=told):
        _book(**changes)


def test_offers_and_regions_are_found_by_their_id() -> None:
    """Those the book has; others are a fault."""
    book = _book(offers=[CLUB], tax_regions=[ADDED, WITHIN], rush=RUSH)
    assert (book.offer("club"), book.tax_region("within")) == (CLUB, WITHIN)
    with pytest.raises(KeyError, match="friends"):
        book.offer("friends")
    with pytest.raises(KeyError, match="nowhere"):
        book.tax_region("nowhere")


def test_a_book_says_nothing_that_was_not_decided() -> None:
    """No tax, offer or rush unless named; nothing below cost, and more never costs less."""
    book = tiny_prices()
    assert (book.tax_regions, book.offers, book.rush) == ((), (), None)
    assert (book.may_sell_below_cost, book.more_may_cost_less) == (False, False)
    assert (book.spoilage_prior_pieces, book.spoilage_probability) == (200, Decimal("0.95"))
    assert (book.starts_by, book.redo_extra_cost) == (StartsBy.PROBABILITY, Decimal(0))


def test_an_offer_may_take_off_nothing_but_not_all() -> None:
    """From 0 to below 1."""
    assert Offer(id="none", name="nothing off", share=Decimal(0)).share == 0
