"""Cut outlines against scikit-image's contours and pictures, and against a drawing of the result.

scikit-image follows outlines on its own; resvg draws the SVG again, and the pixels are compared.
"""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO, StringIO

import numpy as np
import pytest
import resvg_py
import shapely
from numpy.typing import NDArray
from PIL import Image
from skimage import data, measure
from svgelements import SVG, Path

from service.domain.contours import contours
from service.domain.cut_outline import CutOutline, CutWish, cut_outline
from service.domain.planes import Plane
from service.domain.shapes import measure_shapes, without_specks
from service.render.outline_svg import outline_svg

Points = NDArray[np.float64]

# scikit-image is not annotated: what is used of it, as it is used here.
find_contours: Callable[..., list[Points]] = measure.find_contours
horse_picture: Callable[[], NDArray[np.bool_]] = data.horse
binary_blobs: Callable[..., NDArray[np.bool_]] = data.binary_blobs


def _horse() -> Plane:
    """The horse silhouette shipped with scikit-image, in its ink box, not antialiased."""
    ink = ~horse_picture()
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    box = ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    cover: Plane = box.astype(np.uint8) * np.uint8(255)
    return cover


def _blobs(seed: int) -> Plane:
    """scikit-image's random blobs."""
    ink = binary_blobs(length=256, blob_size_fraction=0.12, volume_fraction=0.4, rng=seed)
    cover: Plane = without_specks(ink.astype(np.uint8) * np.uint8(255))[0]
    return cover


def _halved(cover: Plane) -> Plane:
    """Antialiased: each pixel the mean of sixteen."""
    height, width = (side // 4 * 4 for side in cover.shape)
    mean = cover[:height, :width].reshape(height // 4, 4, width // 4, 4).mean(axis=(1, 3))
    soft: Plane = without_specks(np.rint(mean).astype(np.uint8))[0]
    return soft


PICTURES = pytest.mark.parametrize(
    "cover", [_horse(), _blobs(1), _blobs(2), _halved(_horse()), _halved(_blobs(3))]
)


@PICTURES
def test_contours_are_those_of_marching_squares(cover: Plane) -> None:
    """As many closed lines as scikit-image finds at half coverage, all within a tenth of a pixel.

    Without antialiasing they are the same; with it, edges are placed by what pixels hold together
    and not by a straight line between their middles, which is off by up to 0.09 pixels.
    """
    # High connectivity is of the high values, as ink hangs together across corners.
    known = find_contours(np.pad(cover, 2).astype(float), 127.5, "high")
    found = contours(cover)
    assert len(found) == len(known)
    theirs = shapely.MultiLineString([line[:, ::-1] - 1.5 for line in known])
    ours = shapely.MultiLineString([np.vstack([c.points, c.points[:1]]) for c in found])
    assert shapely.hausdorff_distance(ours, theirs) <= 0.13


def _areas(outline: CutOutline) -> float:
    """Area in mm2 inside the drawing's paths, as svgelements reads them."""
    total = 0.0
    drawing = SVG.parse(StringIO(outline_svg(outline)), ppi=25.4)
    for path in drawing.elements(lambda element: isinstance(element, Path)):
        for subpath in path.as_subpaths():
            x, y = np.array([(part.end.x, part.end.y) for part in Path(subpath)]).T
            total += float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    return total


@PICTURES
@pytest.mark.parametrize("tolerance_mm", [0.01, 0.05, 0.2])
def test_area_of_the_drawing_is_that_of_the_pixels(cover: Plane, tolerance_mm: float) -> None:
    """The area of the SVG, parsed by svgelements, is that of the pixels' coverage, within 1 %.

    Counts of pieces and holes are those of the measures.
    """
    outline = cut_outline(cover, CutWish(200, tolerance_mm=tolerance_mm))
    pixel_mm = 200 / cover.shape[1]
    assert _areas(outline) == pytest.approx(cover.sum() / 255 * pixel_mm**2, rel=0.01)
    shapes = measure_shapes(cover)
    holes = sum(len(piece.holes) for piece in outline.pieces)
    assert (len(outline.pieces), holes) == (shapes.pieces, shapes.holes)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("cover", [_horse(), _halved(_blobs(4))])
def test_drawn_again_it_is_the_picture(cover: Plane, mirrored: bool) -> None:  # noqa: FBT001
    """Filled and drawn by resvg at the picture's own size, the SVG gives the picture back.

    Holes stay open by the fill rule that the drawing states.
    """
    outline = cut_outline(cover, CutWish(100, tolerance_mm=0.01, mirrored=mirrored))
    filled = (
        outline_svg(outline)
        .replace('fill="none"', 'fill="#000000"')
        .replace('stroke="#000000"', 'stroke="none"')
    )
    height, width = cover.shape
    drawn = resvg_py.svg_to_bytes(
        svg_string=filled, width=width, height=height, dpi=96, skip_system_fonts=True
    )
    alpha = np.asarray(Image.open(BytesIO(bytes(drawn))).convert("RGBA"))[..., 3].astype(int)
    wanted = cover[:, ::-1] if mirrored else cover
    rows, columns = (min(a, b) for a, b in zip(alpha.shape, wanted.shape, strict=True))
    apart = np.abs(alpha[:rows, :columns] - wanted[:rows, :columns])
    assert apart.mean() < 2.5
    assert (apart > 140).mean() < 0.005


@pytest.mark.parametrize("offset_mm", [-1.0, 0.8, 3.0])
def test_offset_is_that_of_a_distance_transform(offset_mm: float) -> None:
    """Pixels inside the offset outline are those nearer to the figure than the offset.

    Source: definition of a parallel set; distances are counted from pixel to pixel, so pixels
    within one and a half of the line are left out.
    """
    cover = np.pad(_horse(), 40)
    ink = cover >= 128
    pixel_mm = 0.5
    outline = cut_outline(cover, CutWish(cover.shape[1] * pixel_mm, offset_mm))
    figure = shapely.MultiPolygon([(piece.outer, piece.holes) for piece in outline.pieces])
    exact = shapely.MultiPolygon(
        [
            (piece.outer, piece.holes)
            for piece in cut_outline(
                cover, CutWish(cover.shape[1] * pixel_mm, tolerance_mm=0.01)
            ).pieces
        ]
    )
    numbers = np.random.default_rng(5)
    rows, columns = (numbers.integers(0, side, 4_000) for side in ink.shape)
    points = shapely.points((columns + 0.5) * pixel_mm, (rows + 0.5) * pixel_mm)
    signed = shapely.distance(points, exact.boundary) * np.where(ink[rows, columns], -1, 1)
    clear_of_the_line = abs(signed - offset_mm) > 0.06
    shapely.prepare(figure)
    inside = shapely.contains(figure, points)
    assert (inside == (signed < offset_mm))[clear_of_the_line].all()
