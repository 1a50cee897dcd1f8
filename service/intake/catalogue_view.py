"""The catalogue as a storefront sees it: what can be chosen, and nothing of cost or supply."""

from __future__ import annotations

from collections.abc import Mapping

from service.domain.blanks import Blank
from service.domain.compiled import CompiledCatalogue
from service.domain.media import Medium
from service.intake.answers import Answer


class ColourView(Answer):
    """A colour a blank is stocked in."""

    id: str
    name: str
    srgb: str


class AreaView(Answer):
    """The largest print at a placement, in mm."""

    width_mm: float
    height_mm: float


class PlacementView(Answer):
    """A placement and its area by size."""

    id: str
    name: str
    areas: Mapping[str, AreaView]


class BlankView(Answer):
    """A blank that can be ordered."""

    id: str
    name: str
    style: str
    fibre_content: str
    weight_g_m2: float
    wearer: str
    colours: tuple[ColourView, ...]
    sizes: tuple[str, ...]
    placements: tuple[PlacementView, ...]


class MethodView(Answer):
    """A method that can be asked for."""

    id: str
    name: str
    feel: str
    film_colours: Mapping[str, tuple[ColourView, ...]]


class CatalogueAnswer(Answer):
    """The catalogue in force. ``invented`` marks demonstration data."""

    version: str
    shop: str
    invented: bool
    currency: str
    time_zone: str
    blanks: tuple[BlankView, ...]
    methods: tuple[MethodView, ...]
    supplied_placements: tuple[str, ...]


def catalogue_answer(compiled: CompiledCatalogue) -> CatalogueAnswer:
    """The storefront's view of a catalogue version."""
    catalogue = compiled.catalogue
    return CatalogueAnswer(
        version=compiled.version,
        shop=catalogue.shop.name,
        invented=catalogue.shop.invented,
        currency=catalogue.prices.currency,
        time_zone=catalogue.calendar.time_zone,
        blanks=tuple(_blank(blank) for blank in catalogue.blanks),
        methods=tuple(
            MethodView(
                id=method.id,
                name=method.name,
                feel=method.feel,
                film_colours={
                    layer.id: _film_colours(layer) for layer in compiled.chains[method.id].layers
                },
            )
            for method in catalogue.methods
        ),
        supplied_placements=tuple(p.id for p in catalogue.policy.supplied_placements),
    )


def _blank(blank: Blank) -> BlankView:
    return BlankView(
        id=blank.id,
        name=blank.name,
        style=blank.style,
        fibre_content=blank.fibre_content.words(),
        weight_g_m2=blank.weight_g_m2,
        wearer=blank.wearer,
        colours=tuple(ColourView(id=c.id, name=c.name, srgb=c.srgb) for c in blank.colours),
        sizes=tuple(size.size for size in blank.sizes),
        placements=tuple(
            PlacementView(
                id=placement.id,
                name=placement.name,
                areas={
                    size: AreaView(width_mm=area.width_mm, height_mm=area.height_mm)
                    for size, area in placement.areas.items()
                },
            )
            for placement in blank.placements
        ),
    )


def _film_colours(medium: Medium) -> tuple[ColourView, ...]:
    return tuple(ColourView(id=c.id, name=c.name, srgb=c.srgb) for c in medium.colours)
