"""Flat artworks, photographs and background boxes, told apart.

Photographs are the standard test pictures that scikit-image ships inside its wheel.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
import skimage.data
from PIL import Image, ImageDraw

from service.demo_artwork import DEMO_ARTWORKS, draw_boxed_boat, draw_dusk
from service.domain.flatness import background_colour, figure_cover, is_photo_like
from service.domain.measuring import measure
from service.domain.planes import Pixels

Colour = tuple[int, int, int]

# Which of them hold photographs, micrographs or shaded pictures was seen by eye.
PHOTOGRAPHS = (
    "astronaut.png",
    "brick.png",
    "camera.png",
    "cell.png",
    "chelsea.png",
    "clock_motion.png",
    "coffee.png",
    "coins.png",
    "grass.png",
    "gravel.png",
    "hubble_deep_field.jpg",
    "ihc.png",
    "logo.png",
    "microaneurysms.png",
    "moon.png",
    "motorcycle_left.png",
    "page.png",
    "retina.jpg",
    "rocket.jpg",
    "text.png",
)
FLAT_PICTURES = ("chessboard_GRAY.png", "chessboard_RGB.png", "horse.png", "phantom.png")

WHITE: Colour = (255, 255, 255)


def _shipped(name: str) -> Image.Image:
    return Image.open(Path(skimage.data.__file__).parent / name).convert("RGBA")


def _pixels(picture: Image.Image) -> Pixels:
    return np.asarray(picture.convert("RGBA"))


def _as_jpeg(picture: Image.Image, quality: int) -> Pixels:
    """As a lossy file shows it, on white."""
    page = Image.new("RGB", picture.size, WHITE)
    page.paste(picture, mask=picture.convert("RGBA").getchannel("A"))
    file = io.BytesIO()
    page.save(file, "JPEG", quality=quality)
    return _pixels(Image.open(file))


def _gradient(first: int, last: int, side: int) -> Pixels:
    codes = np.linspace(first, last, side).astype(np.uint8)
    plane = np.tile(codes, (side, 1))
    return np.dstack([plane, plane, 255 - plane, np.full_like(plane, 255)])


def _stripes(degrees: float, side: int = 800) -> Pixels:
    """Antialiased stripes, a colour and white in turn, the edges ``degrees`` off upright."""
    across, down = np.meshgrid(np.arange(side), np.arange(side))
    angle = np.radians(degrees)
    place = (across * np.cos(angle) + down * np.sin(angle)) % 40
    share = np.clip(np.minimum(place, 40 - place) - 9.5, 0, 1)[..., None]
    colours = np.rint(share * (200, 20, 60) + (1 - share) * WHITE)
    return np.dstack([colours, np.full((side, side), 255)]).astype(np.uint8)


def _ring_on(box: Colour, ink: Colour) -> Image.Image:
    """A ring 16 px wide on a box, antialiased: drawn eight times as large."""
    large = Image.new("RGB", (2_400, 2_400), box)
    draw = ImageDraw.Draw(large)
    draw.ellipse((400, 400, 1_999, 1_999), fill=ink)
    draw.ellipse((528, 528, 1_871, 1_871), fill=box)
    return large.resize((300, 300), Image.Resampling.BOX)


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_photographs_are_photo_like(name: str) -> None:
    """Every photograph among the standard pictures is one, saved well, saved badly, or small."""
    picture = _shipped(name)
    assert is_photo_like(_pixels(picture))
    assert is_photo_like(_as_jpeg(picture, 50))
    assert is_photo_like(_pixels(picture.reduce(2)))


@pytest.mark.parametrize("name", FLAT_PICTURES)
def test_flat_pictures_are_not(name: str) -> None:
    """Silhouettes, chessboards and a phantom of flat greys are none, however they were saved."""
    picture = _shipped(name)
    assert not is_photo_like(_pixels(picture))
    assert not is_photo_like(_as_jpeg(picture, 85))


def test_demo_artworks() -> None:
    """Of the demonstration artworks the dusk alone is photo-like."""
    drawn = {artwork.id: Image.open(io.BytesIO(artwork.draw())) for artwork in DEMO_ARTWORKS}
    photos = {id_ for id_, picture in drawn.items() if is_photo_like(_pixels(picture))}
    assert photos == {"art_demo-dusk"}
    assert not any(
        is_photo_like(_as_jpeg(drawn[id_], 60)) for id_ in ("art_demo-boat", "art_demo-beacon")
    )


@pytest.mark.parametrize("side", [60, 300, 1_500])
@pytest.mark.parametrize(("first", "last"), [(0, 255), (90, 150)])
def test_gradients_run(first: int, last: int, side: int) -> None:
    """A gradient is photo-like, steep or slow, in pictures of any size, and beside flat areas."""
    gradient = _gradient(first, last, side)
    assert is_photo_like(gradient)
    gradient[: side // 2] = (200, 30, 30, 255)
    assert is_photo_like(gradient)


@pytest.mark.parametrize("degrees", [0, 2, 10, 45, 87])
def test_antialiased_edges_do_not_run(degrees: float) -> None:
    """Edges nearly along a row change slowly from pixel to pixel, yet are edges."""
    assert not is_photo_like(_stripes(degrees))


def test_soft_alpha_is_no_colour() -> None:
    """Ink that fades out keeps its colour; colours of what is not opaque do not count."""
    faded = np.zeros((200, 200, 4), np.uint8)
    faded[...] = (242, 122, 26, 0)
    faded[..., 3] = np.linspace(0, 255, 200)
    assert not is_photo_like(faded)
    hidden = _gradient(0, 255, 200)
    hidden[..., 3] = 90
    hidden[50:60, 50:60] = (0, 0, 0, 255)
    assert not is_photo_like(hidden)


def test_grain_runs() -> None:
    """Noise all over is photo-like; a mosaic of a few flat colours in small tiles is not."""
    numbers = np.random.default_rng(4)
    noise = numbers.integers(0, 256, (200, 200, 4), dtype=np.uint8)
    noise[..., 3] = 255
    assert is_photo_like(noise)
    palette = numbers.integers(0, 256, (12, 4), dtype=np.uint8)
    palette[:, 3] = 255
    for tile in (2, 5, 20):
        chosen = numbers.integers(0, 12, (400 // tile, 400 // tile))
        assert not is_photo_like(palette[chosen].repeat(tile, 0).repeat(tile, 1))


@pytest.mark.parametrize("shape", [(1, 1), (1, 700), (700, 1), (3, 3)])
def test_slivers_are_flat(shape: tuple[int, int]) -> None:
    """A plain picture of any shape is flat, with ink or hardly any."""
    plain = np.full((*shape, 4), 255, np.uint8)
    assert not is_photo_like(plain)
    plain[..., 3] = 40
    assert not is_photo_like(plain)


def test_background_box() -> None:
    """A uniform opaque border is a background; the figure on it is what is measured."""
    measures = measure(_pixels(_ring_on(WHITE, (180, 20, 40))))
    assert measures.background_srgb == "#ffffff"
    assert measures.shapes is not None
    assert (measures.shapes.pieces, measures.shapes.holes) == (1, 1)
    # Shares are of the width printed, which is that of the box.
    assert measures.ink_box.width == 300
    assert measures.shapes.smallest_feature * 300 == pytest.approx(16, abs=0.5)
    assert measures.shapes.smallest_gap * 300 == pytest.approx(168, rel=0.03)
    length = np.pi * (200 + 168)
    assert measures.shapes.outline_length * 300 == pytest.approx(length, rel=0.02)


BOXES: Mapping[str, tuple[Colour, Colour]] = {
    "red on white": (WHITE, (200, 20, 30)),
    "white on navy": ((10, 20, 60), WHITE),
    "yellow on cream": ((250, 250, 250), (255, 230, 80)),
    "black on white": (WHITE, (20, 20, 20)),
}


@pytest.mark.parametrize("quality", [75, 85, 95])
@pytest.mark.parametrize("pair", BOXES)
def test_background_of_a_lossy_file(pair: str, quality: int) -> None:
    """What a lossy file leaves beside edges is no piece; widths hold within 1.5 px."""
    box, ink = BOXES[pair]
    measures = measure(_as_jpeg(_ring_on(box, ink), quality))
    assert measures.background_srgb is not None
    found = bytes.fromhex(measures.background_srgb[1:])
    assert max(abs(a - b) for a, b in zip(found, box, strict=True)) <= 4
    assert measures.shapes is not None
    assert (measures.shapes.pieces, measures.shapes.holes) == (1, 1)
    assert measures.shapes.smallest_feature * 300 == pytest.approx(16, abs=1.5)


def test_faint_figure_is_kept() -> None:
    """A figure that differs by little more than noise is one all the same."""
    measures = measure(_pixels(_ring_on(WHITE, (255, 255, 230))))
    assert measures.shapes is not None
    assert (measures.shapes.pieces, measures.shapes.holes) == (1, 1)


def test_no_background() -> None:
    """No box where the border is clear, of several colours, or all there is."""
    ring = _pixels(_ring_on(WHITE, (180, 20, 40))).copy()
    assert background_colour(ring) == WHITE
    ring[0, 150, 3] = 200
    assert background_colour(ring) is None
    ring[0, 150] = (255, 255, 200, 255)
    assert background_colour(ring) is None
    plain = np.full((50, 80, 4), (20, 90, 40, 255), np.uint8)
    measures = measure(plain)
    assert measures.background_srgb is None
    assert measures.shapes is not None
    assert measures.shapes.smallest_feature == pytest.approx(50 / 80, rel=0.03)
    plain[20:30, 20:60, 3] = 0
    measures = measure(plain)
    assert measures.background_srgb is None
    assert measures.shapes is not None
    assert measures.shapes.holes == 1


def test_cover_of_an_edge() -> None:
    """A pixel that is half figure, half background is half covered, in any two colours."""
    box, ink = (250, 240, 20), (40, 200, 140)
    row = [box, box, tuple((a + b) // 2 for a, b in zip(box, ink, strict=True)), ink, ink]
    rgba = np.full((7, 9, 4), (*box, 255), np.uint8)
    rgba[3, 2:7, :3] = row
    rgba[2:5, 5:7, :3] = ink
    cover = figure_cover(rgba, box)
    assert cover[3, 2:7].tolist() == [0, 0, pytest.approx(127, abs=1), 255, 255]
    rgba[3, 6, 3] = 0
    assert figure_cover(rgba, box)[3, 6] == 0


def test_demo_backgrounds() -> None:
    """The boxed boat stands on white; the dusk, a picture all over, on nothing."""
    boxed, dusk = (
        measure(_pixels(Image.open(io.BytesIO(draw())))) for draw in (draw_boxed_boat, draw_dusk)
    )
    assert (boxed.background_srgb, boxed.photo_like) == ("#ffffff", False)
    assert boxed.shapes is not None
    assert (boxed.shapes.pieces, boxed.shapes.holes) == (1, 1)
    assert (dusk.background_srgb, dusk.photo_like) == (None, True)
