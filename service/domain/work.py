"""What a line needs: pieces to start, minutes at stations, roll length, ink and press strokes.

Built from the catalogue's data and the line alone, so that costing, promising and the ticket read
one and the same account.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal
from functools import lru_cache

from service.domain.artwork import ArtworkMeasures
from service.domain.machines import Plotter, Printer
from service.domain.media import Medium
from service.domain.memo import Same
from service.domain.methods import HEATED, Method, Operation, OperationKind
from service.domain.money import wide_arithmetic
from service.domain.price_book import StartsBy
from service.domain.redo_cost import redo_ratio
from service.domain.roll import DoesNotFit, Layout, Strip, lay_out, micrometres, misfit
from service.domain.shop import Catalogue
from service.domain.spoilage import SpoilageSeen
from service.domain.starts import NOTHING_SEEN, StartsTable, starts_table
from service.domain.wishes import Decoration, Line

ONCE_PER_LINE = frozenset({OperationKind.PACK})
"""Operations done once for a line however many decorations it has, after all others."""

_UM_PER_MM = 1_000
UM2_PER_M2 = Decimal(10) ** 12
_INK_STEP_ML = Decimal("0.0001")
_MINUTE_STEP = Decimal("0.0001")
_MM_PER_M = 1_000
_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class OperationWork:
    """One operation of a line, for all pieces to start.

    ``decoration`` is the index of the line's decoration it belongs to. ``setup_min`` is for the
    job and ``run_setup_min`` for the run it is taken to be; both are 0 where the set-up is shared
    with an earlier operation of the line. A person is there for ``each_min`` of every piece; for
    ``machine_each_min`` more the machine works alone.
    """

    decoration: int
    kind: OperationKind
    station: str
    machine: str | None
    medium: str | None
    setup_min: Decimal
    run_setup_min: Decimal
    each_min: Decimal
    machine_each_min: Decimal
    starts: int
    wait_min: int

    @property
    def run_min(self) -> Decimal:
        """Attended minutes at work on the pieces."""
        return self.each_min * self.starts

    @property
    def machine_min(self) -> Decimal:
        """Minutes in which the machine works on the pieces alone."""
        return self.machine_each_min * self.starts

    @property
    def minutes(self) -> Decimal:
        """Minutes the station is taken: set-ups, run and machine."""
        return self.setup_min + self.run_setup_min + self.run_min + self.machine_min


@dataclass(frozen=True, slots=True)
class MediumUse:
    """One medium of one decoration, and how the pieces to start lie on it."""

    decoration: int
    medium: str
    pieces: int
    layout: Layout


@dataclass(frozen=True, slots=True)
class InkUse:
    """Ink that one printing of one decoration takes, for all pieces to start or for one."""

    decoration: int
    printer: str
    medium: str
    ml: Decimal


@dataclass(frozen=True, slots=True)
class FilmOfPiece:
    """One medium of one decoration, where a piece of that size in mm lies on it."""

    decoration: int
    strip: Strip
    width_mm: float
    height_mm: float

    def lay_out(self, starts: int) -> Layout:
        """How that many lie; raises :class:`DoesNotFit` where none has room."""
        return lay_out(self.strip, self.width_mm, self.height_mm, starts)


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


class OutlineUnknown(Exception):
    """Work hangs on the outline of an artwork of which none was measured."""

    def __init__(self, artwork_id: str) -> None:
        """Keep the id of the artwork."""
        super().__init__(f"no outline was measured of artwork '{artwork_id}'")
        self.artwork_id = artwork_id


@dataclass(frozen=True, slots=True)
class LineAccount:
    """What a line needs for one piece, from which follows what it needs for any number.

    ``operations`` and ``ink`` are of one piece started, set-ups those of the whole job.
    """

    line: Line
    starts: StartsTable
    operations: tuple[OperationWork, ...]
    films: tuple[FilmOfPiece, ...]
    ink: tuple[InkUse, ...]

    def work(self) -> LineWork:
        """Everything the line needs; raises :class:`DoesNotFit`."""
        starts = self.starts.of(self.line.pieces)
        return LineWork(
            blank_id=self.line.garment.blank_id,
            pieces_by_size=dict(self.line.pieces_by_size),
            starts=starts,
            operations=tuple(replace(step, starts=starts) for step in self.operations),
            media=tuple(
                MediumUse(film.decoration, film.strip.medium, starts, film.lay_out(starts))
                for film in self.films
            ),
            ink=tuple(replace(one, ml=one.ml * starts) for one in self.ink),
            strikes=starts * sum(step.kind in HEATED for step in self.operations),
            artworks=len(self.line.artwork_ids),
        )


def inked_share(artwork: ArtworkMeasures) -> Decimal:
    """Share of the print's box that takes ink; soft edges and white are counted in full."""
    share = Decimal(str(artwork.opaque_share)) + Decimal(str(artwork.soft_alpha_share))
    return min(Decimal(1), share)


def ink_share(artwork: ArtworkMeasures) -> Decimal:
    """Share of full cover that the print's ink is: by its colours, or by all that shows.

    The latter where the ink of its colours was not measured.
    """
    return inked_share(artwork) if artwork.ink is None else exact(artwork.ink.colour)


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


def line_work(
    catalogue: Catalogue, line: Line, seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN
) -> LineWork:
    """Account for ``line``, whose every decoration names the method it is made by.

    ``seen`` is the spoilage seen by method, which decides how many pieces are started. Raises
    :class:`DoesNotFit` when a piece is larger than its roll or sheet (a check of :func:`misfits`
    comes first), :class:`OutlineUnknown` when work hangs on an outline that was never measured,
    ValueError for a size with no pieces or an undecided method.
    """
    return line_account(catalogue, line, seen).work()


