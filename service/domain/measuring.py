"""Measures of an artwork from its pixels.

Pixels come as an array (height, width, 4) of 8-bit sRGB with straight alpha. Ink counts by its
alpha: a pixel of alpha 128 is half a pixel of ink. Counts are exact; colours are clustered on a
sub-sample of at most ``SAMPLE_PIXELS`` inked pixels. What is larger than one alpha plane is worked
in strips, so that memory stays small beside the picture. The same pixels give the same measures.

Shapes are measured on the ink box: what is inked there, that is, of alpha 128 and above. Where the
picture stands on a background box, they are measured on what differs from the background instead;
where nothing does, the picture is one plain rectangle and has no background.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ArtworkMeasures, InkBox, InkShares
from service.domain.colour import (
    WhitePoint,
    hex_from_srgb,
    linear_from_srgb,
    srgb_to_xyz_matrix,
    xyz_from_lab,
)
from service.domain.enveloping import envelopes_of
from service.domain.flatness import background_colour, figure_cover, is_photo_like
from service.domain.palette import palette_of
from service.domain.planes import HALF, OPAQUE_ABOVE_ALPHA, Pixels, Plane
from service.domain.shapes import shapes_of, without_specks
from service.domain.sharpness import edge_width_px

SOFT_FROM_ALPHA = 5
"""Alpha from this to where it is opaque is soft; trade practice and a design choice."""

NEAR_WHITE_LIGHTNESS = 97.0
"""L* above which a colour counts as white; design choice, no source."""

FLAT_CODES = 3
"""Codes of 255 by which neighbours in a flat area may differ (noise of lossy files); as above."""

SAMPLE_PIXELS = 32_768
_STRIP_PIXELS = 1 << 19
_CACHED_PIXELS = 1 << 16
_GOLDEN_SHARE = (math.sqrt(5) - 1) / 2


def measure(rgba: Pixels) -> ArtworkMeasures:
    """All measures of a picture (height, width, 4).

    ValueError if the array is of another kind, or if the picture is fully transparent.
    """
    if rgba.ndim != 3 or rgba.shape[2] != 4 or rgba.dtype != np.uint8:
        raise ValueError(f"pixels are (height, width, 4) of uint8, not {rgba.shape} {rgba.dtype}")
    rgba = np.ascontiguousarray(rgba)
    alpha = np.ascontiguousarray(rgba[..., 3])
    box = ink_box(alpha)
    box_pixels = box.width * box.height
    flat = rgba.reshape(-1, 4)
    sample = sample_inked(alpha.reshape(-1), SAMPLE_PIXELS)
    cover, background = figure_of(rgba, box)
    plain, pieces, holes = without_specks(cover)
    return ArtworkMeasures(
        width_px=rgba.shape[1],
        height_px=rgba.shape[0],
        ink_box=box,
        has_alpha=bool(alpha.min() < 255),
        opaque_share=int(np.count_nonzero(alpha > OPAQUE_ABOVE_ALPHA)) / box_pixels,
        soft_alpha_share=soft_pixel_count(alpha) / box_pixels,
        near_white_share=near_white_share(flat),
        palette=palette_of(flat[sample], lies_within_flat(rgba, sample)),
        shapes=shapes_of(plain, pieces, holes),
        photo_like=is_photo_like(rgba),
        background_srgb=background,
        edge_width_px=edge_width_px(rgba, box if background is None else _box_of(cover)),
        ink=ink_shares(rgba, box),
        envelopes=envelopes_of(_inked(rgba, box), plain),
    )


def figure_of(rgba: Pixels, box: InkBox) -> tuple[Plane, str | None]:
    """Coverage of an ink box by the figure whose shapes count, and its background's colour."""
    colour = background_colour(rgba)
    if colour is not None:
        cover = figure_cover(rgba, colour)
        if cover.max() >= HALF:
            return cover, hex_from_srgb(np.array(colour) / 255)
    return _inked(rgba, box), None


def _inked(rgba: Pixels, box: InkBox) -> Plane:
    """The alpha of an ink box."""
    inked = rgba[box.top : box.top + box.height, box.left : box.left + box.width, 3]
    return np.ascontiguousarray(inked)


def _box_of(cover: Plane) -> InkBox:
    """The smallest box that holds all of a figure's cover, of which there is some."""
    left, top, width, height = cv2.boundingRect(cover)
    return InkBox(left=left, top=top, width=width, height=height)


def ink_box(alpha: Pixels) -> InkBox:
    """The smallest box that holds all pixels of an alpha plane (height, width) above 0.

    ValueError if there are none.
    """
    if not alpha.any():
        raise ValueError("the picture is fully transparent")
    rows = np.flatnonzero(alpha.any(axis=1))
    columns = np.flatnonzero(alpha.any(axis=0))
    top, left = int(rows[0]), int(columns[0])
    return InkBox(
        left=left,
        top=top,
        width=int(columns[-1]) - left + 1,
        height=int(rows[-1]) - top + 1,
    )


