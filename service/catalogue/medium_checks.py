"""Checks of media: prices, margins, and properties of a film that rule each other out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.catalogue.faults import PathFaults
from service.domain.media import Ink, Medium, MediumFamily, Texture
from service.domain.shop import Catalogue

NamedFault = tuple[str, str]
"""The field to change, and what is wrong."""

_FILM_ONLY = ("veil", "blocks_dye", "stretches", "pvc", "sheds_small_parts", "carries_layer")
_TEXTURES = {
    MediumFamily.GLITTER_FILM: Texture.GLITTER,
    MediumFamily.FLOCK_FILM: Texture.FLOCK,
}


def medium_faults(catalogue: Catalogue) -> PathFaults:
    """Faults of every medium by itself, whatever method uses it."""
    for index, medium in enumerate(catalogue.media):
        for field, message in (
            *_price_and_margins(medium),
            *_paper(medium),
            *_family(medium),
            *_surface(medium),
            *_lists(medium),
        ):
            yield ("media", index, field), message


def named_twice(what: str, field: str, names: Sequence[str]) -> Iterator[NamedFault]:
    """A fault for each name that stands more than once in a list that is read as a set."""
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield field, f"{what} names '{name}' twice"


def _price_and_margins(medium: Medium) -> Iterator[NamedFault]:
    if medium.price_per_m == 0:
        yield "price_per_m", f"the price of medium '{medium.id}' is missing"
    spans = [(medium.width_mm, "wide"), (medium.sheet_length_mm or 0.0, "long")]
    for span_mm, way in spans:
        if span_mm and 2 * medium.margin_mm >= span_mm:
            what = (
                f"margins of {medium.margin_mm:g} mm leave nothing of medium '{medium.id}', "
                f"{span_mm:g} mm {way}"
            )
            yield "margin_mm", what


def _paper(medium: Medium) -> Iterator[NamedFault]:
    """What is said of paper, which does not stay on the cloth, and can only be said of a film."""
    if medium.stays_on_cloth:
        return
    for field in _FILM_ONLY:
        if getattr(medium, field):
            what = f"{field} describes a film on the cloth, and medium '{medium.id}' does not stay"
            yield field, what
    if medium.texture is not Texture.SMOOTH:
        what = f"texture describes a film on the cloth, and medium '{medium.id}' does not stay"
        yield "texture", what


def _family(medium: Medium) -> Iterator[NamedFault]:
    """A family that the medium's own properties deny; customers read it, rules do not."""
    family, label = medium.family, f"medium '{medium.id}' is of family {medium.family}"
    if (family is MediumFamily.DYE_PAPER) == medium.stays_on_cloth:
        stays = "stays" if medium.stays_on_cloth else "does not stay"
        yield "family", f"{label}, and it {stays} on the cloth"
    wanted = _TEXTURES.get(family)
    if wanted is not None and medium.texture is not wanted:
        yield "texture", f"{label}, and its texture is {medium.texture}"
    if family is MediumFamily.DYE_PAPER and Ink.DYE not in medium.prints_with:
        yield "prints_with", f"{label}, and it takes no dye"
    if family is MediumFamily.PRINTABLE_FILM and not medium.prints_with:
        yield "prints_with", f"{label}, and it takes no ink"
    if family is MediumFamily.DYE_FILM and medium.dye_share == 0:
        yield "dye_share", f"{label}, and no part of its face holds dye"


def _surface(medium: Medium) -> Iterator[NamedFault]:
    if medium.pvc and medium.dye_share > 0:
        what = (
            f"medium '{medium.id}' is PVC: its face is no polyester and does not bear the heat of "
            "dye, so dye_share is 0"
        )
        yield "dye_share", what
    if medium.carries_layer and medium.texture is not Texture.SMOOTH:
        what = (
            f"medium '{medium.id}' has a {medium.texture} face, to which no film bonds, so "
            "carries_layer is false"
        )
        yield "carries_layer", what


def _lists(medium: Medium) -> Iterator[NamedFault]:
    label = f"medium '{medium.id}'"
    yield from named_twice(label, "bonds_to", medium.bonds_to)
    yield from named_twice(label, "not_on_finishes", medium.not_on_finishes)
    yield from named_twice(label, "prints_with", medium.prints_with)
