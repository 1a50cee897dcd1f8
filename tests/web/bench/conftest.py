"""The bench as someone meets it who holds a staff key and a browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import FakeClock
from tests.web.bench.hand import Hand
from tests.web.shop.conftest import OpenShop, counting_ids, opened_shop
from tests.web.shop.door import ShopDoor, line


@pytest.fixture(scope="module")
def clock() -> FakeClock:
    """A clock that a module's tests share: it only goes on."""
    return FakeClock()


@pytest.fixture(scope="module")
def open_shop(
    migrated_sqlite_file: Path, tmp_path_factory: pytest.TempPathFactory, clock: FakeClock
) -> OpenShop:
    """Opens the demonstration shop with an empty store and the given settings."""

    def open_one(**settings: Any) -> AbstractContextManager[ShopDoor]:
        folder = tmp_path_factory.mktemp("workroom")
        file = folder / "intake.sqlite3"
        shutil.copyfile(migrated_sqlite_file, file)
        return opened_shop(folder, f"sqlite:///{file}", clock, counting_ids(), **settings)

    return open_one


@pytest.fixture(scope="module")
def workroom(open_shop: OpenShop) -> Iterator[ShopDoor]:
    """The demonstration shop, shared by a module's tests."""
    with open_shop() as door:
        yield door


@pytest.fixture
def ada(workroom: ShopDoor) -> Hand:
    """Someone who is signed in."""
    return Hand.signed_in(workroom, "Ada")


@pytest.fixture
def bob(workroom: ShopDoor) -> Hand:
    """Someone else, at another tablet."""
    return Hand.signed_in(workroom, "Bob")


@pytest.fixture
def number(workroom: ShopDoor) -> str:
    """The ticket of a new order: five black T-shirts, three of size M and two of size L."""
    order = workroom.storefront.order(line())
    found: str = order["tickets"][0]["number"]
    return found


@pytest.fixture(scope="module")
def started(workroom: ShopDoor) -> str:
    """A started ticket of a module's tests, none of which changes it."""
    number: str = workroom.storefront.order(line())["tickets"][0]["number"]
    workroom.staff.moves(number, "start")
    return number
