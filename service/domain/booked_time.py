"""What is booked at stations by day, and what of each day is kept for rush.

A share of every station's day is kept for rush. Ordinary work takes none of it. Rush may take all
that is free, and what it takes counts first against the share kept for it, so that as long as it
fits there it leaves ordinary work its whole room.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from datetime import date
from types import MappingProxyType
from typing import NamedTuple

_PERCENT = 100


class BookedTime(NamedTuple):
    """Seconds booked at a station on a day, ``rush_s`` of them for rush.

    ``squares_s2`` is the sum of the squares of the single ordinary shares' seconds: it tells few
    large shares from many small ones, which scatter less. Rush counts as one share.
    """

    seconds: int = 0
    rush_s: int = 0
    squares_s2: int = 0

    def and_also(self, seconds: int, *, rush: bool = False) -> BookedTime:
        """With one share more."""
        return BookedTime(
            self.seconds + seconds,
            self.rush_s + (seconds if rush else 0),
            self.squares_s2 + (0 if rush else seconds * seconds),
        )

    def plus(self, other: BookedTime) -> BookedTime:
        """Both together."""
        return BookedTime(*(one + more for one, more in zip(self, other, strict=True)))

    def at_least(self, other: BookedTime) -> BookedTime:
        """No less than the other in ordinary seconds, in rush, and in squares."""
        rush_s = max(self.rush_s, other.rush_s)
        ordinary = max(self.seconds - self.rush_s, other.seconds - other.rush_s)
        return BookedTime(ordinary + rush_s, rush_s, max(self.squares_s2, other.squares_s2))

    def less(self, other: BookedTime) -> BookedTime:
        """What the other leaves of it in each, nothing where it is more."""
        rush_s = max(0, self.rush_s - other.rush_s)
        ordinary = max(0, self.seconds - self.rush_s - (other.seconds - other.rush_s))
        return BookedTime(ordinary + rush_s, rush_s, max(0, self.squares_s2 - other.squares_s2))


NOTHING_BOOKED = BookedTime()

Booked = Mapping[tuple[str, date], BookedTime]
"""By station and day; a missing entry is nothing booked."""


def reserved_s(capacity_s: int, reserve_percent: int) -> int:
    """Seconds of a station's day that are kept for rush, rounded down."""
    return capacity_s * reserve_percent // _PERCENT


def ordinary_s(booked: BookedTime, kept_s: int) -> int:
    """Seconds of a day lost to ordinary work: its own, and rush beyond the share kept for it."""
    return booked.seconds - min(booked.rush_s, kept_s)


def ordinary_squares_s2(booked: BookedTime, kept_s: int) -> int:
    """The squares that go with :func:`ordinary_s`, so that rush that is kept for scatters none."""
    return booked.squares_s2 + max(0, booked.rush_s - kept_s) ** 2


class BookedDays(Mapping[tuple[str, date], BookedTime]):
    """What is booked by station and day, each station's days together, and not to be changed.

    It also keeps which days were found to be full, for :meth:`with_shares` leaves them so.
    """

    __slots__ = ("_full", "_stations")

    def __init__(
        self,
        stations: Mapping[str, dict[date, BookedTime]],
        full: Mapping[Hashable, tuple[date, date]] = MappingProxyType({}),
    ) -> None:
        """Use :meth:`of`, or hand over what nobody else changes any more."""
        self._stations = stations
        self._full = dict(full)

    @classmethod
    def of(cls, booked: Booked) -> BookedDays:
        """The same, laid out so."""
        if isinstance(booked, cls):
            return booked
        stations: dict[str, dict[date, BookedTime]] = {}
        for (station, day), time in booked.items():
            stations.setdefault(station, {})[day] = time
        return cls(stations)

    def __getitem__(self, place: tuple[str, date]) -> BookedTime:
        station, day = place
        return self._stations[station][day]

    def __iter__(self) -> Iterator[tuple[str, date]]:
        return ((station, day) for station, days in self._stations.items() for day in days)

    def __len__(self) -> int:
        return sum(map(len, self._stations.values()))

    def at(self, station: str) -> Mapping[date, BookedTime]:
        """A station's days on which anything is booked."""
        return self._stations.get(station, _NO_DAYS)

    def with_shares(
        self, shares: Iterable[tuple[str, date, int]], *, rush: bool = False
    ) -> BookedDays:
        """With those shares besides: station, day and seconds of each."""
        changed: dict[str, dict[date, BookedTime]] = {}
        for station, day, seconds in shares:
            days = changed.get(station)
            if days is None:
                days = changed[station] = {**self._stations.get(station, _NO_DAYS)}
            days[day] = days.get(day, NOTHING_BOOKED).and_also(seconds, rush=rush)
        return BookedDays({**self._stations, **changed}, self._full)

    def note_full(self, room: Hashable, first: date, end: date) -> None:
        """Keep that a room, which names a station and the hours it works, has none free from then.

        ``end`` is the first working day after those days.
        """
        known = self._full.get(room)
        begun = known[0] if known is not None and known[0] <= first <= known[1] else first
        self._full[room] = begun, end

    def full_until(self, room: Hashable, day: date) -> date:
        """The first day, from that one on, that is not known to be full."""
        first, end = self._full.get(room, (day, day))
        return end if first <= day < end else day


_NO_DAYS: Mapping[date, BookedTime] = MappingProxyType({})


def with_shares(
    booked: Booked, shares: Iterable[tuple[str, date, int]], *, rush: bool = False
) -> BookedDays:
    """What is booked with those shares besides: station, day and seconds of each."""
    return BookedDays.of(booked).with_shares(shares, rush=rush)
