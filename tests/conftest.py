"""Fixtures for every room: both stores, a clock that is set by hand, countable ids, no network."""

from __future__ import annotations

import argparse
import gc
import itertools
import os
import shutil
import socket
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, settings

from service.store import migrate
from service.store.database import Database
from tests.store.kept import KeptDatabase
from tests.store.servers import PostgresDatabases, embedded_postgres

settings.register_profile(
    "project",
    derandomize=True,
    deadline=None,
    max_examples=40,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("project")

# Where bytecode is switched off, each worker and each process that a test starts would compile
# every module anew, longer than most tests take. Version control passes over what is written.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

STORES = ("sqlite", "postgresql")
GC_THRESHOLDS = (20_000, 20, 40)
REFERENCE_DATA = "--reference-data"
BROWSER = "--browser"
RACES = "--races"
WHOLE_YEAR = "--whole-year"


def _folder(name: str) -> str:
    """Whole path of a folder: workers and tests may stand elsewhere."""
    if not Path(name).is_dir():
        raise argparse.ArgumentTypeError(f"no folder {name}")
    return str(Path(name).resolve())


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let a run name the folder of published data, and ask for a browser."""
    parser.addoption(
        REFERENCE_DATA,
        type=_folder,
        metavar="FOLDER",
        help="also check against the whole of the published data in FOLDER (write with =)",
    )
    parser.addoption(
        BROWSER, action="store_true", help="also use the pages in a real browser without a window"
    )
    parser.addoption(
        WHOLE_YEAR, action="store_true", help="also play a whole simulated year of promises"
    )
    parser.addoption(
        RACES,
        type=int,
        default=0,
        metavar="TIMES",
        help="run the race for the last units so often, of 64 at once instead of a dozen",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Declare the marks of tests that read that folder, need a browser or take long."""
    config.addinivalue_line("markers", f"reference_data: reads the folder of {REFERENCE_DATA}")
    config.addinivalue_line("markers", f"browser: runs with {BROWSER} alone")
    config.addinivalue_line("markers", f"whole_year: runs with {WHOLE_YEAR} alone")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Spare the garbage collector what stays to the end: modules, classes and the tests.

    It would look at all of them again and again. What tests leave behind is looked for seldom.
    """
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(*GC_THRESHOLDS)
        gc.enable()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what reads the folder when none is named, and what else was not asked for."""
    asked = {
        "reference_data": config.getoption(REFERENCE_DATA) is not None,
        "browser": bool(config.getoption(BROWSER)),
        "whole_year": bool(config.getoption(WHOLE_YEAR)),
    }
    unasked = [mark for mark, wanted in asked.items() if not wanted]
    left_out = [item for item in items if any(map(item.get_closest_marker, unasked))]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="session")
def reference_data(pytestconfig: pytest.Config) -> Path:
    """The folder of published data; a test that asks for it bears the mark ``reference_data``."""
    return Path(pytestconfig.getoption(REFERENCE_DATA))


class FakeClock:
    """A clock that stands still until it is moved; calling it gives the moment in UTC."""

    def __init__(self, start: datetime = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)) -> None:
        """Start at ``start``: a Monday morning unless told otherwise."""
        self.now = start

    def __call__(self) -> datetime:
        """The moment it is set to."""
        return self.now

    def advance(self, by: timedelta | None = None, **parts: float) -> datetime:
        """Move on by a span, given whole or as ``timedelta``'s parts; gives the new moment."""
        self.now += by if by is not None else timedelta(**parts)
        return self.now

    def set(self, moment: datetime) -> None:
        """Move to ``moment``, which is aware."""
        if moment.utcoffset() is None:
            raise ValueError("the clock shows aware moments")
        self.now = moment.astimezone(UTC)


@pytest.fixture
def clock() -> FakeClock:
    """A clock of the test's own."""
    return FakeClock()


@pytest.fixture
def ids() -> Callable[[str], str]:
    """Identifiers that count: ``ids("ord")`` gives ``ord_`` and 22 digits, each a new one."""
    numbers = itertools.count(1)
    return lambda prefix: f"{prefix}_{next(numbers):022d}"


@pytest.fixture(scope="session")
def postgres_databases() -> Iterator[PostgresDatabases]:
    """Databases on a server of this worker's own, started when a test first asks.

    ``GARMENT_TEST_POSTGRES_URL`` names another server instead, and a user who may make databases.
    """
    given = os.environ.get("GARMENT_TEST_POSTGRES_URL")
    if given:
        databases = PostgresDatabases(given, f"garment_test_{uuid4().hex[:12]}")
        yield databases
        databases.close()
        databases.drop_all()
        return
    with embedded_postgres() as url:
        databases = PostgresDatabases(url, "garment_test")
        yield databases
        databases.close()


@pytest.fixture(scope="session")
def migrated_sqlite_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file at the newest revision, to be copied."""
    file = tmp_path_factory.mktemp("store") / "migrated.sqlite3"
    migrate.upgrade(f"sqlite:///{file}")
    return file


@pytest.fixture(params=STORES)
def store(request: pytest.FixtureRequest) -> str:
    """Which store is meant; whatever asks for it, directly or not, runs once on each."""
    return str(request.param)


@pytest.fixture
def store_url(store: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """URL of a migrated, empty database."""
    if store == "sqlite":
        file = tmp_path / "intake.sqlite3"
        shutil.copyfile(request.getfixturevalue("migrated_sqlite_file"), file)
        return f"sqlite:///{file}"
    databases: PostgresDatabases = request.getfixturevalue("postgres_databases")
    return databases.emptied()


@pytest.fixture
def bare_store_url(store: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """URL of a database without tables."""
    if store == "sqlite":
        return f"sqlite:///{tmp_path / 'bare.sqlite3'}"
    databases: PostgresDatabases = request.getfixturevalue("postgres_databases")
    return databases.fresh()


@pytest.fixture
def database(store_url: str) -> Iterator[Database]:
    """An open, migrated, empty database."""
    opened = KeptDatabase.open(store_url)
    yield opened
    opened.close()


@pytest.fixture(autouse=True, scope="session")
def no_network() -> Iterator[None]:
    """Refuse every connection that would leave this machine."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("connect", "connect_ex"):
            patch.setattr(socket.socket, name, _only_here(getattr(socket.socket, name)))
        yield


def _only_here(connect: Callable[[socket.socket, Any], Any]) -> Callable[[socket.socket, Any], Any]:
    def guarded(self: socket.socket, address: Any) -> Any:
        if self.family in {socket.AF_INET, socket.AF_INET6} and not _is_here(address[0]):
            raise RuntimeError(f"a test tried to reach {address[0]}")
        return connect(self, address)

    return guarded


def _is_here(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
