"""Checks of methods: that what is named is there, fits, and is used in a right order."""

from __future__ import annotations

from dataclasses import dataclass

from service.catalogue.chain_checks import chain_faults
from service.catalogue.faults import DocumentPath, PathFaults
from service.catalogue.machine_checks import Machine
from service.domain.machines import Plotter, Press, Printer
from service.domain.media import Medium, PressWindow
from service.domain.methods import HEATED, Method, Operation, OperationKind
from service.domain.shop import Catalogue

_MACHINE_FOR: dict[OperationKind, type[Machine]] = {
    OperationKind.PRINT: Printer,
    OperationKind.CUT: Plotter,
    **dict.fromkeys(HEATED, Press),
}
_MACHINE_WORDS: dict[type[Machine], str] = {
    Printer: "printer",
    Plotter: "plotter",
    Press: "press",
}
_FIXING = frozenset({OperationKind.TACK, OperationKind.PRESS})
_PREPARING = frozenset({OperationKind.PRINT, OperationKind.CUT, OperationKind.WEED})


def method_faults(catalogue: Catalogue) -> PathFaults:
    """Faults of every operation by itself, then of their order, then of the method as a whole."""
    for index, method in enumerate(catalogue.methods):
        path = ("methods", index, "operations")
        faults = [*_operation_faults(catalogue, method, path)]
        faults += _order_faults(catalogue, method, path)
        faults += _heat_faults(catalogue, method, path)
        yield from faults or chain_faults(catalogue, method, path)


def _operation_faults(catalogue: Catalogue, method: Method, path: DocumentPath) -> PathFaults:
    for step, operation in enumerate(method.operations):
        facts = _Facts(catalogue, method, operation, (*path, step))
        yield from _station_faults(facts)
        yield from _machine_kind_faults(facts)
        if operation.medium is not None and facts.medium is None:
            what = f"{facts.label} names medium '{operation.medium}'"
            yield (*facts.path, "medium"), f"{what}, which is not in the catalogue"
        yield from _width_faults(facts)
        yield from _ink_faults(facts)
        yield from _blade_faults(facts)


@dataclass(frozen=True, slots=True)
class _Facts:
    """One operation with what it names, as far as the catalogue has it."""

    catalogue: Catalogue
    method: Method
    operation: Operation
    path: DocumentPath

    @property
    def label(self) -> str:
        return f"'{self.operation.kind}' of method '{self.method.id}'"

    @property
    def machine(self) -> Machine | None:
        return self.catalogue.machine_by_id.get(self.operation.machine or "")

    @property
    def medium(self) -> Medium | None:
        return self.catalogue.medium_by_id.get(self.operation.medium or "")


def _station_faults(facts: _Facts) -> PathFaults:
    operation, path = facts.operation, facts.path
    station = facts.catalogue.station_by_id.get(operation.station)
    if station is None:
        what = f"{facts.label} stands at station '{operation.station}'"
        yield (*path, "station"), f"{what}, which is not in the catalogue"
        return
    if facts.machine is not None and facts.machine.station != station.id:
        what = (
            f"{facts.label} stands at station '{station.id}', but its machine "
            f"'{facts.machine.id}' stands at '{facts.machine.station}'"
        )
        yield (*path, "station"), what
    minutes = operation.setup_min + operation.each_min
    if minutes > station.minutes_per_day:
        what = (
            f"{facts.label} takes {minutes} minutes for one piece, more than the "
            f"{station.minutes_per_day} of a day at station '{station.id}'"
        )
        yield (*path, "each_min"), what


def _machine_kind_faults(facts: _Facts) -> PathFaults:
    operation = facts.operation
    if operation.machine is None:
        return
    wanted = _MACHINE_FOR.get(operation.kind)
    if facts.machine is None:
        what = f"{facts.label} names machine '{operation.machine}'"
        yield (*facts.path, "machine"), f"{what}, which is not in the catalogue"
    elif wanted is not None and not isinstance(facts.machine, wanted):
        found = _MACHINE_WORDS[type(facts.machine)]
        what = (
            f"{facts.label} needs a {_MACHINE_WORDS[wanted]}, and '{operation.machine}' is a "
            f"{found}"
        )
        yield (*facts.path, "machine"), what


