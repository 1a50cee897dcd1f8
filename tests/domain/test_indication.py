"""Quick costs and days against the full account they stand for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.domain.artwork import InkShares
from service.domain.calendar import first_work_day, working_days_between
from service.domain.capable_to_promise import promise
from service.domain.compiled import compile_catalogue
from service.domain.costing import CostPart, CostRow, cost_line
from service.domain.indication import (
    indicative_days,
    indicative_piece_cost,
    method_rates,
    rates_of,
)
from service.domain.pricing import price_line
from service.domain.promising import material_ready_day, station_works
from service.domain.shop import Catalogue
from service.domain.shop_now import ShopNow
from service.domain.wishes import Decoration, Line
from service.domain.work import inked_share, line_account, line_work, misfits
from tests.domain.garments_and_lines import PLAIN_SHAPE, artwork, decoration, demo_shop
from tests.domain.shops import (
    tiny_artwork,
    tiny_calendar,
    tiny_decoration,
    tiny_line,
    tiny_methods,
    tiny_prices,
    tiny_shop,
)

DEMO = demo_shop()
DEMO_METHODS = [method.id for method in DEMO.catalogue.methods]
FREE_MEDIA = Catalogue.model_validate(
    {
        **DEMO.catalogue.model_dump(),
        "media": [m.model_copy(update={"price_per_m": Decimal(0)}) for m in DEMO.catalogue.media],
    }
)
COUNTED_UP = Decimal("0.0005")
"""What counting minutes and millilitres of a piece up to four decimals costs a piece at the most;
the indication leaves them as they are."""

sides_mm = st.integers(200, 4_800).map(lambda tenths: tenths / 10)
counts = st.integers(1, 400)


def _piece_cost(shop: Catalogue, method_id: str, width_mm: float, pieces: int) -> Decimal:
    rates = method_rates(shop, shop.method_by_id[method_id])
    return indicative_piece_cost(rates, tiny_decoration(method_id, width_mm=width_mm), pieces)


def _rows(shop: Catalogue, line: Line) -> tuple[CostRow, ...]:
    account = line_account(shop, line)
    return cost_line(shop, account, account.work())


def _wished(method_id: str, width_mm: float, height_mm: float) -> Decoration:
    """A print of about those sides, of plain shape."""
    return decoration(method_id, width_mm=width_mm, art=artwork(aspect=height_mm / width_mm))


def test_cut_film_is_reckoned_by_hand() -> None:
    """Five pieces 200 x 100 mm: 330 mm of film at 8.00 a metre are 2.64, set-up and check 8.30.

    Set-up 5 min at 30.00 and 4 at 27.00 an hour, the check 10 at 24.00. A piece's minutes: cut 1
    at 30.00, weed 2 at 12.00, press and peel 1.75 at 27.00, check and pack 1.5 at 12.00 are 1.9875,
    and 0.10 is for consumables.
    """
    assert _piece_cost(tiny_shop(), "cut-film", 200, 5) == Decimal("4.2755")


def test_sheets_and_ink_are_reckoned_by_hand() -> None:
    """Four pieces 250 x 125 mm: two sheets 12.00; paper turned, 270 mm, 0.27; ink 0.625 ml 0.125.

    Set-ups 3.00, 2.50 and 1.80 and the check 4.00; minutes and consumables 3.175 a piece.
    """
    job = Decimal(12) + Decimal("0.27") + Decimal("0.125") + Decimal("11.3") + 4 * Decimal("3.175")
    assert _piece_cost(tiny_shop(), "dye-on-glitter", 250, 4) == job / 4


def test_a_count_that_makes_no_sense_is_a_fault() -> None:
    """No pieces at all."""
    with pytest.raises(ValueError, match="0 good pieces"):
        _piece_cost(tiny_shop(), "cut-film", 200, 0)


@settings(max_examples=60, deadline=None)
@given(
    method_id=st.sampled_from(DEMO_METHODS),
    width_mm=sides_mm,
    run=st.dictionaries(st.sampled_from(["S", "M", "2XL"]), st.integers(1, 90), min_size=1),
    free_media=st.booleans(),
)
def test_the_indication_is_the_direct_cost_of_the_line(
    method_id: str,
    width_mm: float,
    run: dict[str, int],
    free_media: bool,  # noqa: FBT001 - drawn by hypothesis
) -> None:
    """What all rows but those of garments sum to, but for what is counted up.

    With media in the sum it is never below the rows: a layout closer than plain rows takes less.
    """
    shop = FREE_MEDIA if free_media else DEMO.catalogue
    wished = decoration(method_id, width_mm=width_mm)
    line = Line(DEMO.garments["classic-cotton-tee", "white"], run, (wished,))
    if misfits(shop, shop.method_by_id[method_id], width_mm, wished.height_mm):
        return
    rates = method_rates(shop, shop.method_by_id[method_id])
    job = indicative_piece_cost(rates, wished, line.pieces) * line.pieces
    starts = line_work(shop, line).starts
    direct = sum(
        row.amount
        for row in _rows(shop, line)
        if row.part not in (CostPart.BLANK, CostPart.SPOILAGE)
    )
    assert job >= direct - COUNTED_UP * starts
    if free_media:
        assert job == pytest.approx(direct, abs=COUNTED_UP * starts)


@settings(max_examples=150, deadline=None)
@given(
    method_id=st.sampled_from(DEMO_METHODS),
    small=st.tuples(sides_mm, sides_mm),
    large=st.tuples(sides_mm, sides_mm),
    pieces=counts,
)
def test_a_larger_print_never_costs_less(
    method_id: str, small: tuple[float, float], large: tuple[float, float], pieces: int
) -> None:
    """Growing either side never lowers the cost, also past what the media have room for."""
    rates = rates_of(DEMO, method_id)
    grown = max(small[0], large[0]), max(small[1], large[1])
    one, other = (_wished(method_id, *sides) for sides in (small, grown))
    assume(other.height_mm >= one.height_mm)  # whole pixels may round a height by a hair
    costs = [indicative_piece_cost(rates, wished, pieces) for wished in (one, other)]
    assert costs[0] <= costs[1]


@settings(max_examples=60, deadline=None)
@given(method_id=st.sampled_from(DEMO_METHODS), pieces=counts, more=st.integers(0, 50))
def test_more_pieces_never_cost_less_together(method_id: str, pieces: int, more: int) -> None:
    """The cost of the whole job never falls with the pieces."""
    rates = rates_of(DEMO, method_id)
    wished = decoration(method_id)
    job, larger = (n * indicative_piece_cost(rates, wished, n) for n in (pieces, pieces + more))
    assert larger >= job - Decimal("0.0001")


@pytest.mark.parametrize("pieces", [1, 6, 12, 40, 150])
@pytest.mark.parametrize("width_mm", [80.0, 200.0, 280.0])
def test_methods_come_in_the_order_of_their_prices(pieces: int, width_mm: float) -> None:
    """Nine in ten pairs of the demo shop's methods, at the least, are in the order of their prices.

    Kendall's rank correlation of quick cost and full price (Kendall 1938, from memory).
    """
    shop, garment = DEMO.catalogue, DEMO.garments["classic-cotton-tee", "black"]
    scored = []
    for method_id in DEMO_METHODS:
        wished = decoration(method_id, width_mm=width_mm)
        quick = indicative_piece_cost(rates_of(DEMO, method_id), wished, pieces)
        price = price_line(shop, Line(garment, {"M": pieces}, (wished,)))
        scored.append((quick, price.total_minor))
    pairs = list(combinations(scored, 2))
    signs = [_sign(a[0] - b[0]) * _sign(a[1] - b[1]) for a, b in pairs]
    assert sum(signs) / len(pairs) >= 0.8


def _sign(number: Decimal | int) -> int:
    return (number > 0) - (number < 0)


def test_a_free_workroom_still_pays_for_what_it_prints_on() -> None:
    """With no wages, machines, bags or checks the media and the ink alone are left."""
    free = {"labour_rate_per_hour": Decimal(0), "machine_rate_per_hour": Decimal(0)}
    shop = tiny_shop(
        prices=tiny_prices(consumables_per_piece=Decimal(0)),
        stations=tuple(station.model_copy(update=free) for station in tiny_shop().stations),
    )
    line = tiny_line(shop, {"S": 3}, tiny_decoration("dye-on-glitter"))
    left = sum(r.amount for r in _rows(shop, line) if r.part in (CostPart.MEDIUM, CostPart.INK))
    job = _piece_cost(shop, "dye-on-glitter", 200, 3) * 3
    assert job == pytest.approx(left, abs=3 * COUNTED_UP)


def _waiting_shop(wait_min: int) -> Catalogue:
    """The tiny shop open every day, whose dye paper dries that long."""
    method = tiny_shop().method_by_id["dye-on-glitter"]
    steps = [
        step.model_copy(update={"wait_min": wait_min}) if step.wait_min else step
        for step in method.operations
    ]
    return tiny_shop(
        calendar=tiny_calendar(working_weekdays=frozenset(range(7))),
        methods=(method.model_copy(update={"operations": tuple(steps)}),),
    )


def _days(shop: Catalogue, blank_id: str | None = "cotton-tee") -> int:
    blank = shop.blank_by_id[blank_id] if blank_id else None
    return indicative_days(method_rates(shop, shop.methods[-1]), blank)


def test_the_slowest_material_counts_not_their_sum() -> None:
    """Glitter film takes 5 days, its paper none, the blank 1; the garment brought takes none."""
    shop = tiny_shop()
    assert (_days(shop), _days(shop, None)) == (5, 5)
    quick = indicative_days(method_rates(shop, shop.methods[0]), shop.blank_by_id["polyester-tee"])
    assert quick == 3


@pytest.mark.parametrize(
    ("wait_min", "days"), [(30, 0), (480, 0), (481, 1), (1_440, 1), (1_921, 2), (4_320, 3)]
)
def test_drying_past_the_end_of_the_day_adds_days(wait_min: int, days: int) -> None:
    """On a day of 480 minutes drying that ends after them goes on with the next morning."""
    assert _days(_waiting_shop(wait_min)) == 5 + days


@settings(max_examples=40, deadline=None)
@given(wait_min=st.integers(1, 6_000), pieces=st.integers(1, 200))
def test_no_promise_is_sooner_than_the_indicated_days(wait_min: int, pieces: int) -> None:
    """With all stations free and no closed days the promise takes as long or longer."""
    shop = _waiting_shop(wait_min)
    now = datetime(2026, 3, 2, 8, tzinfo=UTC)
    work = line_work(shop, tiny_line(shop, {"S": pieces}, tiny_decoration("dye-on-glitter")))
    material = material_ready_day(shop, [work], now)
    promised = promise(ShopNow.of(shop, now, {}), [station_works(work)], material).promised_day
    start = first_work_day(shop.calendar, now)
    assert working_days_between(shop.calendar, start, promised) >= _days(shop)


def test_rates_are_worked_out_once_for_each_version() -> None:
    """The same rates come back, and a method the catalogue has not is a fault."""
    compiled = compile_catalogue(tiny_shop(), "1")
    assert rates_of(compiled, "cut-film") is rates_of(compiled, "cut-film")
    with pytest.raises(KeyError):
        rates_of(compiled, "no-such-method")


def test_ink_is_paid_by_the_share_that_is_inked() -> None:
    """Half the box inked costs less than all of it, on a method that prints, and only there."""
    costs = {}
    for method_id in ("printed-film", "cut-film"):
        wished = decoration(method_id)
        for share in (0.5, 1.0):
            art = wished.artwork.model_copy(update={"opaque_share": share})
            rates = rates_of(DEMO, method_id)
            costs[method_id, share] = indicative_piece_cost(rates, replace(wished, artwork=art), 9)
    assert costs["printed-film", 0.5] < costs["printed-film", 1.0]
    assert costs["cut-film", 0.5] == costs["cut-film", 1.0]
    assert inked_share(artwork()) == Decimal("0.6")


def test_ink_measured_by_its_colours_is_paid_by_them() -> None:
    """Light colours cost less than the same shape in full cover."""
    wished, rates = decoration("printed-film"), rates_of(DEMO, "printed-film")
    light, full = (
        wished.artwork.model_copy(update={"ink": InkShares(cover=1, colour=share)})
        for share in (0.1, 1)
    )
    costs = [indicative_piece_cost(rates, replace(wished, artwork=a), 9) for a in (light, full)]
    assert costs[0] < costs[1]


def test_measured_minutes_are_reckoned_by_hand() -> None:
    """Cut lines of 0.6 m at 2.5 min: 1.5 min of the cutter alone at 6.00 are 0.15 a piece more.

    Weeding estimated at 0.5 + 0.02 x 60 = 1.7 min, half of it on top: 0.85 at 12.00 is 0.17. A run
    set up in 6 min of the cutter, at 30.00, is 3.00 for all. An outline never measured counts as
    none.
    """
    steps = list(tiny_methods()[0].operations)
    changes = {"cut_m_min": Decimal("2.5"), "run_setup_min": Decimal(6)}
    steps[0] = steps[0].model_copy(update=changes)
    steps[1] = steps[1].model_copy(update={"weed_share": Decimal("0.5")})
    method = tiny_methods()[0].model_copy(update={"operations": tuple(steps)})
    shop = tiny_shop(methods=(method,))
    rates = method_rates(shop, method)
    plain = _piece_cost(tiny_shop(), "cut-film", 200, 5)
    shaped = tiny_artwork().model_copy(update={"shapes": PLAIN_SHAPE})
    more = Decimal("0.15") + Decimal("0.17") + Decimal("0.60")
    assert indicative_piece_cost(rates, tiny_decoration(artwork=shaped), 5) == plain + more
    assert indicative_piece_cost(rates, tiny_decoration(), 5) == plain + Decimal("0.60")


def test_spoilage_is_what_the_shop_expects() -> None:
    """A method that expects to spoil a fifth costs a good piece more."""
    method = tiny_methods()[0]
    clumsy = method.model_copy(update={"spoilage_share": Decimal("0.2")})
    costs = [
        indicative_piece_cost(method_rates(tiny_shop(), one), tiny_decoration(), 24)
        for one in (method, clumsy)
    ]
    assert costs[0] < costs[1]
