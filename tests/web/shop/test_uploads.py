"""Artworks over HTTP: measured once, kept once per storefront, told back the same."""

from __future__ import annotations

from collections import Counter
from functools import partial

from service.store.tables import Artwork
from tests.web.shop.door import Caller, ShopDoor, answered, decoration, line, picture, together


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
    plain = {"files": {"file": ("a.png", picture(), "image/png")}}
    first = answered(storefront.send("POST", "/v1/artworks", **plain), 201)
    assert first["rights_declared"] is False
    again = storefront.upload(picture())
    assert again.headers["location"] == f"/v1/artworks/{first['id']}"
    assert answered(again, 200) == {**first, "rights_declared": True}
    undeclared = storefront.send("POST", "/v1/artworks", **plain)
    assert answered(undeclared, 200)["rights_declared"] is True
    assert answered(other.upload(picture()), 201)["id"] != first["id"]


def test_the_same_picture_at_once(shop: ShopDoor, storefront: Caller) -> None:
    """Of parallel uploads of the same bytes one is new and all name the same artwork."""
    shop.client.get("/livez")
    answers = together([partial(storefront.upload, picture())] * 8)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 7}
    assert len({answer.json()["id"] for answer in answers}) == 1
    own = [row for row in shop.rows(Artwork) if row.id != decoration()["artwork_id"]]
    assert len(own) == 1


def test_an_upload_can_be_used_at_once(shop: ShopDoor) -> None:
    """What was just uploaded is judged and priced, also after a restart that forgot it."""
    other = shop.other
    artwork = answered(other.upload(picture()), 201)["id"]
    wish = line(decoration(artwork_id=artwork))
    before = other.quote(wish)
    shop.assembly.services.artworks.__init__()  # type: ignore[misc] # as empty as after a restart
    assert other.quote(wish)["total"] == before["total"]
