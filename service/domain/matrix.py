"""What works on what: every method on every blank, judged with an artwork invented for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour, ShapeMeasures
from service.domain.blanks import Blank, ClothColour, Placement
from service.domain.compiled import CompiledCatalogue
from service.domain.methods import Method
from service.domain.rules import Severity
from service.domain.shop import Policy
from service.domain.verdict import MethodVerdict, judge
from service.domain.wishes import Decoration, Line

WIDEST_MM = 200.0
"""Prints are judged at this width, or at the widest that fits the placement in every size."""


class Mark(StrEnum):
    """How a method does on a garment, best first."""

    WORKS = "A"
    WARNS = "W"
    REFUSED = "R"


class ClothGroup(StrEnum):
    """How light the cloth is, by the shop's policy."""

    LIGHT = "light"
    MEDIUM = "medium"
    DARK = "dark"


@dataclass(frozen=True, slots=True)
class Sample:
    """An invented artwork to judge by; a designer would change it ``on_dark`` cloth."""

    words: str
    usual: ArtworkMeasures
    on_dark: ArtworkMeasures

    def on(self, group: ClothGroup) -> ArtworkMeasures:
        """The artwork for cloth of that group."""
        return self.on_dark if group is ClothGroup.DARK else self.usual


@dataclass(frozen=True, slots=True)
class Cell:
    """One method on one blank in the colours of one group.

    ``best`` and ``worst`` are how it does on the colours that suit it best and worst. ``reason``
    is the first reason of the ``worst``, met in the colour named; empty where all works.
    """

    best: Mark
    worst: Mark
    colour: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MatrixRow:
    """A blank in the colours of one group; ``cells`` follow the methods of the matrix."""

    blank_id: str
    blank: str
    group: ClothGroup
    colours: tuple[str, ...]
    placement: str
    width_mm: float
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Matrix:
    """The table of one catalogue version."""

    shop: str
    invented: bool
    version: str
    sample: Sample
    methods: tuple[Method, ...]
    rows: tuple[MatrixRow, ...]


def matrix_of(compiled: CompiledCatalogue, sample: Sample) -> Matrix:
    """Judge every method on every blank, about a third of a millisecond for each colour.

    Each blank is judged at its first placement that crosses nothing raised, with one piece of every
    size that can be had and no consent given.
    """
    catalogue = compiled.catalogue
    return Matrix(
        shop=catalogue.shop.name,
        invented=catalogue.shop.invented,
        version=compiled.version,
        sample=sample,
        methods=catalogue.methods,
        rows=tuple(
            _row(compiled, blank, group, colours, sample)
            for blank in catalogue.blanks
            for group, colours in _by_group(compiled, blank)
        ),
    )


def cloth_group(lightness: float, policy: Policy) -> ClothGroup:
    """The group of cloth of that CIELAB L*."""
    if lightness >= policy.light_lightness:
        return ClothGroup.LIGHT
    return ClothGroup.MEDIUM if lightness >= policy.medium_lightness else ClothGroup.DARK


def usual_placement(blank: Blank) -> Placement:
    """The first placement that crosses nothing raised; the first of all where each does."""
    return next((one for one in blank.placements if not one.crosses), blank.placements[0])


def standard_width_mm(blank: Blank, artwork: ArtworkMeasures, policy: Policy) -> float:
    """The widest print up to 200 mm that fits the usual placement in every size of the blank."""
    areas = usual_placement(blank).areas.values()
    height_per_width = artwork.height_mm_at(1.0)
    return min(
        WIDEST_MM,
        *(area.width_mm for area in areas),
        *(area.height_mm / height_per_width for area in areas),
        *(policy.print_share_of_half_chest * size.half_chest_mm for size in blank.sizes),
    )


