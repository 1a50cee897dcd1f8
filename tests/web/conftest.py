"""Fixtures of the web tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from tests.web.miniature import make_client


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    """A storefront's client of the miniature application."""
    yield make_client()


@pytest.fixture(scope="module")
def stranger() -> Iterator[TestClient]:
    """A client without a key."""
    yield make_client(key=None)
