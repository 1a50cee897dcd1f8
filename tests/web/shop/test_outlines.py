"""Cut outlines over HTTP: what the plotter gets, and what is refused."""

from __future__ import annotations

import io
import math
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from PIL import Image, ImageDraw

from tests.web.shop.door import (
    ON_ONE_STORE,
    Caller,
    ShopDoor,
    answered,
    only_error,
    picture,
    refused,
    without_instance,
)

NAME = "{http://www.w3.org/2000/svg}"


def _png(image: Image.Image) -> bytes:
    kept = io.BytesIO()
    image.save(kept, "PNG")
    return kept.getvalue()


def _disc() -> bytes:
    """A disc of 200 pixels, antialiased, that fills its picture."""
    large = Image.new("L", (1600, 1600))
    ImageDraw.Draw(large).ellipse((0, 0, 1599, 1599), fill=255)
    image = Image.new("RGBA", (200, 200), "#204080")
    image.putalpha(large.resize((200, 200), Image.Resampling.BOX))
    return _png(image)


def _address(caller: Caller, data: bytes) -> str:
    response = caller.upload(data)
    assert response.status_code in {200, 201}
    return f"{response.headers['location']}/outline.svg"


@pytest.fixture(scope="module")
def disc(standing_shop: ShopDoor) -> str:
    """Where the outline of a disc is."""
    return _address(standing_shop.storefront, _disc())


def _xml(content: bytes) -> Element:
    root: Element = fromstring(content, forbid_dtd=True)
    return root


@ON_ONE_STORE
def test_outline_of_a_disc(asking: Caller, disc: str) -> None:
    """A disc 50 mm wide with 2 mm of bleed: one closed path of points 27 mm from the middle."""
    response = asking.get(disc, params={"width_mm": 50, "offset_mm": 2})
    assert response.status_code == 200
    assert response.headers["content-type"] == "image/svg+xml"
    root = _xml(response.content)
    assert (root.get("width"), root.get("height")) == ("54.000mm", "54.000mm")
    (path,) = root.iter(f"{NAME}path")
    numbers = path.get("d", "").replace("M", "").replace("L", "").replace("Z", "").split()
    points = np.array(numbers, float).reshape(-1, 2)
    assert np.hypot(*(points - 27).T) == pytest.approx(27, abs=0.05)


@ON_ONE_STORE
def test_usual_values(asking: Caller, disc: str) -> None:
    """Without more than a width there is no offset, 0.05 mm of tolerance and no mirroring."""
    usual = asking.get(disc, params={"width_mm": 50})
    stated = {"width_mm": 50.0, "offset_mm": 0, "tolerance_mm": 0.05, "mirrored": "false"}
    assert asking.get(disc, params=stated).content == usual.content
    assert b"Tolerance 0.050 mm" in usual.content
    assert b"NOT MIRRORED" in usual.content
    assert b"NOT MIRRORED" not in asking.get(disc, params={**stated, "mirrored": "true"}).content


@ON_ONE_STORE
def test_unchanged_is_not_sent_again(asking: Caller, disc: str) -> None:
    """The ETag holds for the same picture and parameters, and for no others (RFC 9110, 13.1.2)."""
    first = asking.get(disc, params={"width_mm": 50})
    tag = first.headers["etag"]
    again = asking.get(disc, {"If-None-Match": tag}, params={"width_mm": 50, "offset_mm": 0})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == tag
    for other in ({"offset_mm": 1}, {"tolerance_mm": 0.1}, {"mirrored": True}, {"width_mm": 51}):
        params = {"width_mm": 50, **other}
        changed = asking.get(disc, {"If-None-Match": tag}, params=params)
        assert changed.status_code == 200
        assert changed.headers["etag"] != tag


