"""Station time promised so far, by day, and each ticket's share of it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from sqlalchemy import delete
from sqlmodel import Session, col, select

from service.store.tables import Booking, StationDay


def booked_seconds(session: Session, from_day: date) -> dict[tuple[str, date], int]:
    """Seconds booked by station and day, from that day on; days without bookings are left out."""
    statement = select(StationDay).where(col(StationDay.day) >= from_day)
    rows = session.exec(statement).all()
    return {(row.station, row.day): row.booked_s for row in rows if row.booked_s}


def book(session: Session, ticket_id: int, taken: Iterable[tuple[str, date, int]]) -> None:
    """Book station, day and seconds for a ticket. The caller holds the shop's lock."""
    for station, day, seconds in taken:
        session.add(Booking(ticket_id=ticket_id, station=station, day=day, seconds=seconds))
        _add(session, station, day, seconds)


def give_back(session: Session, ticket_id: int, from_day: date) -> None:
    """Give back what a ticket booked from that day on. The caller holds the shop's lock."""
    statement = select(Booking).where(Booking.ticket_id == ticket_id, col(Booking.day) >= from_day)
    for booking in session.exec(statement).all():
        _add(session, booking.station, booking.day, -booking.seconds)
    session.exec(
        delete(Booking).where(col(Booking.ticket_id) == ticket_id, col(Booking.day) >= from_day)
    )


def _add(session: Session, station: str, day: date, seconds: int) -> None:
    row = session.get(StationDay, (station, day))
    if row is None:
        session.add(StationDay(station=station, day=day, booked_s=seconds))
        session.flush()
    else:
        row.booked_s += seconds
        session.add(row)
