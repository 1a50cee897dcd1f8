"""What a line needs: pieces to start, minutes at stations, roll length, ink and press strokes.

Built from the catalogue's data and the line alone, so that costing, promising and the ticket read
one and the same account.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from functools import lru_cache

from service.domain.artwork import ArtworkMeasures
from service.domain.machines import Plotter, Printer
from service.domain.media import Medium
from service.domain.memo import Same
from service.domain.methods import HEATED, Method, Operation, OperationKind
from service.domain.money import wide_arithmetic
from service.domain.roll import DoesNotFit, Layout, Strip, lay_out, micrometres, misfit
from service.domain.shop import Catalogue
from service.domain.wishes import Decoration, Line

ONCE_PER_LINE = frozenset({OperationKind.PACK})
"""Operations done once for a line however many decorations it has, after all others."""

_UM_PER_MM = 1_000
UM2_PER_M2 = Decimal(10) ** 12
_INK_STEP_ML = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class OperationWork:
    """One operation of a line, for all pieces to start.

    ``decoration`` is the index of the line's decoration it belongs to. ``setup_min`` is 0 where
    the set-up is shared with an earlier operation of the line.
    """

    decoration: int
    kind: OperationKind
    station: str
    machine: str | None
    medium: str | None
    setup_min: Decimal
    each_min: Decimal
    starts: int
    wait_min: int

    @property
    def run_min(self) -> Decimal:
        """Minutes at work on the pieces."""
        return self.each_min * self.starts

    @property
    def minutes(self) -> Decimal:
        """Attended minutes, set-up and run."""
        return self.setup_min + self.run_min


@dataclass(frozen=True, slots=True)
class MediumUse:
    """One medium of one decoration, and how the pieces to start lie on it."""

    decoration: int
    medium: str
    pieces: int
    layout: Layout


@dataclass(frozen=True, slots=True)
class InkUse:
    """Ink that one printing of one decoration takes, for all pieces to start."""

    decoration: int
    printer: str
    medium: str
    ml: Decimal


@dataclass(frozen=True, slots=True)
class LineWork:
    """Everything a line needs. ``blank_id`` is None when the customer brings the garment.

    ``starts`` is how many pieces are begun so that enough come out good; ``strikes`` is how often
    the press closes for them; ``artworks`` counts the different pictures.
    """

    blank_id: str | None
    pieces_by_size: Mapping[str, int]
    starts: int
    operations: tuple[OperationWork, ...]
    media: tuple[MediumUse, ...]
    ink: tuple[InkUse, ...]
    strikes: int
    artworks: int

    @property
    def pieces(self) -> int:
        """Good pieces wanted, over all sizes."""
        return sum(self.pieces_by_size.values())

    @property
    def lengths_mm(self) -> dict[str, float]:
        """Length in mm of each medium by id, over all decorations."""
        lengths: dict[str, Decimal] = {}
        for use in self.media:
            lengths[use.medium] = lengths.get(use.medium, Decimal(0)) + use.layout.length_mm
        return {medium: float(length) for medium, length in lengths.items()}


def starts_for(good_pieces: int, spoilage_share: Decimal) -> int:
    """How many pieces to start so that ``good_pieces`` come out good.

    The pieces and, on top, the expected share of them rounded up (common practice, no source: 100
    at 3 % are 103 starts). A quantile of the shop's own spoilage can take this rule's place
    without a change to any caller. ValueError below one piece or for a share outside 0 to 1.
    """
    if good_pieces < 1 or not 0 <= spoilage_share < 1:
        raise ValueError(f"{good_pieces} pieces at a spoilage of {spoilage_share} make no sense")
    return good_pieces + math.ceil(good_pieces * spoilage_share)


def inked_share(artwork: ArtworkMeasures) -> Decimal:
    """Share of the print's box that takes ink; soft edges and white are counted in full."""
    share = Decimal(str(artwork.opaque_share)) + Decimal(str(artwork.soft_alpha_share))
    return min(Decimal(1), share)


def misfits(
    catalogue: Catalogue, method: Method, width_mm: float, height_mm: float
) -> tuple[DoesNotFit, ...]:
    """The media of ``method`` that have no room for a piece of that size; empty when all have."""
    strips = _strips(Same(catalogue), Same(method))
    found = (misfit(strip, width_mm, height_mm) for strip in strips)
    return tuple(fault for fault in found if fault is not None)


def widest_on_media(catalogue: Catalogue, method: Method, aspect: float) -> float:
    """The greatest width in mm of a piece ``aspect`` times as high that all media have room for.

    Infinity for a method without media. :func:`misfits` is empty up to it and for at most the half
    micrometre beyond that it rounds away.
    """
    strips = _strips(Same(catalogue), Same(method))
    return min((_widest_on(strip, aspect) for strip in strips), default=math.inf)


def _widest_on(strip: Strip, aspect: float) -> float:
    along_um = math.inf if strip.sheet_um is None else strip.sheet_um
    widest_um = min(strip.width_um, along_um / aspect)
    if strip.may_turn:
        widest_um = max(widest_um, min(along_um, strip.width_um / aspect))
    return widest_um / _UM_PER_MM