def _width_faults(facts: _Facts) -> PathFaults:
    machine, medium = facts.machine, facts.medium
    if facts.operation.kind not in _MACHINE_FOR or medium is None:
        return
    if isinstance(machine, Printer | Plotter) and medium.width_mm > machine.max_width_mm:
        what = (
            f"medium '{medium.id}' is {medium.width_mm:g} mm wide, and '{machine.id}' takes up to "
            f"{machine.max_width_mm:g} mm"
        )
        yield (*facts.path, "medium"), what


def _ink_faults(facts: _Facts) -> PathFaults:
    machine, medium = facts.machine, facts.medium
    if facts.operation.kind is not OperationKind.PRINT or medium is None:
        return
    if isinstance(machine, Printer) and machine.ink not in medium.prints_with:
        taken = " and ".join(medium.prints_with) or "no ink at all"
        what = f"'{machine.id}' prints {machine.ink}, and medium '{medium.id}' takes {taken}"
        yield (*facts.path, "medium"), what


def _blade_faults(facts: _Facts) -> PathFaults:
    machine, medium = facts.machine, facts.medium
    blade = medium.blade if medium is not None else None
    if facts.operation.kind is not OperationKind.CUT or medium is None or blade is None:
        return
    most = machine.max_force_gf if isinstance(machine, Plotter) else None
    if most is not None and blade.force_gf > most:
        what = (
            f"medium '{medium.id}' is cut with a force of {blade.force_gf} g, and "
            f"'{facts.operation.machine}' gives up to {most} g"
        )
        yield (*facts.path, "machine"), what


def _order_faults(catalogue: Catalogue, method: Method, path: DocumentPath) -> PathFaults:
    done: set[tuple[OperationKind, str]] = set()
    last_fixed = {
        operation.medium: step
        for step, operation in enumerate(method.operations)
        if operation.kind in _FIXING
    }
    for step, operation in enumerate(method.operations):
        medium = catalogue.medium_by_id.get(operation.medium or "")
        if medium is None:
            continue
        kind, where = operation.kind, (*path, step, "medium")
        name = f"'{kind}' of method '{method.id}'"
        if kind in _PREPARING and last_fixed.get(medium.id, -1) < step:
            yield where, f"{name}: medium '{medium.id}' is never tacked or pressed afterwards"
        if kind is OperationKind.WEED and (OperationKind.CUT, medium.id) not in done:
            yield where, f"{name}: medium '{medium.id}' was not cut before"
        printed = (OperationKind.PRINT, medium.id) in done
        if kind in _FIXING and not medium.stays_on_cloth and not printed:
            yield where, f"{name}: nothing was printed on medium '{medium.id}' before"
        done.add((kind, medium.id))


def _heat_faults(catalogue: Catalogue, method: Method, path: DocumentPath) -> PathFaults:
    """Strokes that no setting of their press allows, whatever the garment."""
    on_cloth: dict[str, Medium] = {}
    for step, operation in enumerate(method.operations):
        medium = catalogue.medium_by_id.get(operation.medium or "")
        press = catalogue.machine_by_id.get(operation.machine or "")
        window = operation.window or (medium.press if medium else None)
        if operation.kind not in HEATED or window is None or not isinstance(press, Press):
            continue
        limits = _set_limits(window, press, on_cloth)
        highest, because = min(limits)
        lowest = window.temp_min_c + press.temp_error_k
        if highest < lowest:
            what = (
                f"'{operation.kind}' of method '{method.id}' has no setting that works: press "
                f"'{press.id}', {press.temp_error_k:g} K in doubt, must be set to {lowest:g} C "
                f"at least, and {because} allows {highest:g} C"
            )
            yield (*path, step), what
        if medium is not None and medium.stays_on_cloth:
            on_cloth[medium.id] = medium


def _set_limits(
    window: PressWindow, press: Press, on_cloth: dict[str, Medium]
) -> list[tuple[float, str]]:
    doubt = press.temp_error_k
    return [
        (window.temp_max_c - doubt, "the press window"),
        (press.ceiling_c, "the press's ceiling"),
        *(
            (medium.withstands_c - doubt, f"film '{medium.id}' on the cloth")
            for medium in on_cloth.values()
        ),
    ]