def _by_group(
    compiled: CompiledCatalogue, blank: Blank
) -> Iterator[tuple[ClothGroup, Sequence[ClothColour]]]:
    grouped: dict[ClothGroup, list[ClothColour]] = {group: [] for group in ClothGroup}
    for colour in blank.colours:
        lightness = compiled.garments[blank.id, colour.id].lab.lightness
        grouped[cloth_group(lightness, compiled.catalogue.policy)].append(colour)
    return ((group, colours) for group, colours in grouped.items() if colours)


def _row(
    compiled: CompiledCatalogue,
    blank: Blank,
    group: ClothGroup,
    colours: Sequence[ClothColour],
    sample: Sample,
) -> MatrixRow:
    artwork, placement = sample.on(group), usual_placement(blank)
    width_mm = standard_width_mm(blank, artwork, compiled.catalogue.policy)
    lines = [_line(compiled, blank, colour, placement, artwork, width_mm) for colour in colours]
    return MatrixRow(
        blank_id=blank.id,
        blank=blank.name,
        group=group,
        colours=tuple(colour.name for colour in colours),
        placement=placement.name,
        width_mm=width_mm,
        cells=tuple(_cell(compiled, method, lines) for method in compiled.catalogue.methods),
    )


def _line(
    compiled: CompiledCatalogue,
    blank: Blank,
    colour: ClothColour,
    placement: Placement,
    artwork: ArtworkMeasures,
    width_mm: float,
) -> Line:
    sizes = [size.size for size in blank.sizes]
    obtainable = [size for size in sizes if size not in colour.unobtainable_sizes]
    decoration = Decoration(placement.id, "art_sample", artwork, width_mm)
    pieces = dict.fromkeys(obtainable or sizes, 1)
    return Line(compiled.garments[blank.id, colour.id], pieces, (decoration,))


def _cell(compiled: CompiledCatalogue, method: Method, lines: Sequence[Line]) -> Cell:
    marks = list(Mark)
    seen = [_seen(judge(compiled, line, line.decorations[0], method.id)) for line in lines]
    ranks = [marks.index(mark) for mark, _ in seen]
    worst = ranks.index(max(ranks))
    mark, reason = seen[worst]
    return Cell(marks[min(ranks)], mark, lines[worst].garment.colour_name, reason)


def _seen(verdict: MethodVerdict) -> tuple[Mark, str]:
    grave = verdict.at_least(Severity.WARNS)
    if not grave:
        return Mark.WORKS, ""
    return (Mark.WARNS if verdict.works else Mark.REFUSED), grave[0].reading.reason


def _sample_artwork(*colours: str, near_white_share: float = 0.0) -> ArtworkMeasures:
    """Equal shares of flat colours in one piece on a clear ground, which any blade can cut."""
    share = 1 / len(colours)
    return ArtworkMeasures(
        width_px=3_000,
        height_px=2_400,
        ink_box=InkBox(left=0, top=0, width=3_000, height=2_400),
        has_alpha=True,
        opaque_share=0.6,
        soft_alpha_share=0.0,
        near_white_share=near_white_share,
        palette=tuple(PaletteColour(srgb=srgb, share=share) for srgb in colours),
        shapes=ShapeMeasures(
            pieces=1,
            holes=0,
            outline_length=4.0,
            smallest_feature=0.04,
            smallest_gap=0.04,
        ),
        photo_like=False,
    )


_FOUR_COLOURS = _sample_artwork("#f4b41a", "#2e7d32", "#81b214", "#1565c0")

SAMPLES: Mapping[str, Sample] = MappingProxyType(
    {
        "several-colours": Sample(
            "an invented artwork of four flat colours in one piece", _FOUR_COLOURS, _FOUR_COLOURS
        ),
        "one-colour": Sample(
            "an invented artwork of one flat colour in one piece, black, or white on dark cloth",
            _sample_artwork("#1c1c1e"),
            _sample_artwork("#ffffff", near_white_share=1.0),
        ),
    }
)
"""Artworks to judge by, by name; all invented."""
