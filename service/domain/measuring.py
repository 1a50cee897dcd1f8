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

import itertools
import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from service.domain.artwork import ArtworkMeasures, InkBox, ShapeMeasures
from service.domain.colour import (
    WhitePoint,
    hex_from_srgb,
    linear_from_srgb,
    srgb_to_xyz_matrix,
    xyz_from_lab,
)
from service.domain.flatness import background_colour, figure_cover, is_photo_like
from service.domain.palette import palette_of
from service.domain.shapes import (
    BLOCK,
    CROSS,
    HALF,
    SQUARE,
    Indexes,
    Plane,
    at_least,
    euler_number,
    labelled,
    narrowest_px,
    padded,
)

Pixels = NDArray[np.uint8]

OPAQUE_ABOVE_ALPHA = 250
SOFT_FROM_ALPHA = 5
"""Alpha above 250 of 255 is opaque, from 5 to 250 soft; trade practice and a design choice."""

NEAR_WHITE_LIGHTNESS = 97.0
"""L* above which a colour counts as white; design choice, no source."""

FLAT_CODES = 3
"""Codes of 255 by which neighbours in a flat area may differ (noise of lossy files); as above."""

SPECK_PX = 4
"""Pieces and holes of fewer pixels are dust of antialiasing; a design choice, no source."""

CELLS_MAX = 1 << 19
"""Outlines through more cells of four pixels are measured on every second, third, ... cell."""

SAMPLE_PIXELS = 32_768
_MARGIN = 2
_STRIP_PIXELS = 1 << 19
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
    return ArtworkMeasures(
        width_px=rgba.shape[1],
        height_px=rgba.shape[0],
        ink_box=box,
        has_alpha=bool(alpha.min() < 255),
        opaque_share=int(np.count_nonzero(alpha > OPAQUE_ABOVE_ALPHA)) / box_pixels,
        soft_alpha_share=soft_pixel_count(alpha) / box_pixels,
        near_white_share=near_white_share(flat),
        palette=palette_of(flat[sample], lies_within_flat(rgba, sample)),
        shapes=measure_shapes(cover),
        photo_like=is_photo_like(rgba),
        background_srgb=background,
    )


def figure_of(rgba: Pixels, box: InkBox) -> tuple[Plane, str | None]:
    """Coverage of an ink box by the figure whose shapes count, and its background's colour."""
    colour = background_colour(rgba)
    if colour is not None:
        cover = figure_cover(rgba, colour)
        if cover.max() >= HALF:
            return cover, hex_from_srgb(np.array(colour) / 255)
    inked = rgba[box.top : box.top + box.height, box.left : box.left + box.width, 3]
    return np.ascontiguousarray(inked), None


def measure_shapes(cover: Plane) -> ShapeMeasures:
    """Measures of the figure that a coverage plane shows, in shares of its width.

    A plane without ink, or with specks alone, is measured as if it were covered all over.
    """
    cover, pieces, holes = without_specks(cover)
    width = cover.shape[1]
    return ShapeMeasures(
        pieces=pieces,
        holes=holes,
        outline_length=outline_length_px(cover) / width,
        smallest_feature=narrowest_px(cover, pieces, holes) / width,
        smallest_gap=narrowest_px(cover, pieces, holes, gaps=True) / width,
    )


def without_specks(cover: Plane) -> tuple[Plane, int, int]:
    """The plane without specks of ink and of clear, and the number of its pieces and holes.

    Pieces hang together across corners (8 neighbours), clear areas do not (4 neighbours).
    """
    ink = padded(at_least(cover, HALF), _MARGIN, 0)
    pieces, _ = labelled(ink, 8)
    holes = pieces - euler_number(ink, 8)
    specks, speck_at = _specks(ink, 8)
    if pieces == specks:
        return np.full_like(cover, 255), 1, 0
    pinholes, pinhole_at = _specks(~ink, 4)
    if specks + pinholes:
        cover = cover.copy()
        for flat, value in ((speck_at, 0), (pinhole_at, 255)):
            rows, columns = np.divmod(flat, ink.shape[1])
            cover[rows - _MARGIN, columns - _MARGIN] = value
    return cover, pieces - specks, holes - pinholes


