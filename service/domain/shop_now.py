"""The shop as a promise meets it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from service.domain.booked_time import Booked
from service.domain.conformal import DecidedPromise
from service.domain.machines import Station
from service.domain.margins import Margins
from service.domain.shop import Catalogue, Policy, WorkCalendar


@dataclass(frozen=True, slots=True)
class ShopNow:
    """The shop as a promise meets it: what is booked, and how promises of late turned out.

    Work is planned from ``now`` on. Where that is a moment to come, as the last at which a quote
    may be accepted, ``booked_from`` is the present one, from whose day on ``booked`` tells all:
    what is left over of the days between takes time of those that follow. ``margins`` are those of
    what was accepted, and ``freed`` is what was given back, which may be booked anew.
    """

    calendar: WorkCalendar
    stations: Mapping[str, Station]
    policy: Policy
    now: datetime
    booked: Booked
    decided: Sequence[DecidedPromise] = ()
    booked_from: datetime | None = None
    margins: Margins = field(default_factory=dict)
    freed: Booked = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        catalogue: Catalogue,
        now: datetime,
        booked: Booked,
        decided: Sequence[DecidedPromise] = (),
    ) -> ShopNow:
        """With calendar, stations and policy of a catalogue."""
        return cls(
            catalogue.calendar, catalogue.station_by_id, catalogue.policy, now, booked, decided
        )
