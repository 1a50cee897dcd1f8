"""Proofs: what a decoration is predicted to look like, planned, drawn once and kept for a while."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Annotated, Protocol

from pydantic import Field

from service.domain.artwork import InkBox
from service.domain.artwork_preview import ArtworkPreview, preview_of
from service.domain.blanks import Blank
from service.domain.chain import Chain
from service.domain.colour import hex_from_srgb, srgb_from_lab
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput
from service.domain.look import surface_of
from service.domain.media import Texture
from service.domain.proof_geometry import (
    FlatGarment,
    on_right_of_wearer,
    placement_box,
    print_box,
    view_of,
)
from service.domain.proofs import Proof, Standing
from service.domain.rules import Severity
from service.domain.values import SizeName, Slug
from service.domain.verdict import MethodVerdict, judge_decoration
from service.domain.wishes import Consent, Decoration, Line
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.byte_bound import ByteBound
from service.intake.kept_pictures import KeptPicture, KeptRow, kept_file, no_such_artwork
from service.intake.picture_room import PictureRoom
from service.intake.pictures import read_picture
from service.intake.requests import (
    ANY_METHOD,
    LEAST_WIDTH_MM,
    MOST_WIDTH_MM,
    DecorationRequest,
    LineRequest,
    RequestModel,
)
from service.intake.resolve import resolve_lines
from service.intake.services import Services

KEPT_PICTURES_BYTES = 48 << 20
"""Proofs kept of a catalogue version; one of the usual width takes about 80 kB."""

KEPT_PREVIEWS_BYTES = 48 << 20
"""Small artworks kept beside them; one takes 8 MB at most."""

LEAST_PX, MOST_PX, USUAL_PX = 200, 2_000, 1_000
"""Widths of a proof in pixels."""

_PARAMETERS = {"sizes": "size", "consents": "consent"}
"""Parameters that are called otherwise in a check."""


class ProofQuery(RequestModel):
    """What to show, named as in a check."""

    blank: Slug
    colour: Slug
    placement: Slug
    width_mm: Annotated[
        float,
        Field(ge=LEAST_WIDTH_MM, le=MOST_WIDTH_MM, description="Width of the artwork's inked box."),
    ]
    method: Annotated[
        Slug, Field(description="'any' shows the best that works, or else the nearest to it.")
    ] = ANY_METHOD
    film_colour: Slug | None = None
    size: Annotated[
        SizeName | None, Field(description="Without one, the middle of the blank's sizes.")
    ] = None
    consent: Annotated[
        tuple[Consent, ...],
        Field(max_length=len(Consent), description="Losses that are accepted; repeat for several."),
    ] = ()
    px: Annotated[int, Field(ge=LEAST_PX, le=MOST_PX, description="Width in pixels.")] = USUAL_PX


class Draw(Protocol):
    """Draws a proof as the bytes of a file; it runs in the picture room, so it can be pickled."""

    def __call__(self, proof: Proof, art: ArtworkPreview, width_px: int, media_type: str) -> bytes:
        """The file of a proof."""
        ...


def plan_proof(
    compiled: CompiledCatalogue,
    artwork_id: str,
    query: ProofQuery,
    artworks: Mapping[str, ShelvedArtwork],
) -> Proof:
    """Judge what is asked for, one piece of it, and say how it is to be drawn. Computes only.

    ``artworks`` holds the caller's own. A decoration that cannot be made is shown as such. Raises
    ``NotFound`` without the artwork, ``BadInput`` naming every parameter that the shop lacks.
    """
    if artwork_id not in artworks:
        raise no_such_artwork()
    blank = compiled.catalogue.blank_by_id.get(query.blank)
    size = query.size or (_middle_size(blank) if blank else "M")
    line = _resolved(compiled, artwork_id, query, size, artworks)
    decoration = line.decorations[0]
    judged = judge_decoration(compiled, line, decoration)
    assert blank is not None  # noqa: S101  # a line of an unknown blank is not resolved
    return _proof(compiled, blank, size, line, judged.chosen or judged.candidates[0])


def _middle_size(blank: Blank) -> str:
    return blank.sizes[(len(blank.sizes) - 1) // 2].size


def _resolved(
    compiled: CompiledCatalogue,
    artwork_id: str,
    query: ProofQuery,
    size: str,
    artworks: Mapping[str, ShelvedArtwork],
) -> Line:
    asked = DecorationRequest(
        placement=query.placement,
        artwork_id=artwork_id,
        width_mm=query.width_mm,
        method=query.method,
        film_colour=query.film_colour,
        consents=query.consent,
    )
    line = LineRequest(
        blank=query.blank, colour=query.colour, sizes={size: 1}, decorations=(asked,)
    )
    try:
        return resolve_lines(compiled, [line], artworks)[0]
    except BadInput as refused:
        raise _of_parameters(refused) from None


def _of_parameters(refused: BadInput) -> BadInput:
    """The same refusal, its faults told of parameters instead of places in a body."""
    faults = []
    for fault in refused.faults:
        names = [str(step) for step in fault.path if isinstance(step, str)]
        name = next((_PARAMETERS[one] for one in names if one in _PARAMETERS), names[-1])
        faults.append(replace(fault, path=(), parameter=name))
    return BadInput(refused.code, refused.detail, faults=faults)


def _proof(
    compiled: CompiledCatalogue, blank: Blank, size: str, line: Line, verdict: MethodVerdict
) -> Proof:
    decoration, garment = line.decorations[0], line.garment
    placement = garment.placements[decoration.placement_id]
    chain = compiled.chains[verdict.method_id]
    measures = blank.size(size)
    assert measures is not None  # noqa: S101  # a line in an unknown size is not resolved
    flat = FlatGarment(
        blank.style,
        view_of(blank.style, placement),
        measures.half_chest_mm,
        measures.body_length_mm,
        right_arm=on_right_of_wearer(placement),
    )
    labs = {id_: compiled.film_labs[id_, one.id] for id_, one in verdict.film_colours.items()}
    standing, rule, reason = _standing(verdict)
    return Proof(
        garment=flat,
        cloth_srgb=hex_from_srgb(srgb_from_lab(garment.lab)),
        area=placement_box(flat, placement, size),
        print=print_box(flat, placement, decoration.width_mm, decoration.height_mm),
        surface=surface_of(chain, garment, labs),
        policy=compiled.catalogue.policy,
        on_film=bool(chain.layers),
        texture=chain.layers[-1].texture if chain.layers else Texture.SMOOTH,
        colours=verdict.look.colours,
        names=_names(compiled, size, line, decoration, verdict, chain),
        standing=standing,
        rule=rule,
        reason=reason,
    )


def _standing(verdict: MethodVerdict) -> tuple[Standing, str, str]:
    """Whether it works, and the rule and reason of the gravest finding that says otherwise."""
    grave = verdict.at_least(Severity.WARNS)
    if not grave:
        return Standing.WORKS, "", ""
    standing = Standing.CAUTIONS if verdict.works else Standing.REFUSED
    return standing, grave[0].rule.id, grave[0].reading.reason


def _names(
    compiled: CompiledCatalogue,
    size: str,
    line: Line,
    decoration: Decoration,
    verdict: MethodVerdict,
    chain: Chain,
) -> tuple[str, ...]:
    """What is shown, the garment first."""
    garment = line.garment
    films = [
        f"Film: {verdict.film_colours[layer.id].name}"
        for layer in chain.layers
        if len(layer.colours) > 1
    ]
    return (
        garment.name,
        f"{garment.colour_name}, size {size}",
        garment.placements[decoration.placement_id].name,
        f"{_written(decoration.width_mm)} x {_written(decoration.height_mm)} mm",
        compiled.catalogue.method_by_id[verdict.method_id].name,
        *films,
    )


def _written(length_mm: float) -> str:
    return f"{length_mm:.1f}".removesuffix(".0")


def proof_mark(
    compiled: CompiledCatalogue,
    picture: KeptRow,
    artwork: ShelvedArtwork,
    query: ProofQuery,
    media_type: str,
    drawing_version: str,
) -> str:
    """A mark of all that a proof's bytes depend on: it changes whenever any of that does."""
    depends_on = (
        picture.sha256,
        artwork.measures.key,
        str(artwork.rights_declared),
        compiled.version,
        query.model_dump_json(),
        media_type,
        drawing_version,
    )
    return sha256("\n".join(depends_on).encode()).hexdigest()[:32]


