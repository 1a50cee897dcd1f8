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
from service.catalogue.calendar_checks import calendar_faults
from service.catalogue.faults import DocumentPath, PathFault, PathFaults
from service.catalogue.machine_checks import machine_faults
from service.catalogue.medium_checks import medium_faults
from service.catalogue.method_checks import method_faults
from service.domain.price_book import PriceBook
from service.domain.shop import Catalogue, Policy


def catalogue_faults(catalogue: Catalogue, today: date) -> list[PathFault]:
    """Every contradiction in a catalogue, each with the path of the value to change.

    The calendar's clock changes are those from ``today`` on.
    """
    return [
        *_twins(catalogue),
        *calendar_faults(catalogue, today),
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
