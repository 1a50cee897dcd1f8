"""Station time: what is promised by day, each ticket's share of it, and what quotes hold.

Whoever books or gives back holds the shop's lock. Everything is read and written by station and
day, however many tickets there are.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple, TypeVar

from sqlalchemy import (
    BigInteger,
    Insert,
    bindparam,
    case,
    cast,
    delete,
    func,
    or_,
    union_all,
    update,
)
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.booked_time import NOTHING_BOOKED, Booked, BookedDays, BookedTime
from service.store.core import table_of
from service.store.many_rows import StoreInsert, TableRows, write_tables
from service.store.tables import Booking, CapacityHold, StationDay

Place = TypeVar("Place", bound=Hashable)

Share = tuple[str, date, int]
"""Station, day and seconds."""

_BATCH = 500


class OpenShare(NamedTuple):
    """A ticket's share of a station's day that is not worked."""

    ticket_id: int
    station: str
    day: date
    seconds: int
    rush: bool


class StationTime(NamedTuple):
    """Station time by station and day; days without are left out.

    ``freed`` was given back since somebody was promised a later day there.
    """

    booked: BookedDays
    freed: dict[tuple[str, date], BookedTime]


_BOOKINGS: Final = table_of(Booking)
_STATION_DAYS: Final = table_of(StationDay)
_DAYS: Final = _STATION_DAYS.c
_HOLDS: Final = table_of(CapacityHold).c
_OF_QUOTES: Final = _HOLDS.quote_id.in_(bindparam("quotes", expanding=True))
_HELD: Final = sa_select(
    _HOLDS.quote_id, _HOLDS.station, _HOLDS.day, _HOLDS.seconds, _HOLDS.rush
).where(_OF_QUOTES, _HOLDS.expires_at > bindparam("now"))
_END_HOLDS: Final = delete(table_of(CapacityHold)).where(_OF_QUOTES)
_LIVE: Final = _HOLDS.expires_at > bindparam("now")
_HELD_TIME: Final = (
    _HOLDS.seconds,
    case((_HOLDS.rush, _HOLDS.seconds), else_=0),
    case((_HOLDS.rush, 0), else_=cast(_HOLDS.seconds, BigInteger) * _HOLDS.seconds),
)
"""What is held, in the terms of booked time."""

_FROM_DAY: Final = bindparam("from_day", type_=_DAYS.day.type)
_TIME: Final = union_all(
    sa_select(
        _DAYS.station,
        _DAYS.day,
        _DAYS.booked_s,
        _DAYS.rush_s,
        _DAYS.squares_s2,
        _DAYS.freed_s,
        _DAYS.freed_rush_s,
        _DAYS.freed_squares_s2,
    ).where(_DAYS.day >= _FROM_DAY, or_(_DAYS.booked_s > 0, _DAYS.freed_s > 0)),
    sa_select(
        _HOLDS.station,
        _HOLDS.day,
        *(case((_LIVE, part), else_=0) for part in _HELD_TIME),
        *(case((_LIVE, 0), else_=part) for part in _HELD_TIME),
    ).where(_HOLDS.day >= _FROM_DAY),
)
"""What is booked and what is held, and then what is given back, in the terms of booked time.