def line_work(catalogue: Catalogue, line: Line) -> LineWork:
    """Account for ``line``, whose every decoration names the method it is made by.

    Raises :class:`DoesNotFit` when a piece is larger than its roll or sheet (a check of
    :func:`misfits` comes first), ValueError for a size with no pieces or an undecided method.
    """
    for size, pieces in line.pieces_by_size.items():
        if pieces < 1:
            raise ValueError(f"size {size} has {pieces} pieces; at least 1 is needed")
    starts = starts_for(line.pieces, catalogue.prices.spoilage_share)
    methods = [_method(catalogue, decoration) for decoration in line.decorations]
    operations = tuple(_operations(methods, starts))
    return LineWork(
        blank_id=line.garment.blank_id,
        pieces_by_size=dict(line.pieces_by_size),
        starts=starts,
        operations=operations,
        media=tuple(_media_uses(catalogue, line, methods, starts)),
        ink=tuple(_ink_uses(catalogue, line, methods, starts)),
        strikes=starts * sum(operation.kind in HEATED for operation in operations),
        artworks=len({decoration.artwork_id for decoration in line.decorations}),
    )


def _method(catalogue: Catalogue, decoration: Decoration) -> Method:
    if decoration.method_id is None:
        raise ValueError(f"no method was chosen for the artwork at {decoration.placement_id}")
    return catalogue.method_by_id[decoration.method_id]


def _operations(methods: list[Method], starts: int) -> Iterator[OperationWork]:
    """Operations in working order; a set-up that several share is counted once, the longest."""
    every = [(index, step) for index, method in enumerate(methods) for step in method.operations]
    last = {step.kind: (index, step) for index, step in every if step.kind in ONCE_PER_LINE}
    ordered = [(i, step) for i, step in every if step.kind not in ONCE_PER_LINE] + [*last.values()]
    setups: dict[tuple[str, OperationKind, str | None], Decimal] = {}
    for _, step in ordered:
        setups[_setup(step)] = max(setups.get(_setup(step), Decimal(0)), step.setup_min)
    for index, step in ordered:
        yield OperationWork(
            decoration=index,
            kind=step.kind,
            station=step.station,
            machine=step.machine,
            medium=step.medium,
            setup_min=setups.pop(_setup(step), Decimal(0)),
            each_min=step.each_min,
            starts=starts,
            wait_min=step.wait_min,
        )


def _setup(step: Operation) -> tuple[str, OperationKind, str | None]:
    """What has to be the same for a station to go on without being set up anew."""
    return step.station, step.kind, step.medium


def _ink_uses(
    catalogue: Catalogue, line: Line, methods: list[Method], starts: int
) -> Iterator[InkUse]:
    for index, (decoration, method) in enumerate(zip(line.decorations, methods, strict=True)):
        area_um2 = micrometres(decoration.width_mm) * micrometres(decoration.height_mm) * starts
        for step in method.operations:
            printer = catalogue.machine_by_id.get(step.machine or "")
            if step.kind is not OperationKind.PRINT or not isinstance(printer, Printer):
                continue
            with wide_arithmetic():
                full_ml = Decimal(area_um2) / UM2_PER_M2 * Decimal(str(printer.ink_ml_m2))
                ml = (full_ml * inked_share(decoration.artwork)).quantize(
                    _INK_STEP_ML, ROUND_CEILING
                )
            yield InkUse(index, printer.id, step.medium or "", ml)


def _media_uses(
    catalogue: Catalogue, line: Line, methods: list[Method], starts: int
) -> Iterator[MediumUse]:
    for index, (decoration, method) in enumerate(zip(line.decorations, methods, strict=True)):
        for medium in media_of(catalogue, method):
            strip = strip_on(catalogue, method, medium)
            layout = lay_out(strip, decoration.width_mm, decoration.height_mm, starts)
            yield MediumUse(index, medium.id, starts, layout)


def media_of(catalogue: Catalogue, method: Method) -> tuple[Medium, ...]:
    """Each medium the method works on, once, in order of its first operation."""
    ids = dict.fromkeys(step.medium for step in method.operations if step.medium)
    return tuple(catalogue.medium_by_id[id_] for id_ in ids)


@lru_cache(maxsize=1_024)
def _strips(catalogue: Same[Catalogue], method: Same[Method]) -> tuple[Strip, ...]:
    """What each of the method's media leaves to lie on, worked out once for a version."""
    media = media_of(catalogue.it, method.it)
    return tuple(strip_on(catalogue.it, method.it, medium) for medium in media)


def strip_on(catalogue: Catalogue, method: Method, medium: Medium) -> Strip:
    """Where pieces may lie on one of the method's media, as its printers and plotters take it."""
    machines = (
        catalogue.machine_by_id.get(step.machine or "")
        for step in method.operations
        if step.medium == medium.id
    )
    return Strip.of(
        medium,
        [machine.max_width_mm for machine in machines if isinstance(machine, Printer | Plotter)],
    )
