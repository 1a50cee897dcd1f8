"""Colour against published figures and against a general-purpose colour library."""

from __future__ import annotations

import numpy as np
import pytest
from coloraide import Color

from service.domain.colour import (
    FloatArray,
    Lab,
    WhitePoint,
    chroma,
    delta_e_2000,
    delta_e_2000_pair,
    lab_from_srgb,
    lab_from_srgb_hex,
    lab_from_xyz,
)

Triple = tuple[float, float, float]

# Source: Sharma, Wu, Dalal, Color Research & Application 30(1):21-30, 2005, doi 10.1002/col.20070,
# Table I: two CIELAB colours and their CIEDE2000, printed to four decimals.
SHARMA_PAIRS: tuple[tuple[Triple, Triple, float], ...] = (
    ((50.0000, 2.6772, -79.7751), (50.0000, 0.0000, -82.7485), 2.0425),
    ((50.0000, 3.1571, -77.2803), (50.0000, 0.0000, -82.7485), 2.8615),
    ((50.0000, 2.8361, -74.0200), (50.0000, 0.0000, -82.7485), 3.4412),
    ((50.0000, -1.3802, -84.2814), (50.0000, 0.0000, -82.7485), 1.0000),
    ((50.0000, -1.1848, -84.8006), (50.0000, 0.0000, -82.7485), 1.0000),
    ((50.0000, -0.9009, -85.5211), (50.0000, 0.0000, -82.7485), 1.0000),
    ((50.0000, 0.0000, 0.0000), (50.0000, -1.0000, 2.0000), 2.3669),
    ((50.0000, -1.0000, 2.0000), (50.0000, 0.0000, 0.0000), 2.3669),
    ((50.0000, 2.4900, -0.0010), (50.0000, -2.4900, 0.0009), 7.1792),
    ((50.0000, 2.4900, -0.0010), (50.0000, -2.4900, 0.0010), 7.1792),
    ((50.0000, 2.4900, -0.0010), (50.0000, -2.4900, 0.0011), 7.2195),
    ((50.0000, 2.4900, -0.0010), (50.0000, -2.4900, 0.0012), 7.2195),
    ((50.0000, -0.0010, 2.4900), (50.0000, 0.0009, -2.4900), 4.8045),
    ((50.0000, -0.0010, 2.4900), (50.0000, 0.0010, -2.4900), 4.8045),
    ((50.0000, -0.0010, 2.4900), (50.0000, 0.0011, -2.4900), 4.7461),
    ((50.0000, 2.5000, 0.0000), (50.0000, 0.0000, -2.5000), 4.3065),
    ((50.0000, 2.5000, 0.0000), (73.0000, 25.0000, -18.0000), 27.1492),
    ((50.0000, 2.5000, 0.0000), (61.0000, -5.0000, 29.0000), 22.8977),
    ((50.0000, 2.5000, 0.0000), (56.0000, -27.0000, -3.0000), 31.9030),
    ((50.0000, 2.5000, 0.0000), (58.0000, 24.0000, 15.0000), 19.4535),
    ((50.0000, 2.5000, 0.0000), (50.0000, 3.1736, 0.5854), 1.0000),
    ((50.0000, 2.5000, 0.0000), (50.0000, 3.2972, 0.0000), 1.0000),
    ((50.0000, 2.5000, 0.0000), (50.0000, 1.8634, 0.5757), 1.0000),
    ((50.0000, 2.5000, 0.0000), (50.0000, 3.2592, 0.3350), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.2480, -4.9620), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ((36.4612, 47.8580, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
)
PRINTED_TO = 5e-5 + 1e-9

RANDOM_COLOURS = 10_000


@pytest.mark.parametrize(("one", "other", "expected"), SHARMA_PAIRS)
def test_published_pairs(one: Triple, other: Triple, expected: float) -> None:
    """Both forms of CIEDE2000 give each of the 34 published differences as printed."""
    assert delta_e_2000_pair(Lab(*one), Lab(*other)) == pytest.approx(expected, abs=PRINTED_TO)
    assert float(delta_e_2000(one, other)) == pytest.approx(expected, abs=PRINTED_TO)


@pytest.mark.parametrize(("one", "other", "expected"), SHARMA_PAIRS)
def test_published_pairs_swapped(one: Triple, other: Triple, expected: float) -> None:
    """Swapping a published pair gives the same difference (ISO/CIE 11664-6 is symmetric)."""
    swapped = delta_e_2000_pair(Lab(*other), Lab(*one))
    assert swapped == pytest.approx(delta_e_2000_pair(Lab(*one), Lab(*other)), abs=1e-9)
    assert swapped == pytest.approx(expected, abs=PRINTED_TO)


# Sources: IEC 61966-2-1 and CIE 15, 2 degree observer, Bradford adaptation to D50; the expected
# figures were computed from these standards' formulas.
@pytest.mark.parametrize(
    ("codes", "white", "expected", "tolerance"),
    [
        ((255, 255, 255), WhitePoint.D50, (100, 0, 0), 0.02),
        ((255, 255, 255), WhitePoint.D65, (100, 0, 0), 0.02),
        ((255, 0, 0), WhitePoint.D65, (53.24, 80.09, 67.20), 0.05),
        ((255, 0, 0), WhitePoint.D50, (54.29, 80.81, 69.89), 0.05),
        ((0, 0, 255), WhitePoint.D50, (29.57, 68.30, -112.03), 0.05),
    ],
)
def test_srgb_to_lab(
    codes: tuple[int, int, int], white: WhitePoint, expected: Triple, tolerance: float
) -> None:
    """Corners of sRGB have the CIELAB values that the standards' formulas give."""
    lab = lab_from_srgb(np.array(codes, dtype=np.uint8), white)
    assert lab == pytest.approx(np.array(expected), abs=tolerance)


def test_middle_grey() -> None:
    """The sRGB grey 119 has L* 50.03 (IEC 61966-2-1, CIE 15)."""
    assert lab_from_srgb_hex("#777777").lightness == pytest.approx(50.03, abs=0.02)


def test_lightness_of_luminance() -> None:
    """A luminance of 0.184187 is L* 50.00 (CIE 15)."""
    white = np.array(WhitePoint.D50.value)
    assert lab_from_xyz(0.184187 * white)[0] == pytest.approx(50.00, abs=0.01)


# Source: computed with IEC 61966-2-1 and CIE 15 relative to D65.
@pytest.mark.parametrize(
    ("codes", "lightness"),
    [((20, 20, 20), 6.32), ((160, 160, 165), 66.01), ((255, 225, 80), 89.72)],
)
def test_cloth_lightness(codes: tuple[int, int, int], lightness: float) -> None:
    """A dark, a medium and a light cloth have the lightness computed from the standards."""
    lab = lab_from_srgb(np.array(codes, dtype=np.uint8), WhitePoint.D65)
    assert lab[0] == pytest.approx(lightness, abs=0.05)


def test_saturated_cloth() -> None:
    """A bright yellow cloth is light and yet has a chroma of 71.6 (source as above)."""
    lab = lab_from_srgb(np.array([255, 225, 80], dtype=np.uint8), WhitePoint.D65)
    assert chroma(lab) == pytest.approx(71.6, abs=0.05)


@pytest.mark.parametrize(("space", "white"), [("lab", WhitePoint.D50), ("lab-d65", WhitePoint.D65)])
def test_conversion_against_library(space: str, white: WhitePoint) -> None:
    """10,000 random sRGB colours differ from the colour library's CIELAB by at most 0.01 CIEDE2000.

    The library takes its white points from chromaticities with four decimals, this service from XYZ
    with five (CIE 15, ASTM E308): that is the whole of the difference.
    """
    codes = np.random.default_rng(2000).integers(0, 256, (RANDOM_COLOURS, 3), dtype=np.uint8)
    theirs = np.array(
        [Color("srgb", code).convert(space).coords() for code in (codes / 255).tolist()]
    )
    ours = lab_from_srgb(codes, white)
    assert delta_e_2000(ours, theirs).max() <= 0.01
    assert np.abs(ours - theirs).max() <= 0.02


def _random_labs() -> tuple[FloatArray, FloatArray]:
    numbers = np.random.default_rng(2001)
    low, high = [0, -110, -110], [100, 110, 110]
    one, other = (numbers.uniform(low, high, (RANDOM_COLOURS, 3)) for _ in range(2))
    return one, other


def test_difference_against_library() -> None:
    """10,000 random pairs have the colour library's CIEDE2000 within 1e-9."""
    one, other = _random_labs()
    theirs = [
        Color("lab", a).delta_e(Color("lab", b), method="2000", space="lab")
        for a, b in zip(one.tolist(), other.tolist(), strict=True)
    ]
    assert np.abs(delta_e_2000(one, other) - theirs).max() <= 1e-9


def test_difference_is_symmetric() -> None:
    """10,000 random pairs have the same difference both ways (ISO/CIE 11664-6)."""
    one, other = _random_labs()
    assert np.abs(delta_e_2000(one, other) - delta_e_2000(other, one)).max() <= 1e-9
