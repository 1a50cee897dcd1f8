"""The picture that is kept of an artwork, and what was measured of it."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.artwork import ArtworkMeasures
from service.domain.errors import NotFound
from service.intake.picture_keeping import KEPT_MEDIA_TYPE
from service.intake.services import Caller, Services
from service.store.tables import Artwork


@dataclass(frozen=True, slots=True)
class KeptRow:
    """What is known of a kept picture without reading it: its ``measures``, and where it is.

    The file, of that ``media_type``, is named by its ``sha256``. It is the clean copy; of artworks
    from before copies were made it is what was uploaded.
    """

    sha256: str
    media_type: str
    measures: ArtworkMeasures


@dataclass(frozen=True, slots=True)
class KeptPicture(KeptRow):
    """A kept picture with its file's bytes, ``data``."""

    data: bytes


def no_such_artwork() -> NotFound:
    """What a caller is told of an artwork that does not exist or is another's."""
    return NotFound("artwork-not-found", "There is no such artwork of yours.")


def own_artwork(services: Services, caller: Caller, artwork_id: str) -> Artwork:
    """The row of the caller's artwork; else ``NotFound``. Waits for the store."""
    row = services.database.read(lambda session: session.get(Artwork, artwork_id))
    if row is None or not caller.may_see(row.holder):
        raise no_such_artwork()
    return row


def kept_row(services: Services, caller: Caller, artwork_id: str) -> KeptRow:
    """What is known of the caller's artwork; else ``NotFound``. Waits for the store alone."""
    row = own_artwork(services, caller, artwork_id)
    return KeptRow(
        sha256=row.kept_sha256 or row.sha256,
        media_type=KEPT_MEDIA_TYPE if row.kept_sha256 else row.media_type,
        measures=ArtworkMeasures.model_validate_json(row.measures_json),
    )


def kept_file(services: Services, row: KeptRow) -> KeptPicture:
    """The same with its bytes; ``NotFound`` if the file is gone. Waits for the files."""
    if isinstance(row, KeptPicture):
        return row
    return KeptPicture(row.sha256, row.media_type, row.measures, services.files.get(row.sha256))


def kept_picture(services: Services, caller: Caller, artwork_id: str) -> KeptPicture:
    """The kept picture of the caller's artwork; else ``NotFound``. Waits for store and files."""
    return kept_file(services, kept_row(services, caller, artwork_id))
