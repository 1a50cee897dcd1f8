"""Sharpness, palette, ink and sizes against pictures and libraries from outside.

The pictures are the standard test pictures shipped with scikit-image; they are enlarged and
converted with Pillow. The reference clustering is OpenCV's k-means.
"""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage import data, filters, measure

from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour
from service.domain.colour import lab_from_srgb, lab_from_srgb_hex
from service.domain.measuring import ink_shares
from service.domain.measuring import measure as measure_artwork
from service.domain.preflight import preflight
from service.domain.remarks import Level, Shown
from service.domain.shapes import measure_shapes, outline_length_px
from service.domain.sharpness import ENLARGED_EDGE_PX, edge_width_px

Floats = NDArray[np.float64]

# scikit-image is not annotated: what is used of it, as it is used here.
find_contours: Callable[..., list[Floats]] = measure.find_contours
gaussian: Callable[..., Floats] = filters.gaussian
label: Callable[..., NDArray[np.int64]] = measure.label

SHARP = ("camera", "astronaut", "coins", "coffee", "chelsea", "page", "text", "horse", "brick",
         "grass", "gravel", "rocket")  # fmt: skip
RESAMPLINGS = (
    Image.Resampling.BILINEAR,
    Image.Resampling.BICUBIC,
    Image.Resampling.LANCZOS,
)
MM = 12
"""Pixels to a millimetre of what is drawn here."""


def _standard(name: str) -> Image.Image:
    """A standard picture, in colour."""
    pixels: Any = getattr(data, name)()
    if pixels.dtype == np.bool_:
        pixels = pixels.astype(np.uint8) * 255
    return Image.fromarray(np.asarray(pixels, np.uint8)).convert("RGB")


def _middle(picture: Image.Image, side: int = 320) -> Image.Image:
    """Its middle, at most ``side`` pixels each way: enough edges to enlarge."""
    left, top = max(0, (picture.width - side) // 2), max(0, (picture.height - side) // 2)
    right, bottom = min(picture.width, left + side), min(picture.height, top + side)
    return picture.crop((left, top, right, bottom))


def _edge(picture: Image.Image) -> float:
    whole = InkBox(left=0, top=0, width=picture.width, height=picture.height)
    edge = edge_width_px(np.asarray(picture.convert("RGBA")), whole)
    assert edge is not None
    return edge


def _enlarged(picture: Image.Image, times: int, how: Image.Resampling) -> Image.Image:
    return picture.resize((picture.width * times, picture.height * times), how)


def _as_jpeg(picture: Image.Image, quality: int) -> Image.Image:
    file = BytesIO()
    picture.save(file, format="JPEG", quality=quality)
    return Image.open(file).convert("RGB")


@pytest.mark.parametrize("name", SHARP)
def test_standard_pictures_are_sharp_and_enlarged_ones_are_not(name: str) -> None:
    """Native ones stay under the limit, four times enlarged ones far above it, by any filter.

    Twice enlarged ones have edges 1.4 to 2.2 times as wide: the ratio of pixels to detail is told
    to about a third.
    """
    assert _edge(_standard(name)) < ENLARGED_EDGE_PX
    picture = _middle(_standard(name))
    native = _edge(picture)
    assert native < ENLARGED_EDGE_PX
    for how in RESAMPLINGS:
        assert 1.4 < _edge(_enlarged(picture, 2, how)) / native < 2.2
        assert _edge(_enlarged(picture, 4, how)) > 1.5 * ENLARGED_EDGE_PX


@pytest.mark.parametrize("name", SHARP[:5])
def test_lossy_files_hide_no_enlargement(name: str) -> None:
    """JPEG makes neither an enlarged picture sharp nor a sharp one enlarged."""
    picture = _standard(name)
    assert _edge(_as_jpeg(picture, 75)) < ENLARGED_EDGE_PX
    enlarged = _enlarged(_middle(picture), 4, Image.Resampling.BICUBIC)
    assert _edge(_as_jpeg(enlarged, 75)) > 1.5 * ENLARGED_EDGE_PX


def test_a_picture_made_smaller_is_sharp_again() -> None:
    """What was enlarged and made smaller by as much has the edges it began with."""
    picture = _standard("astronaut")
    back = _enlarged(picture, 4, Image.Resampling.BICUBIC).resize(
        picture.size, Image.Resampling.BOX
    )
    assert _edge(back) == pytest.approx(_edge(picture), rel=0.35)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "rocket"])
