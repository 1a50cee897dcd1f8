"""How promises of late turned out, by which new ones are corrected.

It is read once a day, so that two promises of one day are made by the same, and a promise costs no
look back.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import date

from sqlalchemy import or_
from sqlalchemy import select as sa_select
from sqlmodel import Session, col

from service.domain.conformal import (
    MOST_READ,
    DecidedPromise,
    dispatch_day,
    needed_correction,
)
from service.domain.shop import WorkCalendar
from service.store.tables import OrderPromise


class DecidedShelf:
    """How promises of late turned out, of one day at hand, shared by all threads."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._kept: tuple[tuple[date, WorkCalendar], Sequence[DecidedPromise]] | None = None
        self._lock = threading.Lock()

    def fetch(
        self, session: Session, day: date, calendar: WorkCalendar
    ) -> Sequence[DecidedPromise]:
        """Of orders promised before that day, read where it is not at hand."""
        with self._lock:
            kept = self._kept
        if kept is not None and kept[0][0] == day and kept[0][1] is calendar:
            return kept[1]
        found = decided_before(session, day, calendar)
        with self._lock:
            self._kept = (day, calendar), found
        return found


def decided_before(
    session: Session, day: date, calendar: WorkCalendar
) -> tuple[DecidedPromise, ...]:
    """The latest promises whose day was over before ``day``, the oldest first, less cancelled."""
    rows = session.connection().execute(
        sa_select(
            col(OrderPromise.quantile_at),
            col(OrderPromise.done_at),
            col(OrderPromise.nominal_day),
            col(OrderPromise.promised_day),
            col(OrderPromise.rush),
        )
        .where(
            col(OrderPromise.promised_day) < day,
            or_(col(OrderPromise.done_at).is_not(None), ~col(OrderPromise.closed)),
        )
        .order_by(col(OrderPromise.promised_day).desc(), col(OrderPromise.order_id).desc())
        .limit(MOST_READ)
    )
    latest_first = [
        DecidedPromise(
            needed=needed_correction(calendar, quantile, done, nominal=nominal),
            kept=done is not None and dispatch_day(calendar, done) <= promised,
            rush=rush,
        )
        for quantile, done, nominal, promised, rush in rows
    ]
    return tuple(reversed(latest_first))