What was held until a time that is over is given back, whether or not its rows are still there.
"""

_KEEP_FREED: Final = (
    update(table_of(StationDay))
    .where(_DAYS.station == bindparam("at"), _DAYS.day == bindparam("on"))
    .values(
        freed_s=bindparam("s"), freed_rush_s=bindparam("rush"), freed_squares_s2=bindparam("s2")
    )
)


def booked_time(session: Session, from_day: date, *, now: datetime) -> BookedDays:
    """What is booked from that day on, with what quotes hold ``now``; days without are left out."""
    return station_time(session, from_day, now=now).booked


def station_time(session: Session, from_day: date, *, now: datetime) -> StationTime:
    """What is booked from that day on with what is held ``now``, and what was given back."""
    rows = session.connection().execute(_TIME, {"from_day": from_day, "now": now}).all()
    booked: dict[str, dict[date, BookedTime]] = {}
    freed: dict[tuple[str, date], BookedTime] = {}
    for station, day, seconds, rush_s, squares_s2, freed_s, freed_rush_s, freed_squares_s2 in rows:
        if seconds:
            more = BookedTime(seconds, rush_s, int(squares_s2))
            _add(booked.setdefault(station, {}), day, more)
        if freed_s:
            more = BookedTime(freed_s, freed_rush_s, int(freed_squares_s2))
            _add(freed, (station, day), more)
    return StationTime(BookedDays(booked), freed)


def _add(times: dict[Place, BookedTime], place: Place, more: BookedTime) -> None:
    known = times.get(place)
    times[place] = more if known is None else known.plus(more)


def keep_freed(session: Session, freed: Booked) -> None:
    """Keep what is given back as it is now, at those stations on those days."""
    rows = [
        {"at": station, "on": day, "s": time.seconds, "rush": time.rush_s, "s2": time.squares_s2}
        for (station, day), time in sorted(freed.items())
    ]
    if rows:
        session.connection().execute(_KEEP_FREED, rows)


def book(session: Session, ticket_id: int, shares: Sequence[Share], *, rush: bool = False) -> None:
    """Book station, day and seconds for a ticket; no two shares are of one station and day."""
    book_shares(session, [OpenShare(ticket_id, *share, rush) for share in shares])


def book_shares(session: Session, shares: Sequence[OpenShare]) -> None:
    """Book shares of many tickets; no two of one ticket are of one station and day."""
    write_tables(session.connection(), rows_of_shares(shares))


def rows_of_shares(shares: Sequence[OpenShare]) -> list[TableRows]:
    """Shares as they are booked."""
    bookings = [{**one._asdict(), "worked": False} for one in shares]
    days = [
        {
            "station": station,
            "day": day,
            "booked_s": time.seconds,
            "rush_s": time.rush_s,
            "squares_s2": time.squares_s2,
        }
        for (station, day), time in sorted(_by_day(shares).items())
    ]
    return [
        TableRows(_BOOKINGS, bookings, _adding_bookings),
        TableRows(_STATION_DAYS, days, _adding_days),
    ]


def give_back(
    session: Session, ticket_id: int, from_day: date, *, stations: Collection[str] | None = None
) -> None:
    """Give back what a ticket booked from that day on, at those stations or at all."""
    mine = [col(Booking.ticket_id) == ticket_id, col(Booking.day) >= from_day]
    if stations is not None:
        mine.append(col(Booking.station).in_(sorted(stations)))
    _take_out(session, mine)


def take_up(session: Session, ticket_id: int) -> None:
    """Give back all that a ticket has booked and that is not worked, past days too."""
    _take_out(session, [col(Booking.ticket_id) == ticket_id, ~col(Booking.worked)])


def note_worked(
    session: Session, ticket_id: int, today: date, *, stations: Collection[str] | None = None
) -> None:
    """A ticket's work at those stations, or at all, is over; days to come are given back."""
    mine = [col(Booking.ticket_id) == ticket_id, ~col(Booking.worked)]
    if stations is not None:
        mine.append(col(Booking.station).in_(sorted(stations)))
    _take_out(session, [*mine, col(Booking.day) > today])
    session.connection().execute(update(Booking).where(*mine).values(worked=True))


def hold(
    session: Session,
    quote_id: str,
    shares: Iterable[Share],
    *,
    rush: bool,
    until: datetime,
) -> None:
    """Keep station time for a quote until then."""
    rows = [
        {
            "quote_id": quote_id,
            "part": part,
            "station": station,
            "day": day,
            "seconds": seconds,
            "rush": rush,
            "expires_at": until,
        }
        for part, (station, day, seconds) in enumerate(shares)
    ]
    if rows:
        session.connection().execute(table_of(CapacityHold).insert(), rows)


def held_shares(
    session: Session, quote_ids: Sequence[str], now: datetime
) -> dict[str, list[tuple[str, date, int, bool]]]:
    """Station, day, seconds and rush of what each of those quotes holds ``now``, by its id."""
    found: dict[str, list[tuple[str, date, int, bool]]] = {}
    asked = {"quotes": quote_ids, "now": now}
    for quote_id, station, day, seconds, rush in session.connection().execute(_HELD, asked):
        found.setdefault(quote_id, []).append((station, day, seconds, rush))
    return found


def end_holds(session: Session, quote_ids: Sequence[str]) -> None:
    """Give back what those quotes hold."""
    session.connection().execute(_END_HOLDS, {"quotes": quote_ids})


def clear_ended_holds(session: Session, now: datetime) -> None:
    """Keep as given back what was held until a time that is over, and drop the rows of it."""
    connection, ended = session.connection(), _HOLDS.expires_at <= now
    rows = connection.execute(
        sa_select(_HOLDS.station, _HOLDS.day, *map(func.sum, _HELD_TIME))
        .where(ended)
        .group_by(_HOLDS.station, _HOLDS.day)
        .order_by(_HOLDS.station, _HOLDS.day)
    ).all()
    if not rows:
        return
    connection.execute(delete(CapacityHold).where(ended))
    freed = [
        {
            "station": station,
            "day": day,
            "booked_s": 0,
            "freed_s": int(seconds),
            "freed_rush_s": int(rush_s),
            "freed_squares_s2": int(squares_s2),
        }
        for station, day, seconds, rush_s, squares_s2 in rows
    ]
    write_tables(connection, [TableRows(_STATION_DAYS, freed, _adding_freed)])


def tickets_left_over(session: Session, today: date) -> list[int]:
    """Tickets of which something was booked before that day and is not worked, by their ids."""
    rows = session.connection().execute(
        sa_select(col(Booking.ticket_id))
        .distinct()
        .where(~col(Booking.worked), col(Booking.day) < today)
        .order_by(col(Booking.ticket_id))
    )
    return list(rows.scalars())