def test_ink_is_that_of_plain_cyan_magenta_and_yellow(name: str) -> None:
    """The mean cover by three inks is that of Pillow's own conversion."""
    picture = _standard(name)
    inks = np.asarray(picture.convert("CMYK"), np.float64)
    assert inks[..., 3].max() == 0
    whole = InkBox(left=0, top=0, width=picture.width, height=picture.height)
    shares = ink_shares(np.asarray(picture.convert("RGBA")), whole)
    assert shares.cover == 1
    assert shares.colour == pytest.approx(inks[..., :3].mean() / 255, abs=1e-5)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "rocket"])
def test_palette_beside_a_reference_clustering(name: str) -> None:
    """As many colours as OpenCV's k-means leave each pixel hardly nearer: 1.35 times at most.

    Both by root mean square distance in CIELAB. Ours gives up what k-means does not: colours that
    look alike, noise, and means in favour of colours that are in the picture.
    """
    picture = _standard(name)
    labs = lab_from_srgb(np.asarray(picture).reshape(-1, 3)[::7])
    palette = measure_artwork(np.asarray(picture.convert("RGBA"))).palette
    ours = np.array([lab_from_srgb_hex(colour.srgb) for colour in palette])
    assert _left_over(labs, ours) <= 1.35 * _left_over(labs, _clustered(labs, len(palette)))
    near = np.argmin(((labs[:, None] - ours[None]) ** 2).sum(axis=2), axis=1)
    counted = np.bincount(near, minlength=len(palette)) / len(labs)
    shares = [colour.share for colour in palette]
    assert np.abs(counted - shares).sum() / 2 < 0.2


def _clustered(labs: Floats, count: int) -> Floats:
    """Centres of k-means, the best of three tries from k-means++ seeds."""
    cv2.setRNGSeed(5)
    rounds = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.1)
    points, unlabelled = labs.astype(np.float32), np.zeros((len(labs), 1), np.int32)
    _, _, centres = cv2.kmeans(points, count, unlabelled, rounds, 3, cv2.KMEANS_PP_CENTERS)
    return np.asarray(centres, np.float64)


def _left_over(labs: Floats, centres: Floats) -> float:
    squares = ((labs[:, None] - centres[None]) ** 2).sum(axis=2)
    return float(np.sqrt(squares.min(axis=1).mean()))


def test_flat_colours_are_those_of_the_reference_clustering() -> None:
    """On flat colours with smoothed edges k-means finds all of ours, to less than can be seen.

    Just noticeable is about 2.3 in CIELAB: Color Research and Application 19 (1994) 105 to 121.
    """
    names = ("#c81e28", "#f0d020", "#1030c0", "#101014")
    small = Image.new("RGB", (40, 40), names[0])
    for place, name in enumerate(names[1:]):
        small.paste(name, (10 * place + 5, 4, 10 * place + 12, 34))
    picture = small.resize((400, 400), Image.Resampling.NEAREST).rotate(
        20, Image.Resampling.BICUBIC, fillcolor=names[0]
    )
    palette = measure_artwork(np.asarray(picture.convert("RGBA"))).palette
    assert {colour.srgb for colour in palette} == set(names)
    ours = np.array([lab_from_srgb_hex(colour.srgb) for colour in palette])
    labs = lab_from_srgb(np.asarray(picture).reshape(-1, 3))
    apart = np.linalg.norm(_clustered(labs, len(ours))[:, None] - ours[None], axis=2)
    assert apart.min(axis=0).max() < 2.3
    near = np.argmin(np.linalg.norm(labs[:, None] - ours[None], axis=2), axis=1)
    counted = np.bincount(near) / near.size
    assert counted == pytest.approx([colour.share for colour in palette], abs=0.02)


def test_the_horse_of_the_standard_pictures() -> None:
    """A silhouette nobody drew for us: pieces, holes and outline as scikit-image finds them."""
    cover = 255 - np.asarray(_standard("horse").convert("L"))
    shapes = measure_shapes(cover)
    padded = np.pad(cover, 2)
    pieces, clear = (label(m, connectivity=c) for m, c in ((padded >= 128, 2), (padded < 128, 1)))
    assert shapes.pieces == (np.bincount(pieces.ravel())[1:] >= 4).sum()
    assert shapes.holes == (np.bincount(clear.ravel())[1:] >= 4).sum() - 1
    # Marching squares on a hard mask are 5 % too long on curves, so both smooth it first.
    lines = find_contours(gaussian(padded.astype(float), 0.8), 127.5, "high")
    length = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
    assert outline_length_px(cover) == pytest.approx(length, rel=0.02)


def _measured(cover: NDArray[np.float64]) -> ArtworkMeasures:
    rgba = np.zeros((*cover.shape, 4), np.uint8)
    rgba[..., 3] = np.rint(cover * 255)
    return measure_artwork(rgba)


