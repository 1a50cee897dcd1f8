"""Amounts of money as people read them."""

from __future__ import annotations

from babel.numbers import format_currency

from service.domain.money import from_minor


def money_text(amount_minor: int, currency: str, locale: str = "en") -> str:
    """An amount in minor units, written for the locale with all its currency's digits."""
    return format_currency(
        from_minor(amount_minor, currency), currency, locale=locale, currency_digits=False
    )
