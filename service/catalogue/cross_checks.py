"""Checks across a catalogue's parts: what each part allows alone and all of them together do not.

A contradiction is refused when the catalogue is loaded, not at a customer's checkout. Whether a
method suits a garment is not asked here: the rules say that of each choice. What a value forbids by
itself, as the policy its thresholds out of order, is refused before.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from babel.core import get_global

from service.catalogue.blank_checks import blank_faults
from service.catalogue.faults import DocumentPath, PathFault, PathFaults
from service.catalogue.machine_checks import machine_faults
from service.catalogue.medium_checks import medium_faults
from service.catalogue.method_checks import method_faults
from service.domain.price_book import PriceBook
from service.domain.shop import Catalogue, Policy, WorkCalendar

LONGEST_CLOSURE_DAYS = 365


def catalogue_faults(catalogue: Catalogue) -> list[PathFault]:
    """Every contradiction in a catalogue, each with the path of the value to change."""
    return [
        *_twins(catalogue),
        *_calendar_faults(catalogue.calendar),
        *_price_faults(catalogue.prices, catalogue.policy),
        *medium_faults(catalogue),
        *machine_faults(catalogue),
        *blank_faults(catalogue),
        *method_faults(catalogue),
    ]


def _twins(catalogue: Catalogue) -> PathFaults:
    machines = [
        *_ids(("printers",), [printer.id for printer in catalogue.printers]),
        *_ids(("plotters",), [plotter.id for plotter in catalogue.plotters]),
        *_ids(("presses",), [press.id for press in catalogue.presses]),
    ]
    yield from _twins_among("machine", machines)
    supplied = [placement.id for placement in catalogue.policy.supplied_placements]
    for what, path, ids in (
        ("station", ("stations",), [station.id for station in catalogue.stations]),
        ("blank", ("blanks",), [blank.id for blank in catalogue.blanks]),
        ("medium", ("media",), [medium.id for medium in catalogue.media]),
        ("method", ("methods",), [method.id for method in catalogue.methods]),
        ("placement", ("policy", "supplied_placements"), supplied),
    ):
        yield from _twins_among(what, _ids(path, ids))
    for index, medium in enumerate(catalogue.media):
        colours = [colour.id for colour in medium.colours]
        yield from _twins_among("colour", _ids(("media", index, "colours"), colours))


def _ids(path: DocumentPath, ids: Sequence[str]) -> list[tuple[DocumentPath, str]]:
    return [((*path, index, "id"), each) for index, each in enumerate(ids)]


def _twins_among(what: str, placed: Iterable[tuple[DocumentPath, str]]) -> PathFaults:
    seen: set[str] = set()
    for path, each in placed:
        if each in seen:
            yield path, f"{what} '{each}' is listed twice"
        seen.add(each)


def _calendar_faults(calendar: WorkCalendar) -> PathFaults:
    if calendar.cut_off.tzinfo is not None:
        yield ("calendar", "cut_off"), "cut_off is local time and takes no offset"
    closed = _longest_closure(calendar)
    if closed is not None:
        first, days = closed
        what = (
            f"the closures leave no working day for {days} days from {first.isoformat()}; "
            f"a shop may be closed for fewer than {LONGEST_CLOSURE_DAYS} days on end"
        )
        yield ("calendar", "closures"), what


def _longest_closure(calendar: WorkCalendar) -> tuple[date, int] | None:
    """First day and length of a run of days without work, if one is a year long or longer."""
    weekdays = calendar.working_weekdays
    last_worked = expected = 0
    for closure in sorted(day for day in calendar.closures if day.weekday() in weekdays):
        ordinal = closure.toordinal()
        if ordinal != expected:
            last_worked = _next_weekday(ordinal, weekdays, step=-1)
        expected = _next_weekday(ordinal, weekdays)
        days = expected - last_worked - 1
        if days >= LONGEST_CLOSURE_DAYS:
            return date.fromordinal(max(last_worked + 1, 1)), days
    return None


def _next_weekday(ordinal: int, weekdays: frozenset[int], step: int = 1) -> int:
    # Ordinal 1 is Monday 1 January of year 1; ordinals cannot overflow as dates do.
    return next(
        day for day in range(ordinal + step, ordinal + 8 * step, step) if (day - 1) % 7 in weekdays
    )


def _price_faults(prices: PriceBook, policy: Policy) -> PathFaults:
    if prices.currency not in currencies_in_use():
        yield ("prices", "currency"), f"'{prices.currency}' is no ISO 4217 code of money in use"
    for index, step in enumerate(prices.breaks):
        if step.from_pieces > policy.max_pieces_per_order:
            what = (
                f"no order reaches {step.from_pieces} pieces: max_pieces_per_order is "
                f"{policy.max_pieces_per_order}"
            )
            yield ("prices", "breaks", index, "from_pieces"), what


def currencies_in_use() -> frozenset[str]:
    """ISO 4217 codes that are legal tender somewhere today, as the CLDR data of babel have them."""
    return frozenset(
        code
        for spells in get_global("territory_currencies").values()
        for code, _, until, tender in spells
        if tender and until is None
    )