@pytest.mark.parametrize("degrees", [0, 30])
@pytest.mark.parametrize("thick_mm", [0.5, 1.0, 1.5, 2.0, 3.5, 5.0])
def test_bars_in_millimetres(thick_mm: float, degrees: float) -> None:
    """A bar t x 60 mm at true size: feature t to half a pixel, length 2 (t + 60). Geometry."""
    fine, turn = 4, np.radians(degrees)
    wide, high = 70 * MM, int(60 * np.sin(turn) + thick_mm + 4) * MM
    across = (np.arange(wide * fine) + 0.5)[None, :] / fine / MM - 35
    down = (np.arange(high * fine) + 0.5)[:, None] / fine / MM - high / MM / 2
    length = np.abs(across * np.cos(turn) + down * np.sin(turn)) <= 30
    inside = length & (np.abs(down * np.cos(turn) - across * np.sin(turn)) <= thick_mm / 2)
    art = _measured(inside.reshape(high, fine, wide, fine).mean(axis=(1, 3)))
    at = art.at(art.ink_box.width / MM)
    assert at.smallest_feature_mm == pytest.approx(thick_mm, abs=0.5 / MM)
    assert at.smallest_gap_mm is None
    assert at.cut_length_mm == pytest.approx(2 * (thick_mm + 60), rel=0.02)


@pytest.mark.parametrize(("stroke", "gap"), [(12, 6), (9, 12), (24, 18), (40, 10)])
def test_glyphs_in_millimetres(stroke: int, gap: int) -> None:
    """A comb, a ring, a hook and a dot in its corner, set like a word: all by geometry.

    Widths within half a pixel, length within 0.5 % and 0.7 px for each of the 28 right corners,
    which a smoothed outline cuts off.
    """
    s, g, high, arm = stroke, gap, 3 * stroke + 2 * gap, 4 * stroke
    cover = np.zeros((high, 4 * arm))
    cover[:, :s] = 1
    for row in range(0, high, s + g):
        cover[row : row + s, :arm] = 1
    left = arm + g
    cover[:, left : left + 2 * s + g] = 1
    cover[s : high - s, left + s : left + s + g] = 0
    left += 2 * s + 2 * g
    cover[:, left : left + s] = cover[:s, left : left + arm] = 1
    cover[s + g : 2 * s + g, left + s + g : left + 2 * s + g] = 1
    art = _measured(cover)
    at, shapes = art.at((left + arm) / MM), art.shapes
    assert shapes is not None
    assert (art.ink_box.width, shapes.pieces, shapes.holes) == (left + arm, 4, 1)
    assert at.smallest_feature_mm == pytest.approx(s / MM, abs=0.5 / MM)
    assert at.smallest_gap_mm == pytest.approx(g / MM, abs=0.5 / MM)
    comb = 2 * (arm + high) + 4 * (arm - s)
    ring = 2 * (2 * s + g + high) + 2 * (g + high - 2 * s)
    length = comb + ring + 2 * (arm + high) + 4 * s
    tolerance = 0.005 * length + 28 * 0.7
    assert at.cut_length_mm == pytest.approx(length / MM, abs=tolerance / MM)


def _sized(width_px: int, height_px: int) -> ArtworkMeasures:
    return ArtworkMeasures(
        width_px=width_px,
        height_px=height_px,
        ink_box=InkBox(left=0, top=0, width=width_px, height=height_px),
        has_alpha=False,
        opaque_share=1,
        soft_alpha_share=0,
        near_white_share=0,
        palette=(PaletteColour(srgb="#101010", share=1),),
    )


# Source: common practice, no source (trade guides: 300 ideal, 200 accepted, 150 with a note, less
# warned of, under 100 refused); the figures themselves are arithmetic.
@pytest.mark.parametrize(
    ("width_px", "width_mm", "ppi", "level"),
    [
        (3_000, 254.0, 300.0, Level.GOOD),
        (1_200, 280.0, 108.9, Level.LOOK),
        (2_244, 380.0, 150.0, Level.GOOD),
        (3_543, 300.0, 300.0, Level.GOOD),
        (1_000, 300.0, 84.7, Level.ACT),
    ],
)
def test_resolution_of_worked_examples(
    width_px: int, width_mm: float, ppi: float, level: Level
) -> None:
    """Pixels per inch of width, and what the report says of them."""
    art = _sized(width_px, width_px)
    assert art.at(width_mm).resolution_ppi == pytest.approx(ppi, abs=0.1)
    told = {remark.id: remark for remark in preflight(Shown(art, width_mm=width_mm))}
    assert told["resolution"].level is level
