"""Fixtures of the web tests."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from tests.web.miniature import make_client


@pytest.fixture(scope="module")
def client() -> TestClient:
    """A storefront's client of the miniature application."""
    return make_client()


@pytest.fixture(scope="module")
def stranger() -> TestClient:
    """A client without a key."""
    return make_client(key=None)
