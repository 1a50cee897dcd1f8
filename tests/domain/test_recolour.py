"""Recolouring pixels: the same model as the rules', pixel by pixel."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.artwork import PaletteColour
from service.domain.colour import (
    Lab,
    delta_e_2000,
    hex_from_srgb,
    lab_from_srgb,
    lab_from_srgb_hex,
    srgb_from_hex,
)
from service.domain.look import Surface, SurfaceKind, predict
from service.domain.recolour import MOST_EXACT, codes_of, light_of, recoloured

POLICY = load_catalogue(demo_shop_path()).catalogue.policy
BLACK, WHITE = lab_from_srgb_hex("#1c1c1e"), lab_from_srgb_hex("#f7f7f5")
ROYAL, SKY = lab_from_srgb_hex("#1f4fa3"), lab_from_srgb_hex("#a9d3ee")
FILM = lab_from_srgb_hex("#f5f5f2")
SURFACES = {
    "dye on coloured polyester": Surface(SurfaceKind.DYED, ROYAL, ROYAL),
    "dye on a blend": Surface(SurfaceKind.DYED, SKY, SKY, dye_share=0.65),
    "dye on glitter": Surface(SurfaceKind.DYED, FILM, BLACK, veil=0.1),
    "printed film": Surface(SurfaceKind.PRINTED, FILM, BLACK),
    "cut film": Surface(SurfaceKind.CUT, FILM, BLACK, films=(FILM, lab_from_srgb_hex("#b3262e"))),
}


def random_codes(count: int) -> NDArray[np.uint8]:
    """Codes (count, 3) spread over all of sRGB, the same each time."""
    return np.random.default_rng(20_26).integers(0, 256, (count, 3), dtype=np.uint8)


def looked_up(codes: NDArray[np.uint8], surface: Surface) -> NDArray[np.uint8]:
    """What the look model's own door predicts for each of the codes."""
    palette = [PaletteColour(srgb=hex_from_srgb(code), share=1) for code in codes]
    looks = predict(palette, surface, POLICY).colours
    return np.array([srgb_from_hex(look.predicted) for look in looks], dtype=np.uint8)


@pytest.mark.parametrize("name", SURFACES)
def test_every_pixel_looks_as_the_rules_predict(name: str) -> None:
    """Not a code differs from the look model, whose figures are checked against published ones."""
    codes = random_codes(400)
    surface = SURFACES[name]
    assert np.array_equal(recoloured(codes, surface, POLICY), looked_up(codes, surface))


@pytest.mark.parametrize("name", ["dye on coloured polyester", "dye on a blend", "dye on glitter"])
def test_many_colours_of_dye_are_exact(name: str) -> None:
    """However many colours there are, not a code differs."""
    codes = random_codes(MOST_EXACT + 404)
    made = recoloured(codes, SURFACES[name], POLICY)
    assert np.array_equal(made, looked_up(codes, SURFACES[name]))


def test_many_colours_of_printed_film_stay_near() -> None:
    """CIEDE2000 below 1 for 99 of 100 random colours, where neighbours are taken together.

    The rest are those for which the model itself jumps from one grey of its nine to the next.
    """
    codes, surface = random_codes(MOST_EXACT + 1_904), SURFACES["printed film"]
    off = delta_e_2000(
        lab_from_srgb(recoloured(codes, surface, POLICY)),
        lab_from_srgb(looked_up(codes, surface)),
    )
    assert float(np.percentile(off, 99)) < 1
    assert float(off.max()) < 6


def test_many_colours_of_cut_film_are_film_colours() -> None:
    """However many colours there are, each becomes one of the two films."""
    surface = SURFACES["cut film"]
    made = recoloured(random_codes(6_000), surface, POLICY)
    few = recoloured(np.array([[255, 255, 255], [190, 20, 30]], dtype=np.uint8), surface, POLICY)
    assert {tuple(code) for code in made.tolist()} == {tuple(code) for code in few.tolist()}


@pytest.mark.parametrize("cloth", [BLACK, WHITE, ROYAL, SKY])
def test_white_dye_shows_the_cloth(cloth: Lab) -> None:
    """A dye that throws back all light changes nothing (overprint as a filter; common practice)."""
    white = np.full((1, 3), 255, dtype=np.uint8)
    for share in (1.0, 0.5):
        surface = Surface(SurfaceKind.DYED, cloth, cloth, dye_share=share)
        seen = lab_from_srgb(recoloured(white, surface, POLICY))[0]
        assert float(delta_e_2000(seen, cloth)) < 0.5


def test_a_picture_keeps_its_shape() -> None:
    """Rows and columns come back as they went in."""
    codes = random_codes(35).reshape(5, 7, 3)
    made = recoloured(codes, SURFACES["printed film"], POLICY)
    assert made.shape == codes.shape
    assert np.array_equal(made[3, 4], recoloured(codes[3, 4], SURFACES["printed film"], POLICY))


def test_codes_and_light_agree() -> None:
    """Every code comes back from its light; half of all light is code 188 (IEC 61966-2-1)."""
    codes = np.arange(256, dtype=np.uint8)
    assert np.array_equal(codes_of(light_of(codes)), codes)
    assert codes_of(np.array([0.5, -0.1, 1.5], dtype=np.float32)).tolist() == [188, 0, 255]
