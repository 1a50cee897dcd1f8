"""Standard minutes of operations: as written in the catalogue's files, and as accepted since.

A change that was learnt is accepted for the figures that were written. It holds as long as the file
still says those; whoever edits the file has the last word, and learning begins anew from there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, NamedTuple

from service.domain.learning import Cell
from service.domain.methods import Method, Operation
from service.domain.shop import Catalogue

EACH_STEP: Final = Decimal("0.001")
"""Proposed minutes are whole thousandths, 60 milliseconds: finer than anyone can measure, and fine
enough for a share of a short one."""

SHARE_STEP: Final = Decimal("0.0001")
MOST_MINUTES: Final = Decimal(10_000)
MOST_SHARE: Final = Decimal(10)
"""The catalogue's own bounds."""


class StandardMinutes(NamedTuple):
    """Minutes of a person for one piece: so many, and such a share of its estimated weeding."""

    each_min: Decimal
    weed_share: Decimal

    @classmethod
    def of(cls, operation: Operation) -> StandardMinutes:
        """As the operation has them."""
        return cls(operation.each_min, operation.weed_share)

    @property
    def nothing(self) -> bool:
        """Whether nobody is needed, so that there is nothing to learn."""
        return not (self.each_min or self.weed_share)

    def times(self, ratio: float) -> StandardMinutes:
        """So many times the minutes, rounded to what is written in a catalogue, within its bounds.

        What is something stays something.
        """
        factor = Decimal(repr(ratio))
        each = _rounded(self.each_min * factor, EACH_STEP, MOST_MINUTES)
        return StandardMinutes(each, _rounded(self.weed_share * factor, SHARE_STEP, MOST_SHARE))


def plain(number: Decimal) -> Decimal:
    """The number without zeros behind its point, so that equal figures are written alike."""
    whole = number.to_integral_value()
    return whole.quantize(Decimal(1)) if whole == number else number.normalize()


def _rounded(amount: Decimal, step: Decimal, most: Decimal) -> Decimal:
    return plain(min(max(amount.quantize(step), step), most)) if amount else Decimal(0)


class OperationName(NamedTuple):
    """An operation of a method: ``press``, and ``press-2`` for its second of that kind."""

    method: str
    operation: str


@dataclass(frozen=True, slots=True)
class NamedOperation:
    """An operation by its name, at its place in the method, counted from 0."""

    name: OperationName
    index: int
    operation: Operation

    @property
    def cell(self) -> Cell:
        """Where its jobs are gathered: with those of its kind at its station."""
        return Cell(self.name.method, self.operation.kind, self.operation.station)


@dataclass(frozen=True, slots=True)
class AcceptedMinutes:
    """Minutes accepted for an operation at a station, in place of those that were written."""

    name: OperationName
    station: str
    written: StandardMinutes
    accepted: StandardMinutes


def operations_of(method: Method) -> Iterator[NamedOperation]:
    """The method's operations by name, in its order."""
    so_far: Counter[str] = Counter()
    for index, operation in enumerate(method.operations):
        so_far[operation.kind] += 1
        word, count = operation.kind.replace("_", "-"), so_far[operation.kind]
        name = word if count == 1 else f"{word}-{count}"
        yield NamedOperation(OperationName(method.id, name), index, operation)


def all_operations(catalogue: Catalogue) -> Iterator[NamedOperation]:
    """Every operation of every method, in the catalogue's order."""
    for method in catalogue.methods:
        yield from operations_of(method)


def with_accepted(catalogue: Catalogue, accepted: Iterable[AcceptedMinutes]) -> Catalogue:
    """The catalogue of the files with what was accepted for them, the latest last.

    What was accepted for other figures than the files say, or for another station, is left out.
    """
    latest = {(one.name, one.station): one for one in accepted}
    minutes = {}
    for one in all_operations(catalogue):
        found = latest.get((one.name, one.operation.station))
        if found is not None and found.written == StandardMinutes.of(one.operation):
            minutes[one.name] = found.accepted
    return with_minutes(catalogue, minutes)


def with_minutes(
    catalogue: Catalogue, minutes: Mapping[OperationName, StandardMinutes]
) -> Catalogue:
    """The catalogue with other minutes of the named operations; itself where nothing changes."""
    methods = tuple(_changed(method, minutes) for method in catalogue.methods)
    if all(new is old for new, old in zip(methods, catalogue.methods, strict=True)):
        return catalogue
    return catalogue.model_copy(update={"methods": methods})


def _changed(method: Method, minutes: Mapping[OperationName, StandardMinutes]) -> Method:
    operations = list(method.operations)
    for one in operations_of(method):
        wanted = minutes.get(one.name)
        if wanted is not None and wanted != StandardMinutes.of(one.operation):
            operations[one.index] = one.operation.model_copy(update=wanted._asdict())
    if operations == list(method.operations):
        return method
    return method.model_copy(update={"operations": tuple(operations)})


def as_written(
    catalogue: Catalogue, accepted: Iterable[AcceptedMinutes]
) -> dict[OperationName, StandardMinutes]:
    """What the files say of each operation of a version in which accepted changes hold."""
    latest = {(one.name, one.station, one.accepted): one.written for one in accepted}
    written = {}
    for one in all_operations(catalogue):
        now = StandardMinutes.of(one.operation)
        written[one.name] = latest.get((one.name, one.operation.station, now), now)
    return written
