"""Checks of machines: where they stand, what they cost, and whether they are of any use."""

from __future__ import annotations

from collections.abc import Iterator

from service.catalogue.faults import PathFaults
from service.domain.machines import Plotter, Press, Printer
from service.domain.shop import Catalogue

Machine = Printer | Plotter | Press


def machine_faults(catalogue: Catalogue) -> PathFaults:
    """Machines at stations that are not there, without an ink price, or of no use to any film."""
    lists: dict[str, tuple[Machine, ...]] = {
        "printers": catalogue.printers,
        "plotters": catalogue.plotters,
        "presses": catalogue.presses,
    }
    coolest = min(medium.press.temp_min_c for medium in catalogue.media)
    for name, machines in lists.items():
        for index, machine in enumerate(machines):
            for field, message in _of_machine(catalogue, machine, coolest):
                yield (name, index, field), message


def _of_machine(
    catalogue: Catalogue, machine: Machine, coolest_c: float
) -> Iterator[tuple[str, str]]:
    if machine.station not in catalogue.station_by_id:
        what = f"machine '{machine.id}' stands at station '{machine.station}'"
        yield "station", f"{what}, which is not in the catalogue"
    if isinstance(machine, Printer):
        yield from _of_printer(machine)
    if isinstance(machine, Press):
        yield from _of_press(machine, coolest_c)


def _of_printer(printer: Printer) -> Iterator[tuple[str, str]]:
    if printer.ink_price_per_ml == 0:
        yield "ink_price_per_ml", f"the price of the ink of '{printer.id}' is missing"
    if printer.solids is None:
        return
    lightness = {
        name: getattr(printer.solids, name).lightness for name in type(printer.solids).model_fields
    }
    inks = {name: value for name, value in lightness.items() if name != "white"}
    if max(inks.values()) >= lightness["white"] or min(inks.values()) < lightness["black"]:
        what = (
            f"of the solids of '{printer.id}' the unprinted white is the lightest and black the "
            "darkest; the measured colours say otherwise"
        )
        yield "solids", what


def _of_press(press: Press, coolest_c: float) -> Iterator[tuple[str, str]]:
    if press.ceiling_c < coolest_c:
        what = (
            f"press '{press.id}' goes up to {press.ceiling_c:g} C, below the press window of "
            f"every medium; the lowest begins at {coolest_c:g} C"
        )
        yield "ceiling_c", what
    if min(press.usable_mm) <= 0:
        what = (
            f"an edge of {press.edge_mm:g} mm on every side leaves nothing of the platen of press "
            f"'{press.id}', {press.platen_width_mm:g} x {press.platen_length_mm:g} mm"
        )
        yield "edge_mm", what
