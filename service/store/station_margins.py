"""How much later orders may still delay what was accepted, as it is kept by station and day.

Whoever writes here holds the shop's lock.
"""

from __future__ import annotations

from datetime import date
from typing import Final

from sqlalchemy import Insert, bindparam, delete, select
from sqlmodel import Session

from service.domain.margins import Margin, Margins
from service.store.core import table_of
from service.store.many_rows import StoreInsert, TableRows
from service.store.tables import StationMargin

_TABLE: Final = table_of(StationMargin)
_KNOWN: Final = select(
    _TABLE.c.station, _TABLE.c.rush, _TABLE.c.day, _TABLE.c.margin_s, _TABLE.c.courses
).where(_TABLE.c.day >= bindparam("from_day"))


def margins_from(session: Session, from_day: date) -> dict[tuple[str, bool], dict[date, Margin]]:
    """The margins of that day and later ones."""
    found: dict[tuple[str, bool], dict[date, Margin]] = {}
    rows = session.connection().execute(_KNOWN, {"from_day": from_day}).all()
    for station, rush, day, seconds, courses in rows:
        found.setdefault((station, rush), {})[day] = Margin(seconds, courses)
    return found


def rows_of_margins(margins: Margins) -> TableRows:
    """Margins as they are now, which are written in the place of what was kept."""
    rows = [
        {
            "station": station,
            "rush": rush,
            "day": day,
            "margin_s": margin.seconds,
            "courses": margin.courses,
        }
        for (station, rush), by_day in sorted(margins.items())
        for day, margin in sorted(by_day.items())
    ]
    return TableRows(_TABLE, rows, _in_place)


def forget_margins(session: Session, before: date) -> None:
    """Forget those of days before that one, which nobody asks for any more."""
    session.connection().execute(delete(_TABLE).where(_TABLE.c.day < before))


def _in_place(insert: StoreInsert) -> Insert:
    return insert.on_conflict_do_update(
        index_elements=[column.name for column in _TABLE.primary_key],
        set_={"margin_s": insert.excluded.margin_s, "courses": insert.excluded.courses},
    )
