"""Price books, shops and orders drawn at random, for the laws that prices keep. All invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from hypothesis import strategies as st

from service.domain.price_book import (
    Offer,
    PriceBook,
    QuantityBreak,
    RushTerms,
    StartsBy,
    TaxRegion,
)
from service.domain.pricing import PriceTerms
from service.domain.shop import Catalogue
from service.domain.wishes import Line
from tests.domain.shops import SIZES, tiny_decoration, tiny_line, tiny_prices, tiny_shop

MOST_PIECES = 60
"""The most pieces an order may have in the shops drawn, so that all can be looked at."""

ADDED = TaxRegion(id="added", name="tax added", rate=Decimal("0.19"), inclusive=False)
WITHIN = TaxRegion(id="within", name="tax within", rate=Decimal("0.19"), inclusive=True)
CLUB = Offer(id="club", name="club price", share=Decimal("0.15"))
RUSH = RushTerms(share_per_day=Decimal("0.05"), most_days=3)

ONE_PRICE = (QuantityBreak(from_pieces=1, discount_share=Decimal(0)),)

shares = st.decimals(0, "0.45", places=3)
deep_shares = st.one_of(shares, st.decimals(0, "0.95", places=2))
terms_asked = st.builds(
    PriceTerms,
    offer_id=st.sampled_from([None, None, CLUB.id]),
    rush_days=st.integers(0, 3),
    tax_region_id=st.sampled_from([None, None, ADDED.id, WITHIN.id]),
)


def breaks_of(*steps: tuple[int, str]) -> tuple[QuantityBreak, ...]:
    """No discount from one piece, and those steps."""
    more = (QuantityBreak(from_pieces=n, discount_share=Decimal(off)) for n, off in steps)
    return (*ONE_PRICE, *more)


def shop_with(**prices: object) -> Catalogue:
    """The tiny shop with its price book so changed, and an offer, rush and two regions."""
    known = {"offers": (CLUB,), "rush": RUSH, "tax_regions": (ADDED, WITHIN)}
    return tiny_shop(prices=tiny_prices(**{**known, **prices}))


def with_blank_costs(shop: Catalogue, *costs: str) -> Catalogue:
    """The shop with those costs of its first blank's sizes."""
    blank = shop.blanks[0]
    sizes = tuple(
        size.model_copy(update={"cost": Decimal(cost)})
        for size, cost in zip(blank.sizes, costs, strict=True)
    )
    blanks = (blank.model_copy(update={"sizes": sizes}), *shop.blanks[1:])
    return shop.model_copy(update={"blanks": blanks})


@st.composite
def price_books(draw: st.DrawFn, /, **fixed: object) -> PriceBook:
    """Books with rising breaks, margins down to none, in currencies of 0, 2 and 3 decimals."""
    starts = sorted(draw(st.sets(st.integers(2, 45), max_size=3)))
    discounts = sorted(draw(st.lists(deep_shares, min_size=len(starts), max_size=len(starts))))
    drawn: dict[str, object] = {
        "currency": draw(st.sampled_from(["EUR", "JPY", "KWD"])),
        "overhead_share": draw(shares),
        "margin_share": draw(st.one_of(st.just(Decimal(0)), shares)),
        "spoilage_share": draw(st.one_of(st.just(Decimal("0.03")), shares)),
        "starts_by": draw(st.sampled_from(StartsBy)),
        "redo_extra_cost": draw(st.sampled_from([Decimal(0), Decimal(40)])),
        "breaks": breaks_of(*((n, str(off)) for n, off in zip(starts, discounts, strict=True))),
    }
    return shop_with(**{**drawn, **fixed}).prices


@st.composite
def shops(draw: st.DrawFn, /, **fixed: object) -> Catalogue:
    """The tiny shop with a book drawn, sizes of any cost and few pieces to an order."""
    shop = tiny_shop(prices=draw(price_books(**fixed)))
    policy = shop.policy.model_copy(update={"max_pieces_per_order": MOST_PIECES})
    costs = st.sampled_from(["0", "1", "3", "3.01", "4", "20"])
    run = [draw(costs) for _ in SIZES]
    return with_blank_costs(shop.model_copy(update={"policy": policy}), *run)


@st.composite
def orders(draw: st.DrawFn, shop: Catalogue, *, apart: bool) -> list[Line]:
    """One to three lines; where ``apart`` each has one artwork, which several may share."""
    return [draw(lines_of(shop, apart=apart)) for _ in range(draw(st.integers(1, 3)))]


@st.composite
def lines_of(draw: st.DrawFn, shop: Catalogue, *, apart: bool = True) -> Line:
    """Up to twelve pieces in one or two sizes, with one artwork, or none to two."""
    some = st.sampled_from([("star",), ("moon",)] if apart else [("star",), ("moon", "star"), ()])
    decorations = tuple(
        tiny_decoration(
            draw(st.sampled_from(["cut-film", "dye-on-glitter"])),
            width_mm=draw(st.sampled_from([60, 200, 250])),
            artwork_id=artwork,
        )
        for artwork in draw(some)
    )
    run = draw(st.dictionaries(st.sampled_from(SIZES), st.integers(1, 6), min_size=1, max_size=2))
    return replace(tiny_line(shop, run), decorations=decorations)


def added_to(lines: Sequence[Line], index: int, more: Mapping[str, int]) -> list[Line]:
    """The lines with pieces more in the one of that index."""
    line = lines[index]
    run = dict(line.pieces_by_size)
    for size, pieces in more.items():
        run[size] = run.get(size, 0) + pieces
    return [*lines[:index], replace(line, pieces_by_size=run), *lines[index + 1 :]]