def soft_pixel_count(alpha: Pixels) -> int:
    """How many pixels of an alpha plane are neither as good as empty nor opaque."""
    inked = np.count_nonzero(alpha >= SOFT_FROM_ALPHA)
    return int(inked - np.count_nonzero(alpha > OPAQUE_ABOVE_ALPHA))


def ink_shares(rgba: Pixels, box: InkBox) -> InkShares:
    """What share of an ink box takes ink; to one in 100,000."""
    count = box.width * box.height
    inked = rgba[box.top : box.top + box.height, box.left : box.left + box.width]
    rows = max(1, _CACHED_PIXELS // box.width)
    alpha_sum = light_sum = 0.0
    for top in range(0, box.height, rows):
        strip = inked[top : top + rows]
        *lights, alpha = cv2.sumElems(strip)
        alpha_sum += alpha
        if alpha == 255 * strip.shape[0] * strip.shape[1]:
            light_sum += 255 * sum(lights)
        elif alpha:
            *channels, by_alpha = cv2.split(strip)
            # Products are whole numbers and are summed as such: the same on every processor.
            products = (cv2.multiply(plane, by_alpha, dtype=cv2.CV_32F) for plane in channels)
            light_sum += sum(cv2.sumElems(product)[0] for product in products)
    cover = alpha_sum / 255 / count
    light = light_sum / (3 * 255**2) / count
    return InkShares(cover=min(1.0, cover), colour=min(max(0.0, cover - light), 1.0))


def near_white_share(flat: Pixels) -> float:
    """Share of the ink of pixels (n, 4) that has L* above ``NEAR_WHITE_LIGHTNESS``."""
    limit = float(xyz_from_lab([NEAR_WHITE_LIGHTNESS, 0, 0])[1])
    by_code = linear_from_srgb(np.arange(256, dtype=np.uint8))[:, None]
    red_y, green_y, blue_y = (by_code * srgb_to_xyz_matrix(WhitePoint.D50)[1]).T
    # Green carries most of the luminance: below this code no red and blue can make up for it.
    least_green = int(np.searchsorted(green_y, limit - red_y[-1] - blue_y[-1]))
    pure_white = np.array([255, 255, 255, 0], dtype=np.uint8).view(np.uint32)[0]
    white_ink = ink = 0
    for _, strip in _strips(flat):
        ink += int(strip[:, 3].sum(dtype=np.int64))
        packed = strip.view(np.uint32)[:, 0]
        # White itself is much the commonest light colour, and quickly told.
        is_white = (packed & pure_white) == pure_white
        white_ink += int(strip[is_white, 3].sum(dtype=np.int64))
        is_light = (strip[:, 1] >= least_green) & ~is_white
        light = packed[is_light].view(np.uint8).reshape(-1, 4)
        luminance = red_y[light[:, 0]] + green_y[light[:, 1]] + blue_y[light[:, 2]]
        white_ink += int(light[luminance > limit, 3].sum(dtype=np.int64))
    return white_ink / ink


def sample_inked(alpha: Pixels, most: int) -> NDArray[np.int64]:
    """Indexes of at most ``most`` pixels of ``alpha`` (n,) that are above 0, spread evenly.

    One pixel is taken from each of ``most`` equal runs of inked pixels, at a place that moves by
    the golden ratio from run to run, so that no regular pattern of the picture is met in step.
    """
    inked_count = int(np.count_nonzero(alpha))
    runs = np.arange(min(most, inked_count))
    wanted = runs
    if inked_count > most:
        wanted = ((runs + runs * _GOLDEN_SHARE % 1) * (inked_count / most)).astype(np.int64)
    taken = []
    seen = 0
    for start, strip in _strips(alpha):
        inked = np.flatnonzero(strip > 0)
        first, last = np.searchsorted(wanted, [seen, seen + inked.size])
        taken.append(start + inked[wanted[first:last] - seen])
        seen += inked.size
    return np.concatenate(taken)


def lies_within_flat(rgba: Pixels, indexes: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether each pixel, given by its index row by row, looks like its four neighbours.

    Edges between two colours never do; flat areas and slow gradients do.
    """
    height, width, _ = rgba.shape
    rows, columns = np.divmod(indexes, width)
    packed = np.ascontiguousarray(rgba).view(np.uint32)[..., 0].ravel()
    here = _unpacked(packed[indexes])
    same = np.ones(len(indexes), dtype=np.bool_)
    for down, right in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        at = np.clip(rows + down, 0, height - 1) * width + np.clip(columns + right, 0, width - 1)
        same &= (np.abs(here - _unpacked(packed[at])) <= FLAT_CODES).all(axis=1)
    return same


def _unpacked(packed: NDArray[np.uint32]) -> NDArray[np.int16]:
    return packed.view(np.uint8).reshape(-1, 4).astype(np.int16)


def _strips(flat: Pixels) -> Iterator[tuple[int, Pixels]]:
    """Parts of an array along its first axis, with the index each starts at."""
    for start in range(0, len(flat), _STRIP_PIXELS):
        yield start, flat[start : start + _STRIP_PIXELS]