def open_shares(session: Session, ticket_ids: Sequence[int]) -> list[OpenShare]:
    """All that those tickets have booked and that is not worked, in order of day."""
    found: list[OpenShare] = []
    for some in _batches(ticket_ids):
        rows = session.connection().execute(
            sa_select(
                col(Booking.ticket_id),
                col(Booking.station),
                col(Booking.day),
                col(Booking.seconds),
                col(Booking.rush),
            )
            .where(col(Booking.ticket_id).in_(some), ~col(Booking.worked))
            .order_by(col(Booking.day), col(Booking.ticket_id), col(Booking.station))
        )
        found.extend(OpenShare(*row) for row in rows)
    return found


def tickets_begun(session: Session, ticket_ids: Sequence[int]) -> set[int]:
    """Those of the tickets of which anything is worked."""
    found: set[int] = set()
    for some in _batches(ticket_ids):
        worked = sa_select(col(Booking.ticket_id)).distinct()
        worked = worked.where(col(Booking.ticket_id).in_(some), col(Booking.worked))
        found.update(session.connection().execute(worked).scalars())
    return found


def rebook(session: Session, gone: Sequence[OpenShare], taken: Iterable[OpenShare]) -> None:
    """Give back shares of many tickets as :func:`open_shares` read them, and book others."""
    connection = session.connection()
    for some in _batches(sorted({one.ticket_id for one in gone})):
        connection.execute(
            delete(Booking).where(col(Booking.ticket_id).in_(some), ~col(Booking.worked))
        )
    _lower(session, _by_day(gone), freed=False)
    book_shares(session, list(taken))


def _take_out(session: Session, which: Sequence[Any]) -> None:
    """Give back those bookings of one ticket."""
    connection = session.connection()
    rows = connection.execute(
        sa_select(
            col(Booking.station), col(Booking.day), col(Booking.seconds), col(Booking.rush)
        ).where(*which)
    ).all()
    if not rows:
        return
    connection.execute(delete(Booking).where(*which))
    less = {
        (station, day): NOTHING_BOOKED.and_also(seconds, rush=rush)
        for station, day, seconds, rush in rows
    }
    _lower(session, less, freed=True)


def _lower(session: Session, less: Mapping[tuple[str, date], BookedTime], *, freed: bool) -> None:
    """Take so much off what is booked at those stations on those days; ``freed`` keeps that."""
    if not less:
        return
    table = table_of(StationDay)
    session.connection().execute(
        table.update()
        .where(table.c.station == bindparam("at"), table.c.day == bindparam("on"))
        .values(
            booked_s=table.c.booked_s - bindparam("less"),
            rush_s=table.c.rush_s - bindparam("less_rush"),
            squares_s2=table.c.squares_s2 - bindparam("less_squares"),
            freed_s=table.c.freed_s + bindparam("free"),
            freed_rush_s=table.c.freed_rush_s + bindparam("free_rush"),
            freed_squares_s2=table.c.freed_squares_s2 + bindparam("free_squares"),
        ),
        [
            {
                "at": station,
                "on": day,
                "less": time.seconds,
                "less_rush": time.rush_s,
                "less_squares": time.squares_s2,
                "free": time.seconds if freed else 0,
                "free_rush": time.rush_s if freed else 0,
                "free_squares": time.squares_s2 if freed else 0,
            }
            for (station, day), time in sorted(less.items())
        ],
    )


def _by_day(shares: Iterable[OpenShare]) -> dict[tuple[str, date], BookedTime]:
    found: dict[tuple[str, date], BookedTime] = {}
    for one in shares:
        before = found.get((one.station, one.day), NOTHING_BOOKED)
        found[one.station, one.day] = before.and_also(one.seconds, rush=one.rush)
    return found


def _batches(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    """So few at once that no store refuses the statement."""
    for start in range(0, len(ids), _BATCH):
        yield ids[start : start + _BATCH]


def _adding_bookings(insert: StoreInsert) -> Insert:
    """Add the seconds to a row that is there already."""
    return insert.on_conflict_do_update(
        index_elements=[column.name for column in _BOOKINGS.primary_key],
        set_={
            "seconds": _BOOKINGS.c.seconds + insert.excluded.seconds,
            "rush": insert.excluded.rush,
            "worked": insert.excluded.worked,
        },
    )


def _adding_days(insert: StoreInsert) -> Insert:
    """The same of what is booked of a day."""
    return _adding(insert, "booked_s", "rush_s", "squares_s2")


def _adding_freed(insert: StoreInsert) -> Insert:
    """The same of what is given back of a day."""
    return _adding(insert, "freed_s", "freed_rush_s", "freed_squares_s2")


def _adding(insert: StoreInsert, *names: str) -> Insert:
    return insert.on_conflict_do_update(
        index_elements=[column.name for column in _STATION_DAYS.primary_key],
        set_={name: _STATION_DAYS.c[name] + insert.excluded[name] for name in names},
    )
