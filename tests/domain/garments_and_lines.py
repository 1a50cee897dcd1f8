"""Garments, artworks and lines made to measure, on the demo shop's methods. All invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour, ShapeMeasures
from service.domain.blanks import Finish, Placement, PlacementArea, Wearer
from service.domain.colour import lab_from_srgb_hex
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.fibres import FibreContent
from service.domain.garments import Garment
from service.domain.verdict import MethodVerdict, judge
from service.domain.wishes import Consent, Decoration, Line

PLAIN_SHAPE = ShapeMeasures(
    pieces=1, holes=0, outline_length=3.0, smallest_feature=0.05, smallest_gap=1.0
)
"""One piece without holes, a twentieth of its width at its thinnest."""


@lru_cache(maxsize=1)
def demo_shop() -> CompiledCatalogue:
    """The invented demo shop, compiled once for all tests of a process."""
    loaded = load_catalogue(demo_shop_path())
    return compile_catalogue(loaded.catalogue, loaded.version)


def artwork(*colours: str, aspect: float = 0.5) -> ArtworkMeasures:
    """A picture 3,000 px wide of equal shares of the given colours; red if none is given."""
    named = colours or ("#c01020",)
    height = max(1, round(3_000 * aspect))
    return ArtworkMeasures(
        width_px=3_000,
        height_px=height,
        ink_box=InkBox(left=0, top=0, width=3_000, height=height),
        has_alpha=True,
        opaque_share=0.6,
        soft_alpha_share=0.0,
        near_white_share=0.0,
        palette=tuple(PaletteColour(srgb=srgb, share=1 / len(named)) for srgb in named),
        shapes=PLAIN_SHAPE,
        photo_like=False,
    )


def cloth(srgb: str = "#ffffff", finish: Finish = Finish.PLAIN, **percents: int) -> Garment:
    """A garment of that colour and fibre content, with a front of 300 x 400 mm in size M."""
    content = FibreContent.of(**(percents or {"cotton": 100}))
    area = PlacementArea(width_mm=300, height_mm=400)
    front = Placement(
        id="front", name="front", from_edge="collar seam", drop_mm=60, areas={"M": area}
    )
    return Garment(
        name="test garment",
        colour_name=srgb,
        face=content,
        whole=content,
        finish=finish,
        weight_g_m2=180,
        wearer=Wearer.ADULT,
        sleepwear=False,
        lab=lab_from_srgb_hex(srgb),
        srgb=srgb,
        half_chest_mm={"M": 510},
        placements={"front": front},
        blank_id="test-garment",
        colour_id=srgb,
    )


def plated(srgb: str, face: Mapping[str, int], **whole: int) -> Garment:
    """A garment whose decorated face has another fibre content than the whole."""
    return replace(cloth(srgb, Finish.PLAIN, **whole), face=FibreContent.of(**face))


def decoration(
    method_id: str | None,
    *,
    width_mm: float = 200,
    art: ArtworkMeasures | None = None,
    film_colour_id: str | None = None,
    consents: frozenset[Consent] = frozenset(),
) -> Decoration:
    """A decoration on the front, 200 mm wide and half as high unless told otherwise."""
    return Decoration(
        placement_id="front",
        artwork_id="art_test",
        artwork=art or artwork(),
        width_mm=width_mm,
        method_id=method_id,
        film_colour_id=film_colour_id,
        consents=consents,
    )


def verdict(garment: Garment, wished: Decoration) -> MethodVerdict:
    """The demo shop's verdict on one piece in size M."""
    line = Line(garment, {"M": 1}, (wished,))
    return judge(demo_shop(), line, wished, wished.method_id or "")


def blockers(given: MethodVerdict) -> set[str]:
    """Ids of the rules that block."""
    return {finding.rule.id for finding in given.findings if finding.severity == "blocks"}


def warners(given: MethodVerdict) -> set[str]:
    """Ids of the rules that warn."""
    return {finding.rule.id for finding in given.findings if finding.severity == "warns"}
