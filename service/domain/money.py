"""Money: minor units of a currency, the one way to round, and splits that add up.

Amounts are :class:`~decimal.Decimal` in the currency's major unit until they are rounded once, by
:func:`to_minor`, to an integer of minor units. The number of decimals and the list of currencies
in use follow ISO 4217 (list ``from memory``; checked against a library's table by the tests).
Codes of funds, metals and tests are left out: nobody pays in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from decimal import (
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    Context,
    Decimal,
    DivisionByZero,
    InvalidOperation,
    Overflow,
    localcontext,
)
from math import lcm

_CODES_BY_DECIMALS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF",
    2: (
        "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD "
        "CAD CDF CHF CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP "
        "GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD "
        "LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB "
        "PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SYP "
        "SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG"
    ),
    3: "BHD IQD JOD KWD LYD OMR TND",
}

_DIGITS = {code: digits for digits, codes in _CODES_BY_DECIMALS.items() for code in codes.split()}

CURRENCIES: frozenset[str] = frozenset(_DIGITS)
"""Codes of the currencies that can be charged."""

MOST_MINOR = 2**53 - 1
"""Most minor units that are told: beyond it a reader of JSON may lose some (RFC 8259 section 6)."""

_PRECISION = 40
_GUARD = Decimal("1e-20")
_WIDE = Context(
    prec=_PRECISION,
    rounding=ROUND_HALF_EVEN,
    traps=[InvalidOperation, DivisionByZero, Overflow],
)


class TooMuchMoney(ValueError):
    """An amount too large to be told exactly to everyone."""


def wide_arithmetic() -> AbstractContextManager[Context]:
    """A decimal context of 40 digits that no caller's own context can change.

    Products of catalogue values are exact in it; only divisions leave a tail, which
    :func:`to_minor` knows how to drop. Impossible operations raise.
    """
    return localcontext(_WIDE)


def minor_units(currency: str) -> int:
    """Decimals of that ISO 4217 currency: 0, 2 or 3; ValueError for a code that is none."""
    digits = _DIGITS.get(currency)
    if digits is None:
        raise ValueError(f"'{currency}' is not the ISO 4217 code of a currency in use")
    return digits


def to_minor(amount: Decimal, currency: str, rounding: str = ROUND_HALF_UP) -> int:
    """Round ``amount`` to whole minor units; ``rounding`` is one of the decimal module's.

    Digits behind the twentieth decimal are the tail a division left and are dropped first, so
    that a true half stays a half. ValueError for NaN and infinity, and as :class:`TooMuchMoney` for
    19 digits before the point or more.
    """
    if not amount.is_finite():
        raise ValueError(f"{amount} cannot be an amount of money")
    if amount.adjusted() > 17:
        raise TooMuchMoney(f"{amount:.3g} is too much to be an amount of money")
    with wide_arithmetic():
        return int(
            amount.quantize(_GUARD)
            .scaleb(minor_units(currency))
            .to_integral_value(rounding=rounding)
        )


def from_minor(minor: int, currency: str) -> Decimal:
    """The amount in major units, with exactly the currency's decimals."""
    return Decimal(f"{minor}E-{minor_units(currency)}")


def split_by_largest_remainder(total_minor: int, weights: Sequence[Decimal | int]) -> list[int]:
    """Split ``total_minor`` in proportion to ``weights`` so that the parts sum to it exactly.

    Each part is first rounded towards zero; what is left goes, one unit each, to the largest
    remainders, earlier parts first among equals. ValueError for no weights, a negative one, or
    none above zero.
    """
    ratios = [weight.as_integer_ratio() for weight in weights]
    common = lcm(*(below for _, below in ratios))
    shares = [above * (common // below) for above, below in ratios]
    whole = sum(shares)
    if whole <= 0 or min(shares) < 0:
        raise ValueError("weights must not be negative and at least one must be above zero")
    sign = -1 if total_minor < 0 else 1
    exact = [divmod(abs(total_minor) * share, whole) for share in shares]
    parts = [part for part, _ in exact]
    by_remainder = sorted(range(len(parts)), key=lambda index: -exact[index][1])
    for index in by_remainder[: abs(total_minor) - sum(parts)]:
        parts[index] += 1
    return [sign * part for part in parts]
