"""Proofs over HTTP: pictures, formats, what is kept, and precise refusals."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from httpx2 import Response
from PIL import Image

from service.demo_artwork import DEMO_ARTWORK_ID
from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    Json,
    ShopDoor,
    answered,
    only_error,
    picture,
    refused,
)

USUAL = {
    "blank": "classic-cotton-tee",
    "colour": "black",
    "placement": "front",
    "width_mm": 240,
    "method": "printed-film",
    "px": 200,
}


def proof(
    caller: Caller,
    headers: dict[str, str] | None = None,
    artwork_id: str = DEMO_ARTWORK_ID,
    **changes: Any,
) -> Response:
    """The answer to the usual proof with some parameters changed; None leaves one out."""
    asked = {name: value for name, value in {**USUAL, **changes}.items() if value is not None}
    return caller.get(f"/v1/artworks/{artwork_id}/proof", headers, params=asked)


def shown(response: Response) -> np.ndarray:
    """The picture's pixels."""
    assert response.status_code == 200, response.text
    return np.asarray(Image.open(io.BytesIO(response.content)).convert("RGB"))


def fault(response: Response) -> Json:
    """The one fault of a refused parameter."""
    return only_error(refused(response, 422, "fields-refused"))


@ON_ONE_STORE
def test_a_proof_is_a_png_of_that_width(asking: Caller) -> None:
    """PNG unless asked otherwise (signature: W3C PNG specification, 5.2)."""
    answer = proof(asking, px=320)
    assert answer.headers["content-type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG\r\n\x1a\n")
    assert shown(answer).shape[1] == 320


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("accept", "media_type"),
    [
        ("*/*", "image/png"),
        ("image/webp", "image/webp"),
        ("image/png, image/webp", "image/png"),
        ("image/png;q=0.5, image/webp", "image/webp"),
        ("image/webp;q=0, */*", "image/png"),
        ("image/webp,image/*,*/*;q=0.8", "image/webp"),
        ("text/html", "image/png"),
        ("image/webp;q=oops", "image/webp"),
    ],
)
def test_accept_chooses_the_format(asking: Caller, accept: str, media_type: str) -> None:
    """RFC 9110 section 12.5.1: the higher weight, the more specific range; PNG else."""
    answer = proof(asking, {"Accept": accept})
    assert answer.headers["content-type"] == media_type
    assert answer.headers["vary"] == "Accept"
    assert np.array_equal(shown(answer), shown(proof(asking)))


@ON_ONE_STORE
def test_the_same_request_gives_the_same_bytes_and_tag(asking: Caller) -> None:
    """A strong ETag and a private answer; formats and parameters have tags of their own."""
    first, second = proof(asking), proof(asking)
    assert first.content == second.content
    assert first.headers["etag"] == second.headers["etag"]
    assert first.headers["cache-control"].startswith("private")
    tags = {
        first.headers["etag"],
        proof(asking, {"Accept": "image/webp"}).headers["etag"],
        proof(asking, width_mm=241).headers["etag"],
        proof(asking, size="S").headers["etag"],
        proof(asking, px=201).headers["etag"],
    }
    assert len(tags) == 5


@ON_ONE_STORE
def test_whoever_has_it_is_told_so(asking: Caller) -> None:
    """304 without content, with the tag and what it varies by (RFC 9110 section 15.4.5)."""
    tag = proof(asking).headers["etag"]
    answer = proof(asking, {"If-None-Match": tag})
    assert answer.status_code == 304
    assert answer.content == b""
    assert answer.headers["etag"] == tag
    assert answer.headers["vary"] == "Accept"
    assert proof(asking, {"If-None-Match": '"other"'}).status_code == 200


def test_whoever_has_it_needs_no_file(shop: ShopDoor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither what is unchanged nor what is kept in memory is read from the files again."""
    address = shop.storefront.upload(picture("#204080")).headers["location"]
    artwork_id = address.rpartition("/")[2]
    first = proof(shop.storefront, artwork_id=artwork_id)
    cut = shop.storefront.get(f"{address}/outline.svg", params={"width_mm": 90})
    monkeypatch.setattr(shop.assembly.services.files, "get", None)
    assert proof(shop.storefront, artwork_id=artwork_id).content == first.content
    mark = {"If-None-Match": first.headers["etag"]}
    assert proof(shop.storefront, mark, artwork_id).status_code == 304
    mark = {"If-None-Match": cut.headers["etag"]}
    again = shop.storefront.get(f"{address}/outline.svg", mark, params={"width_mm": 90})
    assert again.status_code == 304


@ON_ONE_STORE
def test_an_artwork_is_its_owners(standing_shop: ShopDoor) -> None:
    """Another storefront meets what nobody has; staff see it."""
    assert proof(standing_shop.staff).status_code == 200
    refused(proof(standing_shop.other), 404, "artwork-not-found")
    refused(proof(standing_shop.storefront, artwork_id="art_none"), 404, "artwork-not-found")
    assert proof(standing_shop.nobody).status_code == 401


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("changes", "parameter", "said"),
    [
        ({"blank": "classic-coton-tee"}, "blank", "Did you mean 'classic-cotton-tee'?"),
        ({"colour": "blue"}, "colour", "Known: white, black, navy, red, yellow."),
        ({"placement": "hood"}, "placement", "Known: front, left-chest, back."),
        ({"size": "9XL"}, "size", "Known: S, M, L, XL, 2XL, 3XL."),
        ({"method": "painting"}, "method", "There is no method 'painting'."),
        ({"film_colour": "plaid"}, "film_colour", "There is no film colour 'plaid'."),
        ({"width_mm": 0}, "width_mm", "0.001"),
        ({"width_mm": "1e-320"}, "width_mm", "0.001"),
        ({"width_mm": 2_001}, "width_mm", "2000"),
        ({"width_mm": "NaN"}, "width_mm", ""),
        ({"width_mm": None}, "width_mm", ""),
        ({"px": 199}, "px", "200"),
        ({"px": 2_001}, "px", "2000"),
        ({"px": 300.5}, "px", ""),
        ({"colour": ["black", "white"]}, "colour", "once"),
        ({"shape": "round"}, "shape", ""),
    ],
)
def test_a_bad_parameter_is_named(asking: Caller, changes: Json, parameter: str, said: str) -> None:
    """With what was given, the limit or what is known, and nothing drawn."""
    error = fault(proof(asking, **changes))
    assert error["parameter"] == parameter
    assert said in error["detail"]


@ON_ONE_STORE
def test_every_bad_parameter_is_told_at_once(asking: Caller) -> None:
    """Placement, size and method together."""
    problem = refused(
        proof(asking, placement="hood", size="9XL", method="painting"), 422, "fields-refused"
    )
    assert {error["parameter"] for error in problem["errors"]} == {"placement", "size", "method"}


@ON_ONE_STORE
def test_what_cannot_be_made_is_shown_all_the_same(asking: Caller) -> None:
    """Dye on black cotton: its picture differs from that of a film that works."""
    assert not np.array_equal(shown(proof(asking, method="dye-transfer")), shown(proof(asking)))


def test_a_storefronts_own_picture_is_shown(shop: ShopDoor) -> None:
    """What was uploaded a moment ago, without a method, size or width in pixels named."""
    artwork = answered(shop.storefront.upload(picture("#12a06b")), 201)["id"]
    answer = proof(shop.storefront, artwork_id=artwork, method=None, px=None)
    assert shown(answer).shape[1] == 1_000