@ON_ONE_STORE
@pytest.mark.parametrize(
    ("query", "parameter", "code"),
    [
        ("", "width_mm", "missing"),
        ("width_mm=0.5", "width_mm", "too-small"),
        ("width_mm=2001", "width_mm", "too-large"),
        ("width_mm=nan", "width_mm", "not-finite"),
        ("width_mm=wide", "width_mm", "wrong-type"),
        ("width_mm=50&offset_mm=-5.1", "offset_mm", "too-small"),
        ("width_mm=50&offset_mm=20.1", "offset_mm", "too-large"),
        ("width_mm=50&offset_mm=inf", "offset_mm", "not-finite"),
        ("width_mm=50&tolerance_mm=0", "tolerance_mm", "too-small"),
        ("width_mm=50&tolerance_mm=1.5", "tolerance_mm", "too-large"),
        ("width_mm=50&mirrored=left", "mirrored", "wrong-type"),
        ("width_mm=50&bleed=2", "bleed", "unknown-field"),
        ("width_mm=50&width_mm=60", "width_mm", "too-many"),
        ("width_mm=6&offset_mm=-3.5", "offset_mm", "nothing-left"),
    ],
)
def test_parameters_that_cannot_be_used(
    asking: Caller, disc: str, query: str, parameter: str, code: str
) -> None:
    """The parameter is named, with what is wrong."""
    error = only_error(refused(asking.get(f"{disc}?{query}"), 422, "fields-refused"))
    assert (error["parameter"], error["code"]) == (parameter, code)


@ON_ONE_STORE
def test_too_many_pieces(standing_shop: ShopDoor) -> None:
    """A picture of 22,500 dots is refused with what to do, and not followed for minutes."""
    dots = np.tile(np.pad(np.full((2, 2), 255, np.uint8), 1), (150, 150))
    rgba = np.zeros((*dots.shape, 4), np.uint8)
    rgba[..., 3] = dots
    caller = standing_shop.caller("dots-tester", "storefront")
    response = caller.get(_address(caller, _png(Image.fromarray(rgba))), params={"width_mm": 80})
    problem = refused(response, 422, "fields-refused")
    error = only_error(problem)
    assert (error["parameter"], error["code"]) == ("artwork_id", "outline-too-fine")
    assert "22,500 pieces" in problem["detail"]


@ON_ONE_STORE
def test_an_offset_too_small_to_be_drawn_is_none(asking: Caller, disc: str) -> None:
    """Less than a step of the coordinates, 0.001 mm, changes nothing."""
    plain = asking.get(disc, params={"width_mm": 50}).text
    for offset in ("1e-300", "-1e-9", "0.0004", "-0"):
        answer = asking.get(disc, params={"width_mm": 50, "offset_mm": offset})
        assert (answer.status_code, answer.text) == (200, plain)


@ON_ONE_STORE
def test_what_is_thinner_than_a_step_cannot_be_cut(asking: Caller) -> None:
    """A hair that is 0.0001 mm high at that width: the width is what has to change."""
    address = _address(asking, _png(Image.new("RGBA", (10_000, 1), "#204080")))
    error = only_error(refused(asking.get(address, params={"width_mm": 1}), 422, "fields-refused"))
    assert (error["parameter"], error["code"]) == ("width_mm", "nothing-left")
    assert "nothing is as broad as 0.001 mm. Give a greater width_mm." in error["detail"]


@ON_ONE_STORE
def test_the_box_of_an_opaque_picture(asking: Caller) -> None:
    """A plain opaque picture is cut along its edge."""
    root = _xml(asking.get(_address(asking, picture()), params={"width_mm": 30}).content)
    (path,) = root.iter(f"{NAME}path")
    corners = {"0.000 0.000", "30.000 0.000", "30.000 30.000", "0.000 30.000"}
    assert {part.strip(" MLZ") for part in path.get("d", "").split("L")} == corners


@ON_ONE_STORE
def test_only_ones_own(standing_shop: ShopDoor, disc: str) -> None:
    """Another storefront's artwork is told like none at all; the bench may cut everyone's."""
    foreign = standing_shop.other.get(disc, params={"width_mm": 50})
    none = standing_shop.other.get("/v1/artworks/art_none/outline.svg", params={"width_mm": 50})
    refused(foreign, 404, "artwork-not-found")
    assert without_instance(foreign) == without_instance(none)
    assert standing_shop.staff.get(disc, params={"width_mm": 50}).status_code == 200


@ON_ONE_STORE
def test_it_is_described(standing_shop: ShopDoor) -> None:
    """The description shows the media type and the limits."""
    document = answered(standing_shop.nobody.get("/openapi.json"), 200)
    operation = document["paths"]["/v1/artworks/{artwork_id}/outline.svg"]["get"]
    assert list(operation["responses"]["200"]["content"]) == ["image/svg+xml"]
    limits = {one["name"]: one["schema"] for one in operation["parameters"]}
    assert (limits["offset_mm"]["minimum"], limits["offset_mm"]["maximum"]) == (-5, 20)
    assert math.isclose(limits["tolerance_mm"]["default"], 0.05)
