"""Station time that an accepted run sets free: the set-ups of all of its tickets but one.

What is given back is kept with the run, and taken again when it is dissolved, where there is still
room. Whoever calls these holds the shop's lock and has settled the day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from sqlmodel import Session, col, select

from service.domain.booked_time import NOTHING_BOOKED, ordinary_s, reserved_s, with_shares
from service.domain.calendar import StationHours
from service.domain.run_document import RunDocument
from service.domain.run_setups import BookedSetup, off_shares, run_setups_s, superfluous
from service.intake.replanning import shop_day
from service.intake.run_rows import prints_by_key, read_prints
from service.intake.services import Services
from service.intake.urgency import note_left
from service.store.ledger import OpenShare, booked_time, open_shares, rebook
from service.store.tables import Order, Quote, Run, RunSetup, Ticket

_S_PER_MIN = 60


def give_back_setups(
    services: Services,
    session: Session,
    run: Run,
    document: RunDocument,
    tickets: Mapping[str, Ticket],
) -> None:
    """Give back what the run's tickets booked to set stations up for it, for all but one."""
    rows = {row.id or 0: row for row in tickets.values()}
    shares = open_shares(session, sorted(rows))
    less_s: Counter[tuple[int, str]] = Counter()
    for one in superfluous(_booked_setups(services, session, document, tickets, shares)):
        less_s[one.ticket_id, one.station] += one.seconds
    off_s = off_shares([share[:4] for share in shares], less_s)
    changes = {key: -seconds for key, seconds in off_s.items()}
    _change(services, session, rows, shares, changes)
    session.add_all(
        RunSetup(run_id=run.id, ticket_id=ticket_id, station=station, day=day, seconds=seconds)
        for (ticket_id, station, day), seconds in off_s.items()
    )


def _booked_setups(
    services: Services,
    session: Session,
    document: RunDocument,
    tickets: Mapping[str, Ticket],
    shares: Iterable[OpenShare],
) -> Iterator[BookedSetup]:
    """The run's set-ups that stand in the ledger.

    A ticket counts with all of its prints of the medium on this run: of one that is printed besides
    in another run the set-up is still needed. Pieces made anew have none booked.
    """
    on_run = {(one.ticket, one.decoration) for one in document.prints if one.reprint is None}
    beside = {
        ticket
        for ticket, decoration, medium in prints_by_key(tickets.values())
        if medium == document.medium and (ticket, decoration) not in on_run
    }
    first_days: dict[tuple[int, str], date] = {}
    for share in shares:
        first_days.setdefault((share.ticket_id, share.station), share.day)
    whole = [row for number, row in tickets.items() if number not in beside]
    versions = _versions(session, whole)
    for row in whole:
        ticket_id = row.id or 0
        catalogue = services.catalogues.of_version(session, versions[row.order_id]).catalogue
        ids = {one.method_id for one in read_prints(row).decorations}
        methods = [method for method in catalogue.methods if method.id in ids]
        for (station, kind), seconds in run_setups_s(methods, document.medium).items():
            day = first_days.get((ticket_id, station))
            if day is not None:
                yield BookedSetup(ticket_id, station, kind, seconds, day)


def _versions(session: Session, tickets: Sequence[Ticket]) -> dict[str, str]:
    """The version of the catalogue that each ticket's order was quoted by."""
    orders = sorted({row.order_id for row in tickets})
    rows = session.exec(
        select(col(Order.id), col(Quote.catalogue_version))
        .join(Quote, col(Quote.id) == col(Order.quote_id))
        .where(col(Order.id).in_(orders))
    )
    return dict(rows.all())


def take_setups_again(
    services: Services, session: Session, run: Run, tickets: Mapping[str, Ticket]
) -> str:
    """Book again what the run gave back; returns what has no room any more, in words.

    Each on its own day, or on another on which its ticket is at the station, from today on. Nobody
    is given a later day for it: what has no room stays free.
    """
    kept = session.exec(
        select(RunSetup)
        .where(RunSetup.run_id == run.id)
        .order_by(col(RunSetup.day), col(RunSetup.ticket_id), col(RunSetup.station))
    ).all()
    rows = {row.id or 0: row for row in tickets.values()}
    shares = open_shares(session, sorted(rows))
    room = _Room(services, session)
    changes: Counter[tuple[int, str, date]] = Counter()
    lost: list[str] = []
    for one in kept:
        at_station = [share for share in shares if share[:2] == (one.ticket_id, one.station)]
        days = dict.fromkeys([one.day, *(share.day for share in at_station)])
        rush = any(share.rush for share in at_station)
        free = (day for day in days if room.take(one.station, day, one.seconds, rush=rush))
        day = next(free, None) if at_station else None
        if day is None:
            minutes, number = -(-one.seconds // _S_PER_MIN), rows[one.ticket_id].number
            lost.append(f"{minutes} min at {room.name_of(one.station)} ({number})")
        else:
            changes[one.ticket_id, one.station, day] += one.seconds
        session.delete(one)
    _change(services, session, rows, shares, changes)
    return f"Set-up without room again: {', '.join(lost)}." if lost else ""


class _Room:
    """What is free at stations from today on, less what was taken of it here."""

    def __init__(self, services: Services, session: Session) -> None:
        catalogue = services.catalogues.current.catalogue
        self._stations, self._today = catalogue.station_by_id, shop_day(services)
        self._hours = StationHours(catalogue.calendar)
        self._percent = catalogue.policy.rush_reserve_percent
        self._booked = booked_time(session, self._today, now=services.clock())

    def take(self, name: str, day: date, seconds: int, *, rush: bool) -> bool:
        """Take so much of a day where it is free to that lane; False where it is not."""
        station = self._stations.get(name)
        if station is None or day < self._today:
            return False
        room_s = self._hours.day_s(station, day) * station.machines
        kept_s = 0 if rush else reserved_s(room_s, self._percent)
        booked = self._booked.at(name).get(day, NOTHING_BOOKED)
        if seconds > room_s - kept_s - ordinary_s(booked, kept_s):
            return False
        self._booked = with_shares(self._booked, [(name, day, seconds)], rush=rush)
        return True

    def name_of(self, station: str) -> str:
        """What people call it."""
        known = self._stations.get(station)
        return known.name if known else station


def _change(
    services: Services,
    session: Session,
    rows: Mapping[int, Ticket],
    shares: Sequence[OpenShare],
    changes: Mapping[tuple[int, str, date], int],
) -> None:
    """Lengthen or shorten shares of tickets by ticket, station and day; one of nothing is gone."""
    changed = {ticket_id for ticket_id, _, _ in changes}
    gone = [share for share in shares if share.ticket_id in changed]
    seconds = Counter({share[:3]: share.seconds for share in gone})
    seconds.update(changes)
    rush = {share.ticket_id: share.rush for share in gone}
    rebook(
        session,
        gone,
        [OpenShare(*key, each, rush[key[0]]) for key, each in sorted(seconds.items()) if each],
    )
    for ticket_id in sorted(changed):
        note_left(services, session, rows[ticket_id])
