"""The whole application on each store, quick to set up: what never differs is made once."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import make_url
from starlette.testclient import TestClient

from service import assembly as assembly_module
from service.assembly import assemble
from service.catalogue.loading import (
    LoadedCatalogue,
    catalogue_from_json,
    demo_shop_path,
    document_of,
    load_catalogue,
)
from service.demo_artwork import DEMO_ARTWORK_ID, DEMO_HOLDER
from service.domain.choice_table import table_of
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.shop import Catalogue
from service.intake import catalogues as catalogues_module
from service.intake.artworks import ReadPicture
from service.intake.services import Services
from service.settings import Settings
from service.store import migrate
from service.store.tables import Artwork
from service.web.app import create_app, default_documentation
from service.web.application import Documentation
from tests.conftest import STORES, FakeClock
from tests.demo_pictures import drawn, read_drawn
from tests.store.kept import KeptDatabase
from tests.web.known_routes import take_known_routes
from tests.web.shop.door import Caller, ShopDoor
from tests.web.shop.summed import assert_sums_are_those_of_rows

OpenShop = Callable[..., AbstractContextManager[ShopDoor]]
_compiled: dict[str, CompiledCatalogue] = {}


@cache
def demo_picture() -> tuple[bytes, ReadPicture]:
    """The demonstration artwork's bytes and what is made of them, made once."""
    data = drawn(DEMO_ARTWORK_ID)
    return data, read_drawn(data)


@cache
def demo_catalogue() -> LoadedCatalogue:
    """The demonstration catalogue, read once."""
    return load_catalogue(demo_shop_path(), FakeClock()().date())


@cache
def documentation() -> Documentation:
    """What the API description shows besides, read once."""
    return default_documentation()


def compiled_once(catalogue: Catalogue, version: str) -> CompiledCatalogue:
    """The catalogue compiled once for all shops of that version, and its table of choices made.

    Beyond that a shop remembers its own: verdicts, answers and proofs are never another's.
    """
    if version not in _compiled:
        _compiled[version] = compile_catalogue(catalogue, version)
    own = replace(_compiled[version])
    own.tables.put("own", table_of(_compiled[version]))
    return own


def _seed(services: Services) -> str:
    """What ``seed_demo_artwork`` leaves behind, without drawing and measuring anew."""
    data, read = demo_picture()
    row = Artwork(
        id=DEMO_ARTWORK_ID,
        holder=DEMO_HOLDER,
        sha256=hashlib.sha256(data).hexdigest(),
        kept_sha256=services.files.put(read.clean),
        media_type=read.media_type,
        byte_size=len(data),
        rights_declared=True,
        measures_json=read.measures.model_dump_json(),
        created_at=services.clock(),
    )
    services.database.write(lambda session: session.add(row))
    return DEMO_ARTWORK_ID


@cache
def catalogue_of(document_json: str) -> Catalogue:
    """The catalogue of a document, read once."""
    return catalogue_from_json(document_json)


def upgraded(url: str) -> None:
    """Make the store as the application does, unless it is there: then it is a copy of a new one.

    The application refuses one that is out of date.
    """
    if not Path(make_url(url).database or "").exists():
        migrate.upgrade(url)


@cache
def usual_settings() -> Settings:
    """The settings without any of a test's own, read once."""
    return Settings()


def settings_of(known: dict[str, Any], own: dict[str, Any]) -> Settings:
    """The settings with some that are known to be right, and with a test's own, if it has any."""
    return Settings(**{**known, **own}) if own else usual_settings().model_copy(update=known)


def put_in_force(shop: ShopDoor, loaded: LoadedCatalogue) -> None:
    """Install a catalogue in a running shop; each version is compiled once for all shops."""
    services = shop.assembly.services
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogues_module, "catalogue_from_json", catalogue_of)
        patch.setattr(catalogues_module, "compile_catalogue", compiled_once)
        services.catalogues.install(loaded, services.clock())


