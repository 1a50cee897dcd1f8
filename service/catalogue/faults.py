"""What is wrong with a catalogue, where it stands, and how it is told to a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

DocumentPath = tuple[str | int, ...]
"""Names and list indexes from the top of a document down to a value."""

PathFault = tuple[DocumentPath, str]
"""Where a fault is, counted from the top of the catalogue, and what it is."""

PathFaults = Iterator[PathFault]
"""Faults as a check finds them."""


@dataclass(frozen=True, slots=True)
class CatalogueFault:
    """One thing wrong with a catalogue.

    ``line`` counts from 1 and is None where no line can be named. ``pointer`` is a JSON pointer
    (RFC 6901) into the whole catalogue; it is empty for the catalogue itself.
    """

    file: str
    line: int | None
    pointer: str
    message: str


class CatalogueFaults(Exception):
    """A catalogue that cannot be used, with every fault found in it."""

    def __init__(self, faults: Iterable[CatalogueFault]) -> None:
        """Keep the faults, in order of file and line."""
        self.faults = tuple(
            sorted(faults, key=lambda fault: (fault.file, fault.line or 0, fault.pointer))
        )
        super().__init__(format_faults(self.faults))


def json_pointer(path: DocumentPath) -> str:
    """The JSON pointer of a path, by RFC 6901: ``~`` is written ``~0`` and ``/`` is ``~1``."""
    return "".join(f"/{str(part).replace('~', '~0').replace('/', '~1')}" for part in path)


def format_faults(faults: Iterable[CatalogueFault]) -> str:
    """One line a fault: ``file:line: pointer: message``, leaving out what is not known."""
    return "\n".join(_line(fault) for fault in faults)


def _line(fault: CatalogueFault) -> str:
    place = fault.file if fault.line is None else f"{fault.file}:{fault.line}"
    parts = [place, fault.pointer, " ".join(fault.message.split())]
    return ": ".join(part for part in parts if part)
