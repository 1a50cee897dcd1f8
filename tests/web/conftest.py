"""Fixtures of the web tests."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.domain import run_laying
from service.domain.nesting.outlines import (
    OutlineNest,
    OutlinePiece,
    nest_outlines,
)
from tests.web.miniature import make_client


@cache
def _nest(pieces: tuple[OutlinePiece, ...], *strip_and_effort: Any) -> OutlineNest:
    return nest_outlines(pieces, *strip_and_effort)


def _nested_once(pieces: Sequence[OutlinePiece], *strip_and_effort: Any) -> OutlineNest:
    return _nest(tuple(pieces), *strip_and_effort)


@pytest.fixture(autouse=True)
def _known_nests(monkeypatch: pytest.MonkeyPatch) -> None:
    """Envelopes that are the same in many shops are nested once, which takes long."""
    monkeypatch.setattr(run_laying, "nest_outlines", _nested_once)


@pytest.fixture(scope="module")
def client() -> TestClient:
    """A storefront's client of the miniature application."""
    return make_client()


@pytest.fixture(scope="module")
def stranger() -> TestClient:
    """A client without a key."""
    return make_client(key=None)