def counting_ids() -> Callable[[str], str]:
    """Identifiers that count, for what lives longer than a test."""
    numbers = itertools.count(1)
    return lambda prefix: f"{prefix}_{next(numbers):022d}"


def counting_bytes() -> Callable[[int], bytes]:
    """What stands for random bytes: each call gives others, and each shop the same again."""
    numbers = itertools.count(1)
    return lambda count: next(numbers).to_bytes(count, "big")


def changed_catalogue(**changes: Any) -> LoadedCatalogue:
    """The demonstration catalogue with some top-level values replaced, as another version."""
    catalogue = demo_catalogue().catalogue.model_copy(update=changes)
    document = document_of(catalogue)
    return LoadedCatalogue(catalogue, hashlib.sha256(document.encode()).hexdigest(), document)


@contextmanager
def opened_shop(
    folder: Path,
    url: str,
    clock: Callable[[], Any],
    ids: Callable[[str], str],
    *,
    request_ids: Callable[[], UUID] = uuid4,
    **settings: Any,
) -> Iterator[ShopDoor]:
    """The application over the database at ``url``, served until the context ends."""
    known: dict[str, Any] = {
        "data_dir": folder,
        "database_url": url,
        "webhook_sender": False,
        "webhook_private_addresses": True,
        "picture_workers": 0,
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assembly_module, "seed_demo_artwork", _seed)
        patch.setattr(assembly_module, "load_catalogue", lambda *_: demo_catalogue())
        patch.setattr(assembly_module, "upgrade", upgraded)
        patch.setattr(assembly_module, "Database", KeptDatabase)
        patch.setattr(catalogues_module, "catalogue_from_json", catalogue_of)
        patch.setattr(catalogues_module, "compile_catalogue", compiled_once)
        assembly = assemble(
            settings_of(known, settings), clock=clock, new_id=ids, random_bytes=counting_bytes()
        )
    app = create_app(assembly, request_ids=request_ids, documentation=documentation())
    take_known_routes(app)
    with TestClient(app) as client:
        yield ShopDoor(assembly, client)
    assembly.close()


@pytest.fixture
def shop(
    store_url: str, tmp_path: Path, clock: FakeClock, ids: Callable[[str], str]
) -> Iterator[ShopDoor]:
    """The demonstration shop, on each store in turn; its sums of stock are those of its rows."""
    with opened_shop(tmp_path, store_url, clock, ids) as door:
        yield door
        assert_sums_are_those_of_rows(door)


@pytest.fixture(scope="session", params=STORES)
def standing_shop(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[ShopDoor]:
    """A shop on each store that many tests share: they leave nothing that others could see.

    Its clock stands at Monday 2 March 2026, 09:00 UTC.
    """
    folder = tmp_path_factory.mktemp(f"standing-{request.param}")
    url = f"sqlite:///{folder / 'intake.sqlite3'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("postgres_databases").fresh()
        migrate.upgrade(url)
    with opened_shop(folder, url, FakeClock(), counting_ids()) as door:
        yield door
        assert_sums_are_those_of_rows(door)


@pytest.fixture
def asking(standing_shop: ShopDoor) -> Caller:
    """The storefront of the standing shop."""
    return standing_shop.storefront


@pytest.fixture
def bench(standing_shop: ShopDoor) -> Caller:
    """Someone at the bench of the standing shop."""
    return standing_shop.staff


@pytest.fixture
def storefront(shop: ShopDoor) -> Caller:
    """A storefront, whose artwork the demonstration artwork is."""
    return shop.storefront


@pytest.fixture
def staff(shop: ShopDoor) -> Caller:
    """Someone at the bench."""
    return shop.staff


@pytest.fixture
def less_the_method(shop: ShopDoor) -> Callable[[str], None]:
    """Puts a catalogue in force that has lost a method."""

    def install(method_id: str) -> None:
        methods = [m for m in demo_catalogue().catalogue.methods if m.id != method_id]
        put_in_force(shop, changed_catalogue(methods=tuple(methods)))

    return install
