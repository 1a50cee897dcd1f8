"""What every use case is given: store, files, catalogue, clock and ids. Nothing is global."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from service.intake.artwork_shelf import ArtworkShelf
from service.intake.catalogues import Catalogues
from service.intake.decided import DecidedShelf
from service.intake.picture_room import PictureRoom
from service.intake.spoilage_seen import SpoilageShelf
from service.store.database import Database
from service.store.files import FileStore


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks. ``in_shop`` callers (staff, owner) see every storefront's things."""

    holder: str
    in_shop: bool = False

    def may_see(self, holder: str) -> bool:
        """True for the caller's own things, and for all things within the shop."""
        return self.in_shop or holder == self.holder


@dataclass(frozen=True, slots=True)
class Services:
    """The outside, as the use cases meet it.

    ``clock`` gives aware UTC; ``new_id`` makes an unguessable identifier with a prefix;
    ``random_bytes`` gives that many bytes nobody can guess.
    """

    database: Database
    files: FileStore
    catalogues: Catalogues
    artworks: ArtworkShelf
    spoilage: SpoilageShelf
    decided: DecidedShelf
    picture_room: PictureRoom
    clock: Callable[[], datetime]
    new_id: Callable[[str], str]
    random_bytes: Callable[[int], bytes]
    max_pixels: int
    max_upload_bytes: int
