"""Putting the parts together from the settings: what every command starts from."""

from __future__ import annotations

import base64
import os
import random
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.demo_artwork import seed_demo_artwork
from service.domain.errors import Unavailable
from service.intake.artwork_shelf import ArtworkShelf
from service.intake.catalogues import Catalogues
from service.intake.decided import DecidedShelf
from service.intake.picture_room import PictureRoom, SameProcess
from service.intake.picture_workers import WorkerProcesses
from service.intake.services import Services
from service.intake.spoilage_seen import SpoilageShelf
from service.notify.sealing import Sealer, key_from_text, load_or_make_key
from service.notify.sender import Sender
from service.notify.transport import GuardedTransport
from service.settings import Settings
from service.store.database import Database
from service.store.files import FileStore
from service.store.keys import format_key
from service.store.migrate import upgrade

KEY_FILE = "sealing.key"
ID_BYTES = 16
RETRY_AFTER_S = 60
KEY_BYTES = 32
PICTURE_MODULES = ("service.intake.artworks", "service.assembly")
"""What worker processes have at hand: all that pictures are worked on with."""


def utc_now() -> datetime:
    """The present moment, aware, in UTC."""
    return datetime.now(UTC)


def random_id(prefix: str) -> str:
    """An identifier nobody can guess: the prefix and 128 random bits in lower-case base 32."""
    text = base64.b32encode(secrets.token_bytes(ID_BYTES)).decode("ascii")
    return f"{prefix}_{text.rstrip('=').lower()}"


def random_key() -> str:
    """A new API key of 256 random bits, as its caller presents it."""
    return format_key(secrets.token_bytes(KEY_BYTES))


@dataclass(frozen=True, slots=True)
class Assembly:
    """The use cases' services, and what the web and the sender need besides."""

    settings: Settings
    services: Services
    sealer: Sealer

    @property
    def database(self) -> Database:
        """The store."""
        return self.services.database

    def sender(self) -> Sender:
        """A webhook sender; one is enough for a process."""
        return Sender(
            self.database,
            GuardedTransport(allow_private=self.settings.webhook_private_addresses),
            self.sealer,
            self.services.clock,
            self.services.new_id,
            random.SystemRandom().random,
        )

    def close(self) -> None:
        """End the picture room and close the store's connections."""
        self.services.picture_room.close()
        self.database.close()


def assemble(
    settings: Settings,
    *,
    clock: Callable[[], datetime] = utc_now,
    new_id: Callable[[str], str] = random_id,
    random_bytes: Callable[[int], bytes] = os.urandom,
    install_catalogue: bool = True,
) -> Assembly:
    """Open the store and the files, and put the catalogue in force.

    The embedded SQLite store is migrated here; a PostgreSQL store is migrated by its owner with
    ``garment-intake migrate``. A worker leaves the catalogue alone: ``install_catalogue`` False.
    Raises ``Unavailable`` for a store that is not ready, ``CatalogueFaults`` for a faulty
    catalogue, and whatever opening the store raises.
    """
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    url = settings.effective_database_url
    if url.startswith("sqlite"):
        upgrade(url)
    database = Database.open(url, pool_size=settings.store_threads)
    _require_ready(database)
    services = Services(
        database=database,
        files=FileStore.open(settings.effective_files_url),
        catalogues=Catalogues(database),
        artworks=ArtworkShelf(),
        spoilage=SpoilageShelf(),
        decided=DecidedShelf(),
        picture_room=_picture_room(settings),
        clock=clock,
        new_id=new_id,
        random_bytes=random_bytes,
        max_pixels=settings.max_pixels,
        max_upload_bytes=settings.max_upload_bytes,
    )
    if install_catalogue:
        _install_catalogue(settings, services)
    return Assembly(settings, services, Sealer(sealing_key(settings), random_bytes))


def _require_ready(database: Database) -> None:
    ready, why = database.ready()
    if not ready:
        database.close()
        detail = (
            f"The store is not ready: {why}. Bring it up to date with 'garment-intake migrate'."
        )
        raise Unavailable("store-not-ready", detail, retry_after_s=RETRY_AFTER_S)


def _picture_room(settings: Settings) -> PictureRoom:
    """Starts no process before there is a picture to work on, or the application warms it up."""
    if settings.picture_workers == 0:
        return SameProcess()
    return WorkerProcesses(
        settings.picture_workers,
        limit_s=settings.picture_limit_s,
        memory_mb=settings.picture_memory_mb,
        preload=PICTURE_MODULES,
    )


def _install_catalogue(settings: Settings, services: Services) -> None:
    now = services.clock()
    loaded = load_catalogue(settings.catalogue_path or demo_shop_path(), now.date())
    services.catalogues.install(loaded, now)
    if settings.catalogue_path is None:
        # Our own drawings need no bounds, and a command that seeds them no other process.
        seed_demo_artwork(replace(services, picture_room=SameProcess()))


def sealing_key(settings: Settings) -> bytes:
    """The key that seals webhook secrets: from the settings, else from the data folder's file."""
    if settings.secret_key is not None:
        return key_from_text(settings.secret_key.get_secret_value())
    return load_or_make_key(settings.data_dir / KEY_FILE, os.urandom)
