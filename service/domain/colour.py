"""Colour: sRGB, linear BT.2020, CIELAB and the colour difference CIEDE2000.

sRGB follows IEC 61966-2-1, BT.2020 the Recommendation ITU-R of that name; white points (2 degree
observer) and CIELAB follow CIE 15 and ISO/CIE 11664-4; CIEDE2000 follows ISO/CIE 11664-6. Where the
white is not that of sRGB and BT.2020 (D65), the colour is adapted by the Bradford transform, as ICC
profiles do. CIELAB is D50 unless said otherwise, because D50 with 2 degrees is what print is
measured in (ISO 13655).

Arrays hold the three components of a colour in their last axis. sRGB arrays are whole numbers 0 to
255 or floats 0 to 1; linear arrays are floats, 0 to 1 within the gamut, that add and multiply as
light does; CIELAB arrays are floats L* 0 to 100, a*, b*; XYZ arrays are floats with Y = 1 for the
white.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from enum import Enum
from functools import lru_cache
from typing import Any, Final, NamedTuple, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Lab(NamedTuple):
    """One colour in CIELAB."""

    lightness: float
    a: float
    b: float


class WhitePoint(Enum):
    """XYZ of the white that CIELAB is relative to (CIE 15; ICC; 2 degree observer, Y = 1)."""

    D50 = (0.96422, 1.0, 0.82521)
    D65 = (0.95047, 1.0, 1.08883)


SRGB_PRIMARIES: Final = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
"""Chromaticities x, y of red, green and blue (IEC 61966-2-1)."""

BT2020_PRIMARIES: Final = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
"""Chromaticities x, y of red, green and blue (Recommendation ITU-R BT.2020), with the white D65."""

LAB_EPSILON: Final = 216 / 24389
LAB_KAPPA: Final = 24389 / 27
"""Constants of CIELAB (CIE 15; ISO/CIE 11664-4)."""

_BRADFORD: Final = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_WHITES: Final = {white: np.array(white.value) for white in WhitePoint}
_HEX = re.compile(r"#([0-9a-fA-F]{2})([0-9a-fA-F]{2})([0-9a-fA-F]{2})")


def srgb_from_hex(srgb_hex: str) -> tuple[int, int, int]:
    """Red, green and blue, 0 to 255, of ``#rrggbb``; ValueError for anything else."""
    found = _HEX.fullmatch(srgb_hex)
    if found is None:
        raise ValueError(f"not a colour of the form #rrggbb: '{srgb_hex[:40]}'")
    red, green, blue = (int(pair, 16) for pair in found.groups())
    return red, green, blue


def hex_from_srgb(srgb: ArrayLike) -> str:
    """``#rrggbb`` of one sRGB colour."""
    red, green, blue = np.rint(_unit_range(srgb) * 255).astype(int).tolist()
    return f"#{red:02x}{green:02x}{blue:02x}"


def linear_from_srgb(srgb: ArrayLike) -> FloatArray:
    """Linear light, 0 to 1, of sRGB code values (IEC 61966-2-1). Any shape."""
    code = _unit_range(srgb)
    linear: FloatArray = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return linear


def srgb_from_linear(linear: ArrayLike) -> FloatArray:
    """Code values of sRGB, 0 to 1, of linear light (IEC 61966-2-1). Any shape.

    Light outside 0 to 1 is cut off at the edge of the gamut.
    """
    light = np.asarray(linear, dtype=np.float64).clip(0.0, 1.0)
    code: FloatArray = np.where(
        light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055
    )
    return code


def rgb_to_xyz_matrix(
    primaries: tuple[tuple[float, float], ...], white: WhitePoint = WhitePoint.D65
) -> FloatArray:
    """The 3 x 3 matrix from linear light in those primaries and that white to XYZ.

    ``primaries`` are the chromaticities x, y of red, green and blue.
    """
    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    matrix: FloatArray = xyz * np.linalg.solve(xyz, np.array(white.value))
    return matrix


def adaptation_matrix(source: WhitePoint, target: WhitePoint) -> FloatArray:
    """The 3 x 3 Bradford matrix that takes XYZ under one white to XYZ under another."""
    gain = (_BRADFORD @ target.value) / (_BRADFORD @ source.value)
    return np.asarray(np.linalg.inv(_BRADFORD) @ (gain[:, None] * _BRADFORD), dtype=np.float64)


@lru_cache
def srgb_to_xyz_matrix(white: WhitePoint) -> FloatArray:
    """The 3 x 3 matrix, read-only, from linear sRGB to XYZ adapted to ``white``."""
    return _read_only(adaptation_matrix(WhitePoint.D65, white) @ rgb_to_xyz_matrix(SRGB_PRIMARIES))


