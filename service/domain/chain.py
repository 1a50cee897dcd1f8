"""What a method really does: its strikes, layers, printed and cut media, and where dye goes.

Rules read this and never a method's name, so a shop's own method is judged as the built-in ones.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.machines import Plotter, Press, Printer
from service.domain.media import Ink, Medium, PressWindow
from service.domain.methods import HEATED, Method, Operation, OperationKind
from service.domain.shop import Catalogue


@dataclass(frozen=True, slots=True)
class Strike:
    """One closing of the press.

    ``medium`` is what this strike fixes (None for a pre-press), ``beneath`` the films already on
    the cloth, lowest first. ``step`` is the operation's index in its method.
    """

    step: int
    kind: OperationKind
    window: PressWindow
    press: Press
    medium: Medium | None
    beneath: tuple[Medium, ...]


@dataclass(frozen=True, slots=True)
class Worked:
    """A medium printed or cut, and whether the method says mirrored."""

    step: int
    kind: OperationKind
    medium: Medium
    machine: Printer | Plotter
    mirrored: bool


@dataclass(frozen=True, slots=True)
class DyeTransfer:
    """Dye sent by a strike into ``target``: the film on top, or None for the cloth itself."""

    step: int
    target: Medium | None


@dataclass(frozen=True, slots=True)
class Chain:
    """A method, walked."""

    method: Method
    strikes: tuple[Strike, ...]
    worked: tuple[Worked, ...]
    dye: tuple[DyeTransfer, ...]
    layers: tuple[Medium, ...]

    @property
    def presses(self) -> tuple[Press, ...]:
        """The presses it uses, each once, in order."""
        return tuple(dict.fromkeys(strike.press for strike in self.strikes))


def walk(catalogue: Catalogue, method: Method) -> Chain:
    """Follow the method's operations in order.

    The catalogue's cross checks have made sure that every medium and machine named is there and
    of the right kind; a ``KeyError`` or ``TypeError`` here means an unchecked catalogue.
    """
    strikes: list[Strike] = []
    worked: list[Worked] = []
    dye: list[DyeTransfer] = []
    layers: list[Medium] = []
    for step, operation in enumerate(method.operations):
        medium = catalogue.medium_by_id[operation.medium] if operation.medium else None
        if operation.kind in HEATED:
            strikes.append(_strike(catalogue, step, operation, medium, tuple(layers)))
            if medium is not None and medium.stays_on_cloth and medium not in layers:
                layers.append(medium)
            if medium is not None and not medium.stays_on_cloth and Ink.DYE in medium.prints_with:
                dye.append(DyeTransfer(step, layers[-1] if layers else None))
        elif medium is not None and operation.mirrored is not None:
            worked.append(_worked(catalogue, step, operation, medium))
    return Chain(method, tuple(strikes), tuple(worked), tuple(dye), tuple(layers))


def _strike(
    catalogue: Catalogue,
    step: int,
    operation: Operation,
    medium: Medium | None,
    beneath: tuple[Medium, ...],
) -> Strike:
    press = catalogue.machine_by_id[operation.machine or ""]
    window = operation.window or (medium.press if medium else None)
    if not isinstance(press, Press) or window is None:
        raise TypeError(f"operation {step} is not a press stroke")
    return Strike(step, operation.kind, window, press, medium, beneath)


def _worked(catalogue: Catalogue, step: int, operation: Operation, medium: Medium) -> Worked:
    machine = catalogue.machine_by_id[operation.machine or ""]
    if isinstance(machine, Press):
        raise TypeError(f"operation {step} names a press to print or cut on")
    return Worked(step, operation.kind, medium, machine, bool(operation.mirrored))
