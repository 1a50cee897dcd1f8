"""The invented demonstration artworks: each is what the examples of checks take it for."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from service.demo_artwork import DEMO_ARTWORK_ID, DEMO_ARTWORKS
from service.domain.artwork import ArtworkMeasures
from service.domain.shop import Policy
from tests.demo_pictures import drawn, read_drawn

BY_ID = {artwork.id: artwork for artwork in DEMO_ARTWORKS}
FLAT = {
    "art_demo-boat": ["#141416"],
    "art_demo-borrowed": ["#1b7f8c"],
    "art_demo-kite": ["#141416"],
    "art_demo-shutter": ["#b3262e"],
    "art_demo-confetti": ["#1b7f8c"],
    "art_demo-beacon": ["#b3262e", "#ffffff"],
    "art_demo-boxed": ["#ffffff", "#1f4fa0"],
}


def measures(artwork_id: str) -> ArtworkMeasures:
    """What is measured of a demonstration artwork, read as an upload is."""
    return read_drawn(drawn(artwork_id)).measures


def test_the_hill_comes_first_and_no_id_twice() -> None:
    """The artwork that quotes and orders of the demonstration name is there."""
    assert DEMO_ARTWORKS[0].id == DEMO_ARTWORK_ID
    assert len(BY_ID) == len(DEMO_ARTWORKS)


def test_one_artwork_alone_is_kept_without_a_right() -> None:
    """Its pixels are no other's, for the same bytes of one holder are kept once."""
    undeclared = [artwork.id for artwork in DEMO_ARTWORKS if not artwork.rights_declared]
    assert undeclared == ["art_demo-borrowed"]
    assert len({drawn(id_) for id_ in BY_ID}) == len(DEMO_ARTWORKS)


@pytest.mark.parametrize("artwork_id", FLAT)
def test_the_flat_artworks_have_flat_colours_and_hard_edges(artwork_id: str) -> None:
    """One or two colours, and not one pixel that is half see-through."""
    found = measures(artwork_id)
    assert [colour.srgb for colour in found.palette] == FLAT[artwork_id]
    assert found.soft_alpha_share == 0


def test_the_glow_is_soft_and_the_rest_is_not() -> None:
    """Far more of the glow fades than the policy lets pass."""
    limit = Policy().soft_alpha_share
    assert [id_ for id_ in BY_ID if measures(id_).soft_alpha_share > limit] == ["art_demo-glow"]


def test_white_is_in_the_beacon_and_the_box() -> None:
    """White that dye cannot print, above what the policy lets pass."""
    limit = Policy().near_white_share
    white = [id_ for id_ in BY_ID if measures(id_).near_white_share > limit]
    assert white == ["art_demo-beacon", "art_demo-boxed"]


def test_the_boxed_boat_is_opaque_to_its_white_edge() -> None:
    """Saved without transparency: all four sides are white."""
    pixels = np.asarray(Image.open(BytesIO(drawn("art_demo-boxed"))))
    assert pixels.shape == (800, 800, 3)
    for side in (pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]):
        assert (side == 255).all()


def test_the_dusk_has_neither_flat_areas_nor_few_colours() -> None:
    """Neighbouring pixels differ nearly everywhere, as grain makes them."""
    pixels = np.asarray(Image.open(BytesIO(drawn("art_demo-dusk")))).astype(np.int16)
    steps = np.abs(np.diff(pixels, axis=1)).max(axis=-1)
    assert np.mean(steps > 3) > 0.5
    assert len(measures("art_demo-dusk").palette) > 6


@pytest.mark.parametrize("artwork_id", ["art_demo-glow", "art_demo-dusk"])
def test_computed_pictures_are_the_same_each_time(artwork_id: str) -> None:
    """Drawn from whole numbers alone, twice the same bytes."""
    assert BY_ID[artwork_id].draw() == drawn(artwork_id)
