"""Upload an artwork: read, measure, keep; and show what was measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from service.domain.artwork import ArtworkMeasures
from service.domain.errors import NotFound
from service.domain.measuring import measure
from service.intake.answers import ArtworkAnswer
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.pictures import read_picture
from service.intake.services import Caller, Services
from service.store.tables import Artwork


def upload_artwork(
    services: Services,
    caller: Caller,
    data: bytes,
    *,
    declared_media_type: str | None,
    rights_declared: bool,
    artwork_id: str | None = None,
) -> tuple[ArtworkAnswer, bool]:
    """Keep the picture and its measures; a second upload of the same bytes gives the first one.

    ``artwork_id`` fixes the id, for demonstration data. Returns the answer and whether it is
    new. Raises ``BadInput`` for what is no usable picture.
    Takes tens to hundreds of milliseconds of computing, so it never runs on an event loop.
    """
    picture = read_picture(
        data,
        declared_media_type=declared_media_type,
        max_pixels=services.max_pixels,
        max_bytes=services.max_upload_bytes,
    )
    measures = measure(picture.rgba)
    sha256 = services.files.put(data)
    row = Artwork(
        id=artwork_id or services.new_id("art"),
        holder=caller.holder,
        sha256=sha256,
        media_type=picture.media_type,
        byte_size=len(data),
        rights_declared=rights_declared,
        measures_json=measures.model_dump_json(),
        created_at=services.clock(),
    )
    try:
        kept, new = services.database.write(lambda session: _keep(session, row))
    except IntegrityError:
        # The same picture came twice at once: the other has committed by now, so it is found.
        kept, new = services.database.write(lambda session: _keep(session, row))
    if not new:
        measures = ArtworkMeasures.model_validate_json(kept.measures_json)
    services.artworks.put(kept.id, ShelvedArtwork(kept.holder, measures, kept.rights_declared))
    return _answer(kept, measures), new


def _keep(session: Session, row: Artwork) -> tuple[Artwork, bool]:
    same = select(Artwork).where(Artwork.holder == row.holder, Artwork.sha256 == row.sha256)
    earlier = session.exec(same).first()
    if earlier is not None:
        earlier.rights_declared = earlier.rights_declared or row.rights_declared
        if ArtworkMeasures.model_validate_json(earlier.measures_json).shapes is None:
            # It first came when less was measured of a picture.
            earlier.measures_json = row.measures_json
        session.add(earlier)
        return earlier, False
    session.add(row)
    return row, True


def get_artwork(services: Services, caller: Caller, artwork_id: str) -> ArtworkAnswer:
    """The artwork, if it is the caller's; else ``NotFound``."""
    row = services.database.read(lambda session: session.get(Artwork, artwork_id))
    if row is None or not caller.may_see(row.holder):
        raise NotFound("artwork-not-found", "There is no such artwork of yours.")
    return _answer(row, ArtworkMeasures.model_validate_json(row.measures_json))


def artworks_at_hand(
    services: Services, caller: Caller, artwork_ids: Iterable[str]
) -> Mapping[str, ShelvedArtwork] | None:
    """The caller's artworks without touching the store; None if one is not at hand."""
    wanted = set(artwork_ids)
    shelved = services.artworks.at_hand(wanted)
    return _own(shelved, caller) if shelved.keys() == wanted else None


def artworks_of(
    services: Services, caller: Caller, artwork_ids: Iterable[str]
) -> Mapping[str, ShelvedArtwork]:
    """Those of the artworks that exist and are the caller's."""
    shelved = services.database.read(lambda session: services.artworks.fetch(session, artwork_ids))
    return _own(shelved, caller)


def _own(shelved: Mapping[str, ShelvedArtwork], caller: Caller) -> dict[str, ShelvedArtwork]:
    return {id_: art for id_, art in shelved.items() if caller.may_see(art.holder)}


def _answer(row: Artwork, measures: ArtworkMeasures) -> ArtworkAnswer:
    box = measures.ink_box
    return ArtworkAnswer(
        id=row.id,
        media_type=row.media_type,
        byte_size=row.byte_size,
        rights_declared=row.rights_declared,
        width_px=measures.width_px,
        height_px=measures.height_px,
        ink_box_px=(box.left, box.top, box.width, box.height),
        has_alpha=measures.has_alpha,
        opaque_share=measures.opaque_share,
        soft_alpha_share=measures.soft_alpha_share,
        near_white_share=measures.near_white_share,
        shapes=measures.shapes,
        photo_like=measures.photo_like,
        background_srgb=measures.background_srgb,
        palette=tuple({"srgb": c.srgb, "share": c.share} for c in measures.palette),
        created_at=row.created_at,
    )
