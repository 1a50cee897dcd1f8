"""Artworks over HTTP: measured once, kept once per storefront, told back the same."""

from __future__ import annotations

import itertools
from collections import Counter
from functools import partial
from pathlib import Path
from threading import Barrier

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from service.assembly import assemble
from service.intake import artworks as artworks_module
from service.store.tables import Artwork
from service.web.app import create_app
from tests.conftest import FakeClock
from tests.web.shop.conftest import counting_ids, opened_shop
from tests.web.shop.door import (
    BARRIER_S,
    Caller,
    ShopDoor,
    answered,
    decoration,
    line,
    picture,
    together,
)


def test_an_upload_is_measured(storefront: Caller) -> None:
    """The answer gives size, ink box, ground and colours, and a GET gives the same."""
    response = storefront.upload(picture("#1565c0"))
    artwork = answered(response, 201)
    assert response.headers["location"] == f"/v1/artworks/{artwork['id']}"
    assert (artwork["width_px"], artwork["height_px"]) == (300, 300)
    assert artwork["ink_box_px"] == [0, 0, 300, 300]
    assert (artwork["media_type"], artwork["has_alpha"]) == ("image/png", False)
    assert artwork["palette"] == [{"srgb": "#1565c0", "share": 1.0}]
    assert artwork["rights_declared"] is True
    assert answered(storefront.get(response.headers["location"]), 200) == artwork


def test_the_same_picture_again_is_the_first_one(shop: ShopDoor) -> None:
    """The same bytes from one storefront are one artwork; another storefront has its own."""
    storefront, other = shop.storefront, shop.other
    files = {"file": ("a.png", picture(), "image/png")}
    first = answered(storefront.send("POST", "/v1/artworks", files=files), 201)
    assert first["rights_declared"] is False
    again = storefront.upload(picture())
    assert again.headers["location"] == f"/v1/artworks/{first['id']}"
    assert answered(again, 200) == {**first, "rights_declared": True}
    undeclared = storefront.send("POST", "/v1/artworks", files=files)
    assert answered(undeclared, 200)["rights_declared"] is True
    assert answered(other.upload(picture()), 201)["id"] != first["id"]


def test_the_same_picture_at_once(
    shop: ShopDoor, storefront: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two uploads that both find the picture new, one keeps it and the other gives that one.

    On SQLite writers are alone, so that the second never finds it new.
    """
    both_looked = Barrier(2 if shop.assembly.database.dialect == "postgresql" else 1)
    looks = itertools.count()
    look = artworks_module._keep

    def look_together(session: Session, row: Artwork) -> tuple[Artwork, bool]:
        found = look(session, row)
        if next(looks) < 2:
            both_looked.wait(BARRIER_S)
        return found

    monkeypatch.setattr(artworks_module, "_keep", look_together)
    answers = together([partial(storefront.upload, picture())] * 2)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 1}
    assert len({answer.json()["id"] for answer in answers}) == 1
    own = [row for row in shop.rows(Artwork) if row.id != decoration()["artwork_id"]]
    assert len(own) == 1


def test_an_upload_can_be_used_after_a_restart(
    store_url: str, tmp_path: Path, clock: FakeClock
) -> None:
    """What was uploaded is judged and priced the same by a process that did not measure it."""
    ids = counting_ids()
    with opened_shop(tmp_path, store_url, clock, ids) as shop:
        artwork = answered(shop.other.upload(picture()), 201)["id"]
        wish = line(decoration(artwork_id=artwork, width_mm=60))
        before = shop.other.quote(wish)
        key = shop.other.key
        assembly = assemble(
            shop.assembly.settings, clock=clock, new_id=ids, install_catalogue=False
        )
        assembly.services.catalogues.refresh()
        with TestClient(create_app(assembly)) as client:
            again = Caller(client, shop.other.holder, key).quote(wish)
        assembly.close()
    assert {**again, "id": before["id"]} == before
