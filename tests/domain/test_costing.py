"""Direct cost of a line: its rows, and the same cost as the line grows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.costing import CostPart, CostRow, cost_line, direct_cost, exact_sum
from service.domain.methods import OperationKind
from service.domain.money import wide_arithmetic
from service.domain.shop import Catalogue
from service.domain.wishes import Line
from service.domain.work import line_account
from tests.domain.orders_to_price import lines_of, shop_with, shops, with_blank_costs
from tests.domain.shops import (
    SIZES,
    tiny_decoration,
    tiny_line,
    tiny_methods,
    tiny_shop,
    tiny_supplied_line,
)

GLITTER = tiny_decoration("dye-on-glitter", width_mm=250, artwork_id="moon")


def _rows(shop: Catalogue, line: Line) -> tuple[CostRow, ...]:
    account = line_account(shop, line)
    return cost_line(shop, account, account.work())


def _by_part(rows: Sequence[CostRow]) -> dict[CostPart, Decimal]:
    parts: dict[CostPart, Decimal] = {}
    for row in rows:
        parts[row.part] = parts.get(row.part, Decimal(0)) + row.amount
    return parts


def test_a_line_costs_what_it_uses() -> None:
    """Cut film on 3 S and 2 L, added up by hand from the tiny shop's numbers.

    Film 320 mm (a row of four turned and one upright) at 8.00 a metre. Set-up 5 min at 30 and 4 at
    27 an hour, artwork check 10 at 24. Labour: cut 5, press 7.5, peel 1.25 min at 24; weed 10,
    check 2.5, pack 5 at 12. Machines: cut 5 at 6; press 7.5 and peel 1.25 at 3.
    """
    shop = shop_with()
    rows = _rows(shop, tiny_line(shop, {"S": 3, "L": 2}))
    parts = _by_part(rows)
    assert parts[CostPart.BLANK] == 3 * 3 + 2 * 4
    assert parts[CostPart.MEDIUM] == Decimal("2.56")
    assert parts[CostPart.SET_UP] == Decimal("2.50") + Decimal("1.80") + Decimal("4.00")
    assert parts[CostPart.LABOUR] == Decimal("5.50") + Decimal("3.50")
    assert parts[CostPart.MACHINE] == Decimal("0.50") + Decimal("0.4375")
    assert parts[CostPart.CONSUMABLES] == Decimal("0.50")
    assert sum(row.amount for row in rows) == Decimal("38.2975")


def test_rows_come_part_by_part_with_their_formula() -> None:
    """Quantity times rate by what the rate is for is the amount; parts keep their order."""
    shop = shop_with()
    rows = _rows(shop, tiny_line(shop, {"S": 3}, tiny_decoration(), GLITTER))
    order = list(CostPart)
    assert [row.part for row in rows] == sorted((row.part for row in rows), key=order.index)
    for row in rows:
        exact = row.quantity * row.rate / row.rate_per
        assert abs(row.amount - exact) <= Decimal("5e-11")


def test_ink_and_sheets_have_their_own_units() -> None:
    """4 pieces: ink at 0.20 a ml, two sheets of glitter at 6.00 each.

    A piece takes 0.25 x 0.125 m x 10 ml, half inked: 0.15625, counted up to 0.1563 ml.
    """
    shop = shop_with()
    rows = _rows(shop, tiny_line(shop, {"S": 4}, GLITTER))
    (ink,) = [row for row in rows if row.part is CostPart.INK]
    assert (ink.quantity, ink.unit, ink.amount) == (
        Decimal("0.6252"),
        "ml",
        Decimal("0.12504"),
    )
    sheets = next(row for row in rows if row.unit == "sheet")
    assert [sheets.quantity, sheets.rate, sheets.amount] == [Decimal(2), Decimal(6), Decimal(12)]


def test_a_run_is_set_up_and_machines_work_alone() -> None:
    """A cut with 3 min for its run: 3 x 30.00 / 60 is 1.50 more of set-up.

    A printed square metre at 80 min: 0.25 x 0.125 m are 2.5 min of the machine alone, on 4 pieces
    10 min; with the 4 attended minutes it is taken 14 min at 6.00, labour is 4 min at 24.00.
    """
    steps = []
    for step in tiny_methods()[1].operations:
        changes: dict[str, object] = {}
        if step.kind is OperationKind.CUT:
            changes = {"run_setup_min": Decimal(3)}
        if step.kind is OperationKind.PRINT:
            changes = {"print_m2_min": Decimal(80)}
        steps.append(step.model_copy(update=changes))
    slow = tiny_methods()[1].model_copy(update={"operations": tuple(steps)})
    shop = tiny_shop(methods=(slow,))
    rows = _rows(shop, tiny_line(shop, {"S": 4}, GLITTER))
    of_print = {row.part: row for row in rows if row.label == "print, Print station"}
    assert of_print[CostPart.LABOUR].quantity == 4
    machine = of_print[CostPart.MACHINE]
    assert [machine.quantity, machine.amount] == [14, Decimal("1.4")]
    runs = [row for row in rows if row.label.startswith("set up run,")]
    assert [(row.label, row.amount) for row in runs] == [
        ("set up run, cut, Cut station", Decimal("1.5"))
    ]


def test_a_spare_blank_is_paid_at_the_mean_of_the_garments_sizes() -> None:
    """Sizes at 3, 3 and 4: a spare costs 10 / 3, whatever sizes the line has; so does its work.

    At 3 % as if seen on 200 pieces 5 good ones need a sixth with 95 %: of 5 all are good with 86 %.
    """
    shop = shop_with(spoilage_share=Decimal("0.03"))
    for run in ({"S": 3, "L": 2}, {"S": 5}):
        rows = _rows(shop, tiny_line(shop, run))
        (spare,) = [row for row in rows if row.part is CostPart.SPOILAGE]
        assert [spare.quantity, spare.rate, spare.rate_per] == [Decimal(1), Decimal(10), Decimal(3)]
        assert spare.amount == Decimal("3.3333333333")
        consumables = next(row for row in rows if row.part is CostPart.CONSUMABLES)
        assert consumables.quantity == 6


def test_customers_garments_cost_no_blank_and_no_spare() -> None:
    """Work and materials are there, garments are not."""
    shop = shop_with(spoilage_share=Decimal("0.03"))
    rows = _rows(shop, tiny_supplied_line({"S": 3, "L": 2}))
    assert {CostPart.BLANK, CostPart.SPOILAGE}.isdisjoint(_by_part(rows))
    assert next(row for row in rows if row.part is CostPart.CONSUMABLES).quantity == 6


def test_parts_that_cost_nothing_leave_no_row() -> None:
    """No consumables, no artwork check and a bench without a machine make no rows of nothing."""
    shop = shop_with(consumables_per_piece=Decimal(0), artwork_check_min=Decimal(0))
    rows = _rows(shop, tiny_line(shop, {"S": 1}))
    assert all(row.amount for row in rows)
    assert CostPart.CONSUMABLES not in _by_part(rows)
    assert "artwork check" not in {row.label for row in rows}


def test_each_artwork_is_checked_once() -> None:
    """Two artworks are 20 min at 24.00; the same one twice is 10."""
    shop = shop_with()
    checks = []
    for second in (tiny_decoration(artwork_id="moon"), tiny_decoration()):
        rows = _rows(shop, tiny_line(shop, {"S": 1}, tiny_decoration(), second))
        checks += [row.amount for row in rows if row.label == "artwork check"]
    assert checks == [8, 4]


def test_a_size_the_blank_has_not_is_a_fault() -> None:
    """Sizes are checked before anything is added up."""
    shop = shop_with()
    with pytest.raises(KeyError, match="XXL"):
        direct_cost(shop, line_account(shop, tiny_line(shop, {"XXL": 1})))


def test_every_size_of_the_garment_has_its_cost() -> None:
    """Also those the line has none of; one that the customer brings costs nothing."""
    shop = with_blank_costs(shop_with(), "3", "5", "7")
    stocked = direct_cost(shop, line_account(shop, tiny_line(shop, {"S": 1})))
    assert dict(stocked.blanks) == {"S": 3, "M": 5, "L": 7}
    assert stocked.spare == 5
    brought = direct_cost(shop, line_account(shop, tiny_supplied_line({"S": 1, "M": 1})))
    assert dict(brought.blanks) == {"S": 0, "M": 0}
    assert brought.spare == 0


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops())
def test_the_cost_of_a_growing_line_is_what_its_rows_sum_to(
    data: st.DataObject, shop: Catalogue
) -> None:
    """Exactly, for the line as it is and for any other number and mix of the same decorations."""
    line = data.draw(lines_of(shop, apart=False))
    with wide_arithmetic():
        direct = direct_cost(shop, line_account(shop, line))
        tail = Decimal("1e-25")
        assert abs(direct.of_line() - exact_sum(_rows(shop, line))) <= tail
        run = data.draw(
            st.dictionaries(st.sampled_from(SIZES), st.integers(1, 20), min_size=1, max_size=3)
        )
        rows = _rows(shop, replace(line, pieces_by_size=run))
        besides = [row for row in rows if row.part is not CostPart.BLANK]
        assert abs(direct.besides_blanks(sum(run.values())) - exact_sum(besides)) <= tail


@settings(max_examples=30, deadline=None)
@given(data=st.data(), shop=shops(), pieces=st.integers(1, 60))
def test_one_piece_more_never_costs_less_than_the_work_on_it(
    data: st.DataObject, shop: Catalogue, pieces: int
) -> None:
    """Set-ups, media and spares never fall as the pieces grow."""
    with wide_arithmetic():
        direct = direct_cost(shop, line_account(shop, data.draw(lines_of(shop, apart=False))))
        more = direct.besides_blanks(pieces + 1) - direct.besides_blanks(pieces)
        assert more >= direct.each - Decimal("1e-25")