def drawn_proof(
    services: Services,
    compiled: CompiledCatalogue,
    picture: KeptRow,
    proof: Proof,
    *,
    mark: str,
    width_px: int,
    media_type: str,
    draw: Draw,
) -> bytes:
    """The file of a proof, from memory where it is kept under its mark.

    Else it takes a tenth of a second and, where the artwork is not at hand in small, the time of
    reading its file and decoding it: called off the event loop.
    """
    shelf = _shelf(services, compiled)
    kept = shelf.pictures.get(mark)
    if kept is None:
        art = _preview(services, shelf, picture)
        kept = services.picture_room.run(draw, proof, art, width_px, media_type)
        shelf.pictures.put(mark, kept, len(kept))
    return kept


def _preview(services: Services, shelf: _Shelf, picture: KeptRow) -> ArtworkPreview:
    art = shelf.previews.get(picture.sha256)
    if art is None:
        file = kept_file(services, picture)
        art = made_small(services.picture_room, file, services.max_pixels)
        shelf.previews.put(picture.sha256, art, art.nbytes)
    return art


def made_small(room: PictureRoom, picture: KeptPicture, max_pixels: int) -> ArtworkPreview:
    """The kept picture, decoded and made small in the picture room."""
    return room.run(read_small, picture.data, picture.measures.ink_box, max_pixels)


def read_small(data: bytes, box: InkBox, max_pixels: int) -> ArtworkPreview:
    """Decode a kept picture and make its ink box small; raises as ``read_picture`` does.

    A kept file may have more bytes than an upload may: it is lossless.
    """
    picture = read_picture(
        data, declared_media_type=None, max_pixels=max_pixels, max_bytes=len(data)
    )
    return preview_of(picture.rgba, box)


@dataclass(frozen=True, slots=True)
class _Shelf:
    """What is kept beside a catalogue version, and forgotten with it."""

    pictures: ByteBound[bytes]
    previews: ByteBound[ArtworkPreview]


def _shelf(services: Services, compiled: CompiledCatalogue) -> _Shelf:
    def empty() -> _Shelf:
        return _Shelf(ByteBound(KEPT_PICTURES_BYTES), ByteBound(KEPT_PREVIEWS_BYTES))

    return services.artworks.drawn.get(("proofs", compiled.version), empty)
