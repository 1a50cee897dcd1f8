"""What a quote holds: its station time and its material, until a time and no longer.

A hold ends by its time alone, and its station time is given back then as that of a cancelled order
(:mod:`service.domain.margins`): it may be booked anew without taking of the margins once more. What
is left of the rows is cleared when another hold is written or something held is accepted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from sqlalchemy import bindparam, delete, func, select
from sqlmodel import Session, col

from service.domain.canonical import rfc3339
from service.domain.capable_to_promise import Promise
from service.domain.errors import Conflict
from service.domain.found_day import margins_with
from service.domain.margins import freed_after
from service.domain.promising import PlannedBooking
from service.domain.shop_now import ShopNow
from service.domain.stock_items import StockItem
from service.domain.stock_needs import Need
from service.intake.stock_rows import item_of
from service.store.core import table_of
from service.store.ledger import clear_ended_holds, end_holds, held_shares, hold, keep_freed
from service.store.many_rows import write_tables
from service.store.station_margins import rows_of_margins
from service.store.tables import CapacityHold, Quote, StockHold

_HOLDS: Final = table_of(StockHold)
_OF_QUOTES: Final = _HOLDS.c.quote_id.in_(bindparam("quotes", expanding=True))
_HELD: Final = select(
    _HOLDS.c.quote_id, *(_HOLDS.c[name] for name in StockItem._fields), _HOLDS.c.quantity
).where(_OF_QUOTES, _HOLDS.c.expires_at > bindparam("now"))
_END_HOLDS: Final = delete(_HOLDS).where(_OF_QUOTES)


MOST_HOLDS = 20
"""Quotes for which one holder may hold at the same time, so that nobody holds the whole shop."""


def check_holds(session: Session, holder: str, now: datetime) -> None:
    """Raise ``too-many-holds`` where the holder holds for as many quotes as may be."""
    live = (
        select(col(CapacityHold.quote_id), func.max(col(CapacityHold.expires_at)))
        .join(Quote, col(Quote.id) == col(CapacityHold.quote_id))
        .where(col(Quote.holder) == holder, col(CapacityHold.expires_at) > now)
        .group_by(col(CapacityHold.quote_id))
    )
    ends = sorted(until for _, until in session.connection().execute(live))
    if len(ends) >= MOST_HOLDS:
        raise Conflict(
            "too-many-holds",
            f"You hold for {len(ends)} quotes, and {MOST_HOLDS} is the most at a time. Accept one, "
            f"ask without a hold, or wait until {rfc3339(ends[0])}.",
            extra={"next_ends_at": rfc3339(ends[0])},
        )


def hold_for_quote(
    session: Session,
    quote_id: str,
    shop: ShopNow,
    promised: Promise,
    needs: Iterable[Need],
    *,
    until: datetime,
    now: datetime,
) -> None:
    """Hold what the promise is made of, which was found in ``shop``.

    The caller holds the shop's lock, and the quote is written.
    """
    clear_ended_holds(session, now)
    session.connection().execute(delete(StockHold).where(col(StockHold.expires_at) <= now))
    shares = [(one.station, one.day, one.seconds) for one in promised.plan.bookings]
    hold(session, quote_id, shares, rush=promised.rush, until=until)
    wanted: Counter[StockItem] = Counter()
    for need in needs:
        wanted[need.item] += need.quantity
    session.add_all(
        StockHold(quote_id=quote_id, quantity=quantity, expires_at=until, **item._asdict())
        for item, quantity in wanted.items()
    )
    rush = promised.rush
    margins = margins_with(
        shop, promised.found, promised.promised_day, rush=rush, corrected_by=promised.corrected_by
    )
    write_tables(session.connection(), [rows_of_margins(margins)])
    keep_freed(session, freed_after(shop.freed, promised.plan.bookings, rush=rush))


class Hold(NamedTuple):
    """What a quote holds: station, day, seconds and rush of its shares, and of each thing."""

    shares: Sequence[tuple[str, date, int, bool]] = ()
    material: Mapping[StockItem, int] = MappingProxyType({})


def live_holds(session: Session, quote_ids: Sequence[str], now: datetime) -> dict[str, Hold]:
    """What those quotes hold ``now``, by id; those that hold nothing are left out."""
    if not quote_ids:
        return {}
    shares = held_shares(session, quote_ids, now)
    things: dict[str, dict[StockItem, int]] = {}
    asked = {"quotes": quote_ids, "now": now}
    for quote_id, *key, quantity in session.connection().execute(_HELD, asked):
        things.setdefault(quote_id, {})[item_of(*key)] = quantity
    return {
        quote_id: Hold(shares.get(quote_id, ()), things.get(quote_id, {}))
        for quote_id in shares.keys() | things.keys()
    }


def end_quote_holds(session: Session, quote_ids: Sequence[str]) -> None:
    """Take from those quotes what they hold, which is booked now; under the shop's lock."""
    if quote_ids:
        session.connection().execute(_END_HOLDS, {"quotes": quote_ids})
        end_holds(session, quote_ids)


def hold_written(promised: Promise, until: datetime) -> dict[str, Any]:
    """What a quote's plan keeps of its hold, from which accepting makes bookings."""
    return {
        "until": rfc3339(until),
        "rush": promised.rush,
        "bookings": [
            [one.ticket_index, one.station, one.day.isoformat(), one.seconds]
            for one in promised.plan.bookings
        ],
    }


def bookings_held(written: Mapping[str, Any]) -> tuple[PlannedBooking, ...]:
    """The bookings that :func:`hold_written` kept."""
    return tuple(
        PlannedBooking(ticket, station, date.fromisoformat(day), seconds)
        for ticket, station, day, seconds in written["bookings"]
    )
