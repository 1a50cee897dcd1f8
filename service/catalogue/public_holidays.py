"""Public holidays of a country, found once when a catalogue is loaded and kept with its version.

Which days they are is what the library ``holidays`` knows; days it knows as estimates are taken as
they are. Other days of rest are the shop's own closures; who works on public holidays names none.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import holidays

from service.catalogue.faults import DocumentPath, PathFault
from service.domain.shop import Catalogue, PublicHolidays

YEARS_BEFORE = 1
YEARS_AFTER = 5
"""Whole years whose holidays are found, around the year in which a catalogue is loaded."""

_AT: DocumentPath = ("calendar", "holidays")
_ENGLISH = "en_US"
_NAME_LETTERS = 200
_LISTED = 40


def with_holidays(catalogue: Catalogue, today: date) -> tuple[Catalogue, list[PathFault]]:
    """The catalogue with the days of its public holidays, or unchanged with what is wrong.

    Days that stand there already are those of a stored version, and stay as they are.
    """
    calendar = catalogue.calendar
    wanted = calendar.holidays
    if wanted is None or wanted.days:
        return catalogue, []
    faults = _faults(wanted)
    if faults:
        return catalogue, faults
    found = wanted.model_copy(update={"days": _days(wanted, today)})
    calendar = calendar.model_copy(update={"holidays": found})
    return catalogue.model_copy(update={"calendar": calendar}), []


def _faults(wanted: PublicHolidays) -> list[PathFault]:
    countries = holidays.list_supported_countries(include_aliases=False)
    if wanted.country not in countries:
        what = (
            f"no public holidays are known of the country '{wanted.country}'; write its two "
            "letters of ISO 3166-1, or leave 'holidays' out and list the days as closures"
        )
        return [((*_AT, "country"), what)]
    parts = countries[wanted.country]
    if wanted.subdivision and wanted.subdivision not in parts:
        what = (
            f"'{wanted.country}' has no part '{wanted.subdivision}' with holidays of its own; "
            f"{_known(parts)}"
        )
        return [((*_AT, "subdivision"), what)]
    return []


def _known(parts: Sequence[str]) -> str:
    if not parts:
        return "leave 'subdivision' out"
    more = "" if len(parts) <= _LISTED else f" and {len(parts) - _LISTED} more"
    return f"known are {', '.join(parts[:_LISTED])}{more}"


def _days(wanted: PublicHolidays, today: date) -> dict[date, str]:
    years = range(
        max(today.year - YEARS_BEFORE, date.min.year),
        min(today.year + YEARS_AFTER, date.max.year) + 1,
    )
    part = wanted.subdivision or None
    known = holidays.country_holidays(wanted.country, subdiv=part)
    language = _ENGLISH if _ENGLISH in known.supported_languages else None
    found = holidays.country_holidays(
        wanted.country, subdiv=part, years=years, expand=False, language=language
    )
    # Observed days of the last year may lie in the next one, whose own are not all known.
    return {day: name[:_NAME_LETTERS] for day, name in sorted(found.items()) if day.year in years}
