"""A browser, and the demonstration shop served to it on this machine."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, sync_playwright

from tests.browser.screen import Screen
from tests.conftest import FakeClock
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import ShopDoor, line

EXECUTABLE = "/usr/bin/chromium"
ARGUMENTS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--autoplay-policy=no-user-gesture-required",
)
START_S = 20


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with sync_playwright() as player:
        opened = player.chromium.launch(executable_path=EXECUTABLE, args=list(ARGUMENTS))
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def served(
    migrated_sqlite_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[ShopDoor, str]]:
    """The demonstration shop and its address."""
    folder = tmp_path_factory.mktemp("served")
    file = folder / "intake.sqlite3"
    shutil.copyfile(migrated_sqlite_file, file)
    listening = socket.create_server(("127.0.0.1", 0))
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    with opened_shop(
        folder, f"sqlite:///{file}", FakeClock(), counting_ids(), public_url=address
    ) as shop:
        server = uvicorn.Server(uvicorn.Config(shop.client.app, lifespan="off", log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        _wait_until_up(server)
        yield shop, address
        server.should_exit = True
        thread.join(START_S)
    listening.close()


def _wait_until_up(server: uvicorn.Server) -> None:
    ends = time.monotonic() + START_S
    while not server.started:
        assert time.monotonic() < ends
        time.sleep(0.02)


@pytest.fixture
def shop(served: tuple[ShopDoor, str]) -> ShopDoor:
    """The shop behind the pages."""
    return served[0]


@pytest.fixture
def number(shop: ShopDoor) -> str:
    """The ticket of a new order."""
    order: Any = shop.storefront.order(line())
    return str(order["tickets"][0]["number"])


@pytest.fixture(params=[360, 1_280], ids=["narrow", "wide"])
def screen(
    request: pytest.FixtureRequest, browser: Browser, served: tuple[ShopDoor, str]
) -> Iterator[Screen]:
    """A signed-in screen, once narrow and once wide; it ends without a fault on any page."""
    shop, address = served
    opened = Screen.open(browser, address, request.param)
    opened.sign_in(str(shop.staff.key), "Ada")
    yield opened
    opened.close()
