"""Minor units, rounding once, and splits that add up."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.money import (
    CURRENCIES,
    from_minor,
    minor_units,
    split_by_largest_remainder,
    to_minor,
)

amounts = st.decimals(min_value=-(10**9), max_value=10**9, places=5)
currencies = st.sampled_from(sorted(CURRENCIES))


@pytest.mark.parametrize(
    ("amount", "currency", "minor"),
    [
        ("19.99", "EUR", 1999),
        ("1500", "JPY", 1500),
        ("1.2345", "KWD", 1235),
        ("-0.125", "USD", -13),
    ],
)
def test_amounts_become_whole_minor_units(amount: str, currency: str, minor: int) -> None:
    """Two, no and three decimals; a half goes away from zero."""
    assert to_minor(Decimal(amount), currency) == minor


@pytest.mark.parametrize("code", ["eur", "ZZZ", "XAU", "XXX", "CLF", "", "EURO"])
def test_a_code_nobody_pays_in_is_refused(code: str) -> None:
    """Unknown codes, metals, the code of no currency and funds are no price's currency."""
    with pytest.raises(ValueError, match="ISO 4217"):
        minor_units(code)


@pytest.mark.parametrize("amount", ["NaN", "Infinity", "-Infinity", "1e18"])
def test_what_is_no_amount_is_refused(amount: str) -> None:
    """NaN, infinities and amounts beyond all reason do not round to anything."""
    with pytest.raises(ValueError, match="amount of money"):
        to_minor(Decimal(amount), "EUR")


def test_the_tail_of_a_division_does_not_turn_a_half() -> None:
    """1.005 reached by dividing and multiplying again is still a half and goes up."""
    with localcontext(prec=28):
        tailed = Decimal("1.005") / 7 * 7 + Decimal("-1e-27")
    assert tailed < Decimal("1.005")
    assert to_minor(tailed, "EUR") == 101


def test_rounding_ignores_the_callers_context() -> None:
    """A context of three digits changes nothing."""
    with localcontext(prec=3):
        assert to_minor(Decimal("123456.785"), "EUR") == 12345679
        assert from_minor(12345679, "EUR") == Decimal("123456.79")


@given(minor=st.integers(-(10**15), 10**15), currency=currencies)
def test_minor_units_survive_the_round_trip(minor: int, currency: str) -> None:
    """From minor units to an amount and back is the identity."""
    assert to_minor(from_minor(minor, currency), currency) == minor


@given(amount=amounts, currency=currencies)
def test_rounding_moves_by_half_a_unit_at_most(amount: Decimal, currency: str) -> None:
    """Neither way of rounding moves an amount by more than half a minor unit."""
    exact = Fraction(amount) * 10 ** minor_units(currency)
    for minor in (to_minor(amount, currency), to_minor(amount, currency, ROUND_HALF_EVEN)):
        assert abs(minor - exact) <= Fraction(1, 2)


weights_strategy = st.lists(
    st.one_of(st.integers(0, 1_000), st.decimals(0, 100, places=3)), min_size=1, max_size=20
).filter(lambda weights: sum(weights) > 0)


@given(total=st.integers(-(10**9), 10**9), weights=weights_strategy)
def test_parts_sum_to_the_whole_and_keep_their_share(
    total: int, weights: list[Decimal | int]
) -> None:
    """Nothing is lost or made, and no part is a whole unit away from its exact share."""
    parts = split_by_largest_remainder(total, weights)
    whole = sum((Fraction(weight) for weight in weights), Fraction(0))
    assert sum(parts) == total
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part - total * Fraction(weight) / whole) < 1


@pytest.mark.parametrize("weights", [[], [0, 0], [3, -1]])
def test_a_split_needs_weights_that_mean_something(weights: list[int]) -> None:
    """No weights, all zero or a negative one cannot share anything out."""
    with pytest.raises(ValueError, match="weights"):
        split_by_largest_remainder(100, weights)