def _specks(mask: Plane, connectivity: int) -> tuple[int, Indexes]:
    """How many components of a mask are specks; flat indexes of all their pixels.

    A speck has only pixels with too few neighbours to be part of more. The mask's border is all
    of it, or none.
    """
    kernel = SQUARE if connectivity == 8 else CROSS
    beside = cv2.filter2D(mask & 1, cv2.CV_8U, kernel, borderType=cv2.BORDER_CONSTANT)
    is_inside = (mask > 0).ravel()
    is_of_more = (beside >= SPECK_PX).ravel() & is_inside
    steps = [down * mask.shape[1] + right for down, right in (np.argwhere(kernel) - 1).tolist()]

    def joins(flat: Indexes) -> NDArray[np.bool_]:
        found = np.zeros(flat.size, np.bool_)
        for step in steps:
            found |= is_of_more[np.clip(flat + step, 0, mask.size - 1)]
        return found

    flat = np.flatnonzero(is_inside & ~is_of_more)
    joined = joins(flat)
    is_of_more[flat[joined]] = True
    flat = flat[~joined]
    if not flat.size:
        return 0, flat
    left = np.zeros(mask.size, np.uint8)
    left[flat] = 255
    count, label_at = labelled(left.reshape(mask.shape), connectivity)
    names = label_at.ravel()[flat]
    is_speck = np.bincount(names, minlength=count + 1) < SPECK_PX
    is_speck[names[joins(flat)]] = False
    is_speck[0] = False
    return int(is_speck.sum()), flat[is_speck[names]]


def outline_length_px(cover: Plane) -> float:
    """Length of all outlines in pixels, holes too: marching squares at half coverage."""
    grey = padded(cover, 1, 0)
    inside = at_least(grey, HALF)
    edge = cv2.countNonZero(inside) - cv2.countNonZero(cv2.erode(inside, CROSS))
    mixed = cv2.compare(cv2.dilate(inside, BLOCK), cv2.erode(inside, BLOCK), cv2.CMP_NE)
    cells = np.flatnonzero(mixed.ravel() > 0)
    every = 1 + cells.size // CELLS_MAX
    cells = cells[::every]
    corners = [cells - back for back in (grey.shape[1] + 1, grey.shape[1], 0, 1)]
    values = np.stack([grey.ravel()[corner] for corner in corners])
    if soft_pixel_count(grey) < edge / 4:
        # Not antialiased: it is made so, the same pixels staying at least half covered.
        blurred = np.asarray(cv2.GaussianBlur(grey, (3, 3), 0)).ravel()
        softer = np.stack([blurred[corner] for corner in corners])
        values = np.where(values >= HALF, np.maximum(softer, HALF), np.minimum(softer, HALF - 1))
    return every * _length_in(values.astype(np.float32) - (HALF - 0.5))


def _length_in(values: NDArray[np.float32]) -> float:
    """Length of the line of value 0 in cells (4, n), each given by its corners, in turn."""
    following = np.roll(values, -1, axis=0)
    crossed = (values > 0) != (following > 0)
    along = np.where(crossed, values / np.where(crossed, values - following, 1), 0)
    none, whole = np.zeros_like(along[0]), np.ones_like(along[0])
    x = (along[0], whole, 1 - along[2], none)
    y = (none, along[1], whole, 1 - along[3])
    # Where all four sides are crossed, two lines cut off the two clear corners: ink hangs together.
    is_plain, first_is_ink = ~crossed.all(axis=0), values[0] > 0
    cut_off = {(0, 1): first_is_ink, (2, 3): first_is_ink, (1, 2): ~first_is_ink}
    cut_off[0, 3] = cut_off[1, 2]
    total = 0.0
    for one, other in itertools.combinations(range(4), 2):
        here = crossed[one] & crossed[other] & (is_plain | cut_off.get((one, other), False))
        total += float(np.hypot(x[one] - x[other], y[one] - y[other])[here].sum())
    return total


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
