"""The shop's own time, in which its people read every day and moment."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from service.intake.services import Services


def shop_zone(services: Services) -> ZoneInfo:
    """The zone of the shop's calendar."""
    return ZoneInfo(services.catalogues.current.catalogue.calendar.time_zone)


def shop_today(services: Services) -> date:
    """The day in the shop."""
    return services.clock().astimezone(shop_zone(services)).date()