@lru_cache
def bt2020_to_xyz_matrix(white: WhitePoint) -> FloatArray:
    """The 3 x 3 matrix, read-only, from linear BT.2020 to XYZ adapted to ``white``."""
    matrix = adaptation_matrix(WhitePoint.D65, white) @ rgb_to_xyz_matrix(BT2020_PRIMARIES)
    return _read_only(matrix)


@lru_cache
def _inverse(matrix_of: Callable[[WhitePoint], FloatArray], white: WhitePoint) -> FloatArray:
    return _read_only(np.linalg.inv(matrix_of(white)))


def _read_only(matrix: ArrayLike) -> FloatArray:
    """As an array that cannot be changed: those that are cached are shared."""
    array = np.array(matrix, dtype=np.float64)
    array.setflags(write=False)
    return array


def lab_from_xyz(xyz: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """CIELAB (..., 3) of XYZ (..., 3) relative to ``white`` (CIE 15)."""
    ratio = _triples(xyz) / _WHITES[white]
    f = np.where(ratio > LAB_EPSILON, np.cbrt(ratio), (LAB_KAPPA * ratio + 16) / 116)
    fy = f[..., 1]
    lab: FloatArray = np.empty(f.shape)
    lab[..., 0] = 116 * fy - 16
    lab[..., 1] = 500 * (f[..., 0] - fy)
    lab[..., 2] = 200 * (fy - f[..., 2])
    return lab


def xyz_from_lab(lab: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """XYZ (..., 3) of CIELAB (..., 3): the inverse of :func:`lab_from_xyz`."""
    triples = _triples(lab)
    fy = (triples[..., 0] + 16) / 116
    f = np.empty(triples.shape)
    f[..., 0] = fy + triples[..., 1] / 500
    f[..., 1] = fy
    f[..., 2] = fy - triples[..., 2] / 200
    cubed = f * f * f
    ratio = np.where(cubed > LAB_EPSILON, cubed, (116 * f - 16) / LAB_KAPPA)
    xyz: FloatArray = ratio * _WHITES[white]
    return xyz


def lab_from_srgb(srgb: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """CIELAB (..., 3) of sRGB (..., 3). ValueError for another shape or values out of range."""
    return lab_from_xyz(linear_from_srgb(_triples(srgb)) @ srgb_to_xyz_matrix(white).T, white)


def srgb_from_lab(lab: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """The sRGB (..., 3), 0 to 1, of CIELAB (..., 3), each channel cut off at the gamut's edge."""
    return srgb_from_linear(xyz_from_lab(lab, white) @ _inverse(srgb_to_xyz_matrix, white).T)


def bt2020_from_srgb(srgb: ArrayLike) -> FloatArray:
    """Linear BT.2020 (..., 3), 0 to 1, of sRGB (..., 3): sRGB lies wholly inside it."""
    xyz = linear_from_srgb(_triples(srgb)) @ srgb_to_xyz_matrix(WhitePoint.D65).T
    linear: FloatArray = xyz @ _inverse(bt2020_to_xyz_matrix, WhitePoint.D65).T
    return linear.clip(0.0, 1.0)


def srgb_from_bt2020(linear: ArrayLike) -> FloatArray:
    """The sRGB (..., 3), 0 to 1, of linear BT.2020, each channel cut off at the gamut's edge."""
    xyz = _triples(linear) @ bt2020_to_xyz_matrix(WhitePoint.D65).T
    return srgb_from_linear(xyz @ _inverse(srgb_to_xyz_matrix, WhitePoint.D65).T)


def bt2020_from_lab(lab: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """Linear BT.2020 (..., 3) of CIELAB (..., 3); below 0 or above 1 where out of its gamut."""
    linear: FloatArray = xyz_from_lab(lab, white) @ _inverse(bt2020_to_xyz_matrix, white).T
    return linear


def lab_from_bt2020(linear: ArrayLike, white: WhitePoint = WhitePoint.D50) -> FloatArray:
    """CIELAB (..., 3) of linear BT.2020 (..., 3): the inverse of :func:`bt2020_from_lab`."""
    return lab_from_xyz(_triples(linear) @ bt2020_to_xyz_matrix(white).T, white)


@lru_cache(maxsize=4096)
def lab_from_srgb_hex(srgb_hex: str) -> Lab:
    """CIELAB, D50, of ``#rrggbb``; ValueError for anything else."""
    return Lab(*lab_from_srgb(np.array(srgb_from_hex(srgb_hex), dtype=np.uint8)).tolist())


@overload
def chroma(lab: Lab) -> float: ...
@overload
def chroma(lab: FloatArray) -> FloatArray: ...
def chroma(lab: Lab | FloatArray) -> float | FloatArray:
    """Chroma C*: distance from grey, of one colour or of an array (..., 3)."""
    if isinstance(lab, Lab):
        return math.hypot(lab.a, lab.b)
    return np.hypot(lab[..., 1], lab[..., 2])


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> FloatArray:
    """CIEDE2000, unit weights, between arrays (..., 3) of CIELAB that broadcast together.

    Both must be relative to the same white. Symmetric; 0 for equal colours.
    """
    pair = (np.ascontiguousarray(np.moveaxis(_triples(lab), -1, 0)) for lab in (lab_1, lab_2))
    difference: FloatArray = _ciede2000(np, *pair)
    return difference


def delta_e_2000_pair(lab_1: Lab, lab_2: Lab) -> float:
    """CIEDE2000 of one pair: what :func:`delta_e_2000` gives, in a few microseconds."""
    return float(_ciede2000(math, lab_1, lab_2))


_DEGREE: Final = math.pi / 180


def _ciede2000(m: Any, lab_1: Any, lab_2: Any) -> Any:  # noqa: ANN401  # floats or arrays alike
    """CIEDE2000 (ISO/CIE 11664-6), names as in the standard, angles in radians.

    ``m`` is ``math`` for floats or ``numpy`` for arrays: the formula has no branches, so that one
    writing of it serves both.
    """
    l1, a1, b1 = lab_1
    l2, a2, b2 = lab_2
    b1b1, b2b2 = b1 * b1, b2 * b2
    plain_mean_c = (m.sqrt(a1 * a1 + b1b1) + m.sqrt(a2 * a2 + b2b2)) / 2
    stretch = 1.5 - 0.5 * m.sqrt(_share_of_25_7(plain_mean_c))
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = m.sqrt(a1 * a1 + b1b1), m.sqrt(a2 * a2 + b2b2)
    hue_difference, mean_hue = _hues(m.atan2(b1, a1), m.atan2(b2, a2), c1 * c2 == 0)

    mean_c = (c1 + c2) / 2
    from_50 = (l1 + l2) / 2 - 50
    from_50_squared = from_50 * from_50
    d_l = (l2 - l1) / (1 + 0.015 * from_50_squared / m.sqrt(20 + from_50_squared))
    d_c = (c2 - c1) / (1 + 0.045 * mean_c)
    s_h = 1 + 0.015 * mean_c * _hue_weight(m, mean_hue)
    d_h = 2 * m.sqrt(c1 * c2) * m.sin(hue_difference / 2) / s_h
    from_blue = (mean_hue - 275 * _DEGREE) / (25 * _DEGREE)
    d_theta = 30 * _DEGREE * m.exp(-from_blue * from_blue)
    r_t = -2 * m.sqrt(_share_of_25_7(mean_c)) * m.sin(2 * d_theta)
    return m.sqrt(abs(d_l * d_l + d_c * d_c + d_h * d_h + r_t * d_c * d_h))


def _share_of_25_7(c: Any) -> Any:  # noqa: ANN401  # floats or arrays alike
    """C^7 / (C^7 + 25^7) of the standard."""
    square = c * c
    seventh = square * square * square * c
    return seventh / (seventh + 25.0**7)


def _hues(h1: Any, h2: Any, is_grey: Any) -> tuple[Any, Any]:  # noqa: ANN401  # as above
    """Hue difference, -pi to pi, and mean hue, 0 to 2 pi; beside a grey, 0 and the other's hue."""
    h1 = h1 + math.tau * (h1 < 0)
    h2 = h2 + math.tau * (h2 < 0)
    difference = h2 - h1
    total = h1 + h2
    turn = math.tau * (difference < -math.pi) - math.tau * (difference > math.pi)
    mean = (total + abs(turn) * (1 - 2 * (total >= math.tau))) / 2
    return (difference + turn) * (1 - is_grey), mean + (total - mean) * is_grey


def _hue_weight(m: Any, h: Any) -> Any:  # noqa: ANN401  # as above
    """T of the standard, of the mean hue in radians."""
    return (
        1
        - 0.17 * m.cos(h - 30 * _DEGREE)
        + 0.24 * m.cos(2 * h)
        + 0.32 * m.cos(3 * h + 6 * _DEGREE)
        - 0.20 * m.cos(4 * h - 63 * _DEGREE)
    )


def _triples(values: ArrayLike) -> NDArray[Any]:
    """As an array whose last axis has length 3, or ValueError."""
    array = np.asarray(values)
    if array.ndim == 0 or array.shape[-1] != 3:
        raise ValueError(f"a colour array ends in an axis of 3, this one has shape {array.shape}")
    return array


def _unit_range(srgb: ArrayLike) -> FloatArray:
    """Codes of sRGB as floats 0 to 1; ValueError when out of range or not a number."""
    array = np.asarray(srgb)
    top = 255 if array.dtype.kind in "ui" else 1
    if array.size and not (array.min() >= 0 and array.max() <= top):
        raise ValueError(
            f"sRGB runs from 0 to {top}, not from {array.min().item()} to {array.max().item()}"
        )
    codes: FloatArray = array.astype(np.float64) / top
    return codes
