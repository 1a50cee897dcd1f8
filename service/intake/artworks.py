"""Upload an artwork: read, measure, keep; and have what was measured at hand."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pydantic import BaseModel
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from service.domain.artwork import ArtworkMeasures
from service.domain.errors import BadInput, FieldFault
from service.domain.measuring import measure
from service.intake.answers import ArtworkAnswer
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.artwork_views import artwork_answer
from service.intake.picture_keeping import clean_file
from service.intake.picture_room import PictureWorkCrashed, PictureWorkTooLarge, PictureWorkTooLong
from service.intake.pictures import PICTURE_REFUSED, read_picture
from service.intake.services import Caller, Services
from service.store.tables import Artwork


@dataclass(frozen=True, slots=True)
class ReadPicture:
    """What is made of an upload: its media type, its measures and ``clean``, the file to keep."""

    media_type: str
    measures: ArtworkMeasures
    clean: bytes


def read_upload(
    data: bytes, *, declared_media_type: str | None, max_pixels: int, max_bytes: int
) -> ReadPicture:
    """Decode, measure and copy a picture, which is done in the picture room; see ``read_picture``.

    Raises ``BadInput`` for what is no usable picture.
    """
    picture = read_picture(
        data,
        declared_media_type=declared_media_type,
        max_pixels=max_pixels,
        max_bytes=max_bytes,
    )
    return ReadPicture(picture.media_type, measure(picture.rgba), clean_file(picture))


def upload_artwork(
    services: Services,
    caller: Caller,
    data: bytes,
    *,
    declared_media_type: str | None,
    rights_declared: bool,
    artwork_id: str | None = None,
) -> tuple[ArtworkAnswer, bool]:
    """Keep a clean copy of the picture and its measures, and nothing else of it.

    A second upload of the same bytes gives the first one. ``artwork_id`` fixes the id, for
    demonstration data. Returns the answer and whether it is new. Raises ``BadInput`` for what is no
    usable picture, ``Unavailable`` when the picture room or the store is. Takes up to seconds, and
    waits for the store, so it never runs on an event loop.

    The copy is kept before the row that names it: a process that ends between the two leaves a file
    that no row names, never a row without its file.
    """
    sha256, byte_size = hashlib.sha256(data).hexdigest(), len(data)
    known = services.database.read(lambda session: _earlier(session, caller.holder, sha256))
    if known is None or not _answers(known, declared_media_type):
        read = _read(services, data, declared_media_type)
        del data  # the copy stands for it from here on
        known = Artwork(
            id=artwork_id or services.new_id("art"),
            holder=caller.holder,
            sha256=sha256,
            kept_sha256=services.files.put(read.clean),
            media_type=read.media_type,
            byte_size=byte_size,
            rights_declared=False,
            measures_json=read.measures.model_dump_json(),
            created_at=services.clock(),
        )
    kept, new = _kept(services, known, rights_declared=rights_declared)
    measures = ArtworkMeasures.model_validate_json(kept.measures_json)
    services.artworks.put(kept.id, ShelvedArtwork(kept.holder, measures, kept.rights_declared))
    return artwork_answer(kept, measures, services.catalogues.current.catalogue), new


def _read(services: Services, data: bytes, declared_media_type: str | None) -> ReadPicture:
    """Have the upload read in the picture room; what exceeds its bounds is no usable picture."""
    try:
        return services.picture_room.run(
            read_upload,
            data,
            declared_media_type=declared_media_type,
            max_pixels=services.max_pixels,
            max_bytes=services.max_upload_bytes,
        )
    except PictureWorkTooLong as error:
        code, detail = "picture-takes-too-long", error.detail
    except PictureWorkTooLarge as error:
        code, detail = "picture-too-many-pixels", error.detail
    except PictureWorkCrashed as error:
        code, detail = "picture-unreadable", error.detail
    detail += " Send it with fewer pixels, or saved anew by a picture program."
    fault = FieldFault(detail, parameter="file", code=code)
    raise BadInput(PICTURE_REFUSED, detail, faults=[fault])


def _earlier(session: Session, holder: str, sha256: str) -> Artwork | None:
    same = select(Artwork).where(Artwork.holder == holder, Artwork.sha256 == sha256)
    return session.exec(same).first()


def _answers(row: Artwork, declared_media_type: str | None) -> bool:
    """Whether a row says all that reading its picture once more would say."""
    measures = ArtworkMeasures.model_validate_json(row.measures_json)
    same_type = declared_media_type in (None, row.media_type)
    return same_type and row.kept_sha256 is not None and _in_full(measures)


def _in_full(measures: BaseModel) -> bool:
    """Whether all that is measured now was measured when these measures were written."""
    named = measures.model_fields_set >= type(measures).model_fields.keys()
    parts = (getattr(measures, name) for name in type(measures).model_fields)
    return named and all(_in_full(part) for part in parts if isinstance(part, BaseModel))


def _kept(services: Services, row: Artwork, *, rights_declared: bool) -> tuple[Artwork, bool]:
    """Write the row, or bring the one there is up to it; gives the row and whether it is new."""
    values = {**row.model_dump(), "rights_declared": rights_declared}

    def keep(session: Session) -> tuple[Artwork, bool]:
        return _keep(session, Artwork(**values))

    try:
        return services.database.write(keep)
    except IntegrityError:
        # The same picture came twice at once: the other has committed by now, so it is found.
        return services.database.write(keep)


def _keep(session: Session, row: Artwork) -> tuple[Artwork, bool]:
    earlier = _earlier(session, row.holder, row.sha256)
    if earlier is None:
        session.add(row)
        return row, True
    earlier.rights_declared = earlier.rights_declared or row.rights_declared
    measures = ArtworkMeasures.model_validate_json(earlier.measures_json)
    if earlier.kept_sha256 is None or not _in_full(measures):
        # It first came when no copy was made, or less was measured of a picture.
        earlier.kept_sha256, earlier.measures_json = row.kept_sha256, row.measures_json
    session.add(earlier)
    return earlier, False


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
