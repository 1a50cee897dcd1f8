"""Proofs of every demonstration artwork on every demonstration blank, to look through by eye."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from pathlib import Path

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.demo_artwork import DEMO_ARTWORKS
from service.domain.artwork_preview import ArtworkPreview, preview_of
from service.domain.blanks import Blank, Placement
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.errors import BadInput, FieldFault
from service.domain.measuring import measure
from service.domain.proofs import NO_GUARANTEE, Proof, Standing
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.names import unknown_name
from service.intake.pictures import read_picture
from service.intake.proofs import ProofQuery, plan_proof
from service.render.html_page import html_page
from service.render.proof import draw_proof

GALLERY_PX = 420
WIDEST_MM = 220.0
"""Prints are shown this wide, or as wide as their placement allows."""

_NO_BOUND = 1 << 26
"""Bytes and pixels beyond any of our own drawings."""
_STYLE = (
    "body{font:1rem/1.5 sans-serif;margin:1.5rem;color:#1b1b1b;background:#fff}"
    "ul{display:flex;flex-wrap:wrap;gap:1rem;padding:0;list-style:none}"
    "figure{margin:0;border:1px solid #767676}figcaption{padding:.4em;max-width:26em}"
    "img{display:block;max-width:100%;height:auto}"
)


@dataclass(frozen=True, slots=True)
class GalleryPicture:
    """One picture of the gallery."""

    blank: Blank
    file: str
    proof: Proof


@dataclass(frozen=True, slots=True)
class _Art:
    """The demonstration artworks: what is known of them and their previews, by id."""

    shelved: Mapping[str, ShelvedArtwork]
    previews: Mapping[str, ArtworkPreview]


def write_gallery(
    folder: Path, *, px: int = GALLERY_PX, only: str | None = None
) -> list[GalleryPicture]:
    """Write the proofs as PNG files into the folder, and ``index.html`` to look at them.

    Each artwork is shown on each blank in its lightest and its darkest colour by the best method,
    and once by a method that is refused there. ``only`` names one blank; ``BadInput`` if there is
    none of that name. Takes about a tenth of a second for each picture; the same files each time.
    """
    loaded = load_catalogue(demo_shop_path())
    compiled = compile_catalogue(loaded.catalogue, loaded.version)
    blanks = _blanks(compiled, only)
    folder.mkdir(parents=True, exist_ok=True)
    art = _demo_art()
    shown = [one for blank in blanks for one in _of_blank(compiled, blank, art, folder, px)]
    (folder / "index.html").write_text(_page(shown, px), encoding="utf-8")
    return shown


def _blanks(compiled: CompiledCatalogue, only: str | None) -> Sequence[Blank]:
    known = compiled.catalogue.blank_by_id
    if only is None:
        return compiled.catalogue.blanks
    if only not in known:
        detail = unknown_name("blank", only, known)
        raise BadInput(
            "fields-refused", detail, faults=[FieldFault(detail, parameter="only", code="unknown")]
        )
    return [known[only]]


def _demo_art() -> _Art:
    shelved, previews = {}, {}
    for demo in DEMO_ARTWORKS:
        picture = read_picture(
            demo.draw(), declared_media_type=None, max_pixels=_NO_BOUND, max_bytes=_NO_BOUND
        )
        measures = measure(picture.rgba)
        shelved[demo.id] = ShelvedArtwork("gallery", measures, demo.rights_declared)
        previews[demo.id] = preview_of(picture.rgba, measures.ink_box)
    return _Art(shelved, previews)


def _of_blank(
    compiled: CompiledCatalogue, blank: Blank, art: _Art, folder: Path, px: int
) -> Iterator[GalleryPicture]:
    """The pictures of one blank: colour by colour, so that its drawing is used again."""
    by_lightness = sorted(
        (colour.id for colour in blank.colours),
        key=lambda id_: compiled.garments[blank.id, id_].lab.lightness,
    )
    for colour in dict.fromkeys((by_lightness[-1], by_lightness[0])):
        for index, artwork_id in enumerate(art.shelved):
            query = _query(blank, colour, artwork_id, index, art, px)
            proof = plan_proof(compiled, artwork_id, query, art.shelved)
            yield _written(blank, colour, artwork_id, proof, art, folder, px)
            refused = _refused(compiled, query, artwork_id, art)
            if colour == by_lightness[-1] and proof.standing is not Standing.REFUSED and refused:
                yield _written(blank, colour, artwork_id, refused, art, folder, px)


def _query(
    blank: Blank, colour: str, artwork_id: str, index: int, art: _Art, px: int
) -> ProofQuery:
    """One of the placements that cross nothing, another for the next artwork, filled well."""
    placements = [one for one in blank.placements if not one.crosses] or list(blank.placements)
    placement = placements[index % len(placements)]
    width_mm = _width_mm(placement, art.shelved[artwork_id])
    return ProofQuery(
        blank=blank.id, colour=colour, placement=placement.id, width_mm=width_mm, px=px
    )


def _width_mm(placement: Placement, artwork: ShelvedArtwork) -> float:
    """The widest whole number of mm that fits in every size."""
    areas = placement.areas.values()
    box = artwork.measures.ink_box
    by_height = min(area.height_mm for area in areas) * box.width / box.height
    return float(int(min(WIDEST_MM, by_height, *(area.width_mm for area in areas))))


def _refused(
    compiled: CompiledCatalogue, query: ProofQuery, artwork_id: str, art: _Art
) -> Proof | None:
    """The same by the first method of the catalogue that is refused there, if any is."""
    for method in compiled.catalogue.methods:
        asked = query.model_copy(update={"method": method.id})
        proof = plan_proof(compiled, artwork_id, asked, art.shelved)
        if proof.standing is Standing.REFUSED:
            return proof
    return None


def _written(
    blank: Blank, colour: str, artwork_id: str, proof: Proof, art: _Art, folder: Path, px: int
) -> GalleryPicture:
    words = artwork_id.rpartition("-")[2]
    ending = "-refused" if proof.standing is Standing.REFUSED else ""
    file = f"{blank.id}-{colour}-{words}{ending}.png"
    (folder / file).write_bytes(draw_proof(proof, art.previews[artwork_id], px))
    return GalleryPicture(blank, file, proof)


def _page(shown: Sequence[GalleryPicture], px: int) -> str:
    """All pictures by blank, on a page that loads nothing but them."""
    sections = (
        f"<h2>{escape(blank.name)}</h2><ul>{''.join(_figure(one, px) for one in of_blank)}</ul>"
        for blank, of_blank in groupby(shown, key=lambda one: one.blank)
    )
    return html_page(
        "Invented artworks on invented garments",
        f"<p>Each picture is a {NO_GUARANTEE}.</p>{''.join(sections)}",
        style=_STYLE,
    )


def _figure(one: GalleryPicture, px: int) -> str:
    words = ", ".join([*one.proof.names, one.proof.standing, *filter(None, [one.proof.rule])])
    return (
        f'<li><figure><img src="{escape(one.file)}" alt="{escape(words)}" width="{px}" '
        f'loading="lazy"><figcaption>{escape(words)}</figcaption></figure></li>'
    )
