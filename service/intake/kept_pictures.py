"""The picture that is kept of an artwork, and what was measured of it."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.artwork import ArtworkMeasures
from service.domain.errors import NotFound
from service.intake.picture_keeping import KEPT_MEDIA_TYPE
from service.intake.services import Caller, Services
from service.store.tables import Artwork


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """``data`` is the kept file, named by its ``sha256``; ``measures`` are of its pixels.

    It is the clean copy; of artworks from before copies were made it is what was uploaded.
    """

    data: bytes
    sha256: str
    media_type: str
    measures: ArtworkMeasures


def kept_picture(services: Services, caller: Caller, artwork_id: str) -> KeptPicture:
    """The kept picture of the caller's artwork; else ``NotFound``. Waits for store and files."""
    row = services.database.read(lambda session: session.get(Artwork, artwork_id))
    if row is None or not caller.may_see(row.holder):
        raise NotFound("artwork-not-found", "There is no such artwork of yours.")
    sha256 = row.kept_sha256 or row.sha256
    return KeptPicture(
        data=services.files.get(sha256),
        sha256=sha256,
        media_type=KEPT_MEDIA_TYPE if row.kept_sha256 else row.media_type,
        measures=ArtworkMeasures.model_validate_json(row.measures_json),
    )
