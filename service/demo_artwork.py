"""The demonstration artworks, drawn here and invented by us: one for each thing a picture can show.

Every pixel comes from whole numbers, so that the same pictures are drawn on every machine.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from service.domain.errors import NotFound
from service.intake.artwork_views import get_artwork
from service.intake.artworks import upload_artwork
from service.intake.services import Caller, Services

DEMO_HOLDER = "demo-storefront"
DEMO_ARTWORK_ID = "art_demo-hill"
_WIDTH_PX, _HEIGHT_PX = 2_400, 2_000

_BLUE, _BRICK, _BLACK = (31, 79, 160, 255), (179, 38, 46, 255), (20, 20, 22, 255)
_WHITE, _LAGOON = (255, 255, 255, 255), (27, 127, 140, 255)


@dataclass(frozen=True, slots=True)
class DemoArtwork:
    """A picture for the store: its fixed id, how it is drawn, whether the right is declared."""

    id: str
    draw: Callable[[], bytes]
    rights_declared: bool = True


def draw_demo_artwork() -> bytes:
    """A 2400 x 2000 px PNG with a transparent ground, in four flat colours."""
    picture = Image.new("RGBA", (_WIDTH_PX, _HEIGHT_PX), (0, 0, 0, 0))
    draw = ImageDraw.Draw(picture)
    draw.ellipse((1_300, 100, 2_100, 900), fill=(244, 180, 26, 255))
    draw.polygon([(190, 1_760), (900, 500), (1_740, 1_760)], fill=(46, 125, 50, 255))
    draw.polygon([(900, 1_760), (1_560, 780), (2_210, 1_760)], fill=(129, 178, 20, 255))
    draw.rounded_rectangle((60, 1_660, 2_340, 1_900), radius=110, fill=(21, 101, 192, 255))
    kept = io.BytesIO()
    picture.save(kept, format="PNG", optimize=True)
    return kept.getvalue()


def draw_boat() -> bytes:
    """A boat under sail with a porthole: one bold piece in one colour, 1120 px across."""
    return _png(_boat(_BLACK))


def draw_borrowed_boat() -> bytes:
    """The boat in another colour, to be kept without a declared right."""
    return _png(_boat(_LAGOON))


def draw_kite() -> bytes:
    """A kite in black lines 3 px wide on 1200 px: hairlines at any width a garment has."""
    picture, draw = _clear(1_240, 940)
    corners = [(20, 470), (620, 20), (1_219, 470), (620, 919)]
    draw.line([*corners, corners[0]], fill=_BLACK, width=3)
    draw.line([corners[0], corners[2]], fill=_BLACK, width=3)
    draw.line([corners[1], corners[3]], fill=_BLACK, width=3)
    return _png(picture)


def draw_shutter() -> bytes:
    """A bold block in one colour, parted by slits 4 px wide on 1000 px: gaps hard to weed."""
    picture, draw = _clear(1_000, 700)
    draw.rectangle((0, 0, 999, 699), fill=_BRICK)
    for top in (170, 350, 530):
        draw.rectangle((100, top, 899, top + 3), fill=(0, 0, 0, 0))
    return _png(picture)


def draw_confetti() -> bytes:
    """Thirty separate dots in one colour, 60 px each on 844 px."""
    picture, draw = _clear(900, 750)
    for index in range(30):
        left, top = 150 * (index % 6) + 17 * (index % 3), 150 * (index // 6) + 13 * (index % 4)
        draw.ellipse((left, top, left + 59, top + 59), fill=_LAGOON)
    return _png(picture)


def draw_beacon() -> bytes:
    """A tower in broad bands of red and white, without a background."""
    picture, draw = _clear(700, 1_000)
    for band in range(5):
        colour = _WHITE if band % 2 else _BRICK
        draw.rectangle((50, 200 * band, 649, 200 * band + 199), fill=colour)
    return _png(picture)


def draw_boxed_boat() -> bytes:
    """The boat, small, saved without transparency on a white box of 800 px."""
    box = Image.new("RGBA", (800, 800), _WHITE)
    small = _boat(_BLUE).resize((640, 640), Image.Resampling.NEAREST)
    box.paste(small, (80, 80), small)
    return _png(box.convert("RGB"))


def draw_glow() -> bytes:
    """A round glow in orange, solid within 100 px and faded out at 300 px."""
    down, across = np.mgrid[-300:300, -300:300]
    squared = down * down + across * across
    inner, outer = 100**2, 300**2
    alpha = np.clip(255 * (outer - squared) // (outer - inner), 0, 255)
    pixels = np.empty((600, 600, 4), dtype=np.uint8)
    pixels[..., :3] = (242, 122, 26)
    pixels[..., 3] = alpha
    return _png(Image.fromarray(pixels))


def draw_dusk() -> bytes:
    """A photograph-like dusk over water, 900 x 675 px: colours that run, ripples and grain."""
    down, across = np.mgrid[0:675, 0:900]
    ripple = np.where(down < 405, 0, 3 * np.abs((down * 5 + across // 7) % 24 - 12) - 18)
    glow = np.clip(260 - (np.abs(across - 525) + 2 * np.abs(down - 350)) * 4 // 9, 0, 260)
    red = 60 + glow * 2 // 3 + down // 9
    green = 50 + glow * 2 // 5 + down // 15
    blue = 110 + (675 - down) // 8 - glow // 8
    pixels = np.stack([red, green, blue], axis=-1) + (ripple + _grain(down, across))[..., None]
    return _png(Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)))


DEMO_ARTWORKS = (
    DemoArtwork(DEMO_ARTWORK_ID, draw_demo_artwork),
    DemoArtwork("art_demo-boat", draw_boat),
    DemoArtwork("art_demo-borrowed", draw_borrowed_boat, rights_declared=False),
    DemoArtwork("art_demo-kite", draw_kite),
    DemoArtwork("art_demo-shutter", draw_shutter),
    DemoArtwork("art_demo-confetti", draw_confetti),
    DemoArtwork("art_demo-beacon", draw_beacon),
    DemoArtwork("art_demo-boxed", draw_boxed_boat),
    DemoArtwork("art_demo-glow", draw_glow),
    DemoArtwork("art_demo-dusk", draw_dusk),
)
"""The artworks of the demonstration, the hill first."""


def seed_demo_artwork(services: Services) -> str:
    """Put the demonstration artworks in the store under their fixed ids, once; gives the hill's."""
    caller = Caller(DEMO_HOLDER)
    for artwork in DEMO_ARTWORKS:
        try:
            get_artwork(services, caller, artwork.id)
        except NotFound:
            upload_artwork(
                services,
                caller,
                artwork.draw(),
                declared_media_type="image/png",
                rights_declared=artwork.rights_declared,
                artwork_id=artwork.id,
            )
    return DEMO_ARTWORK_ID