def line_account(
    catalogue: Catalogue, line: Line, seen: Mapping[str, SpoilageSeen] = NOTHING_SEEN
) -> LineAccount:
    """What one piece of ``line`` needs; errors as :func:`line_work`, but for what does not fit."""
    for size, pieces in line.pieces_by_size.items():
        if pieces < 1:
            raise ValueError(f"size {size} has {pieces} pieces; at least 1 is needed")
    methods = [_method(catalogue, decoration) for decoration in line.decorations]
    operations = tuple(_operations(line.decorations, methods))
    films = tuple(_films(catalogue, line, methods))
    ink = tuple(_ink_uses(catalogue, line, methods))
    by_cost = catalogue.prices.starts_by is StartsBy.REDO_COST
    ratio = redo_ratio(catalogue, line, operations, films, ink) if by_cost else None
    return LineAccount(
        line=line,
        starts=starts_table(catalogue.prices, methods, seen, ratio),
        operations=operations,
        films=films,
        ink=ink,
    )


def _method(catalogue: Catalogue, decoration: Decoration) -> Method:
    if decoration.method_id is None:
        raise ValueError(f"no method was chosen for the artwork at {decoration.placement_id}")
    return catalogue.method_by_id[decoration.method_id]


def _operations(
    decorations: Sequence[Decoration], methods: Sequence[Method]
) -> Iterator[OperationWork]:
    """Operations of one piece in working order; of a set-up several share the longest counts."""
    every = [(index, step) for index, method in enumerate(methods) for step in method.operations]
    last = {step.kind: (index, step) for index, step in every if step.kind in ONCE_PER_LINE}
    ordered = [(i, step) for i, step in every if step.kind not in ONCE_PER_LINE] + [*last.values()]
    setups: dict[_SetUp, tuple[Decimal, Decimal]] = {}
    for _, step in ordered:
        job, run = setups.get(_setup(step), (_ZERO, _ZERO))
        setups[_setup(step)] = max(job, step.setup_min), max(run, step.run_setup_min)
    for index, step in ordered:
        job, run = setups.pop(_setup(step), (_ZERO, _ZERO))
        attended, alone = minutes_each(step, decorations[index])
        yield OperationWork(
            decoration=index,
            kind=step.kind,
            station=step.station,
            machine=step.machine,
            medium=step.medium,
            setup_min=job,
            run_setup_min=run,
            each_min=attended,
            machine_each_min=alone,
            starts=1,
            wait_min=step.wait_min,
        )


_SetUp = tuple[str, OperationKind, str | None]


def _setup(step: Operation) -> _SetUp:
    """What has to be the same for a station to go on without being set up anew."""
    return step.station, step.kind, step.medium


def minutes_each(step: Operation, decoration: Decoration) -> tuple[Decimal, Decimal]:
    """Minutes of one piece with a person at it, and those of the machine alone.

    Both are kept to four decimals, rounded up. :class:`OutlineUnknown` where they hang on an
    outline that was never measured.
    """
    if not (step.cut_m_min or step.weed_share or step.print_m2_min):
        return step.each_min, _ZERO
    with wide_arithmetic():
        attended, alone = step.each_min, _ZERO
        if step.cut_m_min or step.weed_share:
            at = decoration.artwork.at(decoration.width_mm)
            if at.cut_length_mm is None or at.weed_min is None:
                raise OutlineUnknown(decoration.artwork_id)
            attended += step.weed_share * exact(at.weed_min)
            alone += step.cut_m_min * exact(at.cut_length_mm) / _MM_PER_M
        alone += step.print_m2_min * Decimal(_area_um2(decoration)) / UM2_PER_M2
        return _up(attended, _MINUTE_STEP), _up(alone, _MINUTE_STEP)


def _area_um2(decoration: Decoration) -> int:
    return micrometres(decoration.width_mm) * micrometres(decoration.height_mm)


def exact(measured: float) -> Decimal:
    """A measured float as the decimal number it is written as."""
    return Decimal(str(measured))


def _up(amount: Decimal, step: Decimal) -> Decimal:
    return amount.quantize(step, ROUND_CEILING)


def _ink_uses(catalogue: Catalogue, line: Line, methods: Sequence[Method]) -> Iterator[InkUse]:
    """Ink of one piece, each printing rounded up to a ten-thousandth of a millilitre."""
    for index, (decoration, method) in enumerate(zip(line.decorations, methods, strict=True)):
        share = ink_share(decoration.artwork)
        for step in method.operations:
            printer = catalogue.machine_by_id.get(step.machine or "")
            if step.kind is not OperationKind.PRINT or not isinstance(printer, Printer):
                continue
            with wide_arithmetic():
                full_ml = Decimal(_area_um2(decoration)) / UM2_PER_M2 * exact(printer.ink_ml_m2)
                ml = _up(full_ml * share, _INK_STEP_ML)
            yield InkUse(index, printer.id, step.medium or "", ml)


def _films(catalogue: Catalogue, line: Line, methods: Sequence[Method]) -> Iterator[FilmOfPiece]:
    for index, (decoration, method) in enumerate(zip(line.decorations, methods, strict=True)):
        for medium in media_of(catalogue, method):
            strip = strip_on(catalogue, method, medium)
            yield FilmOfPiece(index, strip, decoration.width_mm, decoration.height_mm)


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
