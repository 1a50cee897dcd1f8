"""Promises as the store knows them: the shop's present state, and the record of each order's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.domain.calendar import first_work_day, place_of
from service.domain.canonical import rfc3339
from service.domain.capable_to_promise import Promise
from service.domain.errors import BadInput
from service.domain.machines import Station
from service.domain.promising import HorizonExceeded
from service.domain.shop import Catalogue
from service.domain.shop_now import ShopNow
from service.intake.services import Services
from service.store.ledger import station_time
from service.store.station_margins import margins_from

_MILLE = 1_000


def shop_now(
    services: Services,
    session: Session,
    catalogue: Catalogue,
    *,
    start: datetime,
    now: datetime,
) -> ShopNow:
    """The shop ``now``, as a promise meets it that is accepted at ``start``, now or to come."""
    calendar = catalogue.calendar
    today = now.astimezone(ZoneInfo(calendar.time_zone)).date()
    from_day = min(place_of(calendar, now)[0], first_work_day(calendar, start))
    time = station_time(session, from_day, now=now)
    shop = ShopNow.of(
        catalogue,
        start,
        time.booked,
        services.decided.fetch(session, today, calendar),
    )
    return replace(
        shop,
        booked_from=min(now, start),
        margins=margins_from(session, from_day),
        freed=time.freed,
    )


def most_rush_days(catalogue: Catalogue) -> int:
    """Working days that rush may gain; 0 where the shop takes none."""
    terms = catalogue.prices.rush
    return terms.most_days if terms is not None and catalogue.policy.rush_reserve_percent else 0


@contextmanager
def planned_ahead(stations: Mapping[str, Station]) -> Iterator[None]:
    """Turn work that fits into no day that is planned ahead into ``BadInput``."""
    try:
        yield
    except HorizonExceeded as full:
        raise BadInput(
            "more-than-the-shop-can-make",
            f"This does not fit into the working days the shop plans ahead; "
            f"{stations[full.station].name} is the tightest station. Ask for fewer pieces.",
        ) from full


def promise_written(promised: Promise) -> dict[str, Any]:
    """What is kept of a promise with its quote, and with the order that comes of it."""
    return {
        "rush": promised.rush,
        "nominal_day": promised.plan.done_day.isoformat(),
        "median_at": rfc3339(promised.median_at),
        "quantile_at": rfc3339(promised.quantile_at),
        "target_percent": promised.target_percent,
        "load_permille": round(promised.load * _MILLE),
        "corrected_by": promised.corrected_by,
    }


def record_of(
    order_id: str, promised_day: date, written: Mapping[str, Any], method: str
) -> dict[str, Any]:
    """The row of an order just accepted, by what its quote was promised; by names of columns."""
    return {
        "order_id": order_id,
        "method": method,
        "rush": written["rush"],
        "promised_day": promised_day,
        "nominal_day": date.fromisoformat(written["nominal_day"]),
        "median_at": datetime.fromisoformat(written["median_at"]),
        "quantile_at": datetime.fromisoformat(written["quantile_at"]),
        "target_percent": written["target_percent"],
        "load_permille": written["load_permille"],
        "corrected_millidays": round(written["corrected_by"] * _MILLE),
        "expected_day": promised_day,
    }