def _clear(width_px: int, height_px: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    picture = Image.new("RGBA", (width_px, height_px), (0, 0, 0, 0))
    return picture, ImageDraw.Draw(picture)


def _png(picture: Image.Image) -> bytes:
    kept = io.BytesIO()
    picture.save(kept, format="PNG", compress_level=1)
    return kept.getvalue()


def _boat(colour: tuple[int, int, int, int]) -> Image.Image:
    picture, draw = _clear(1_240, 1_240)
    draw.polygon([(60, 820), (1_179, 820), (980, 1_179), (260, 1_179)], fill=colour)
    draw.rectangle((570, 61, 670, 860), fill=colour)
    draw.pieslice((170, 240, 1_170, 1_240), 270, 360, fill=colour)
    draw.pieslice((190, 360, 950, 1_120), 180, 270, fill=colour)
    draw.rectangle((190, 741, 1_170, 819), fill=(0, 0, 0, 0))
    draw.rectangle((570, 741, 670, 819), fill=colour)
    draw.ellipse((560, 930, 680, 1_050), fill=(0, 0, 0, 0))
    return picture


def _grain(down: NDArray[np.int_], across: NDArray[np.int_]) -> NDArray[np.int_]:
    """Noise from -10 to 10 that follows from the place alone, by a hash of whole numbers."""
    mixed = (down * 73_856_093 ^ across * 19_349_663) & 0xFFFFFF
    mixed = (mixed * 2_654_435 >> 7) & 0xFFFF
    return mixed % 21 - 10
