"""Colour: forms, shapes, inverses and laws. Published figures are in the reference tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.colour import (
    SRGB_PRIMARIES,
    Lab,
    WhitePoint,
    adaptation_matrix,
    chroma,
    delta_e_2000,
    delta_e_2000_pair,
    hex_from_srgb,
    lab_from_srgb,
    lab_from_srgb_hex,
    lab_from_xyz,
    linear_from_srgb,
    rgb_to_xyz_matrix,
    srgb_from_hex,
    srgb_from_lab,
    srgb_from_linear,
    srgb_to_xyz_matrix,
    xyz_from_lab,
)

CODES = st.tuples(*[st.integers(0, 255)] * 3)
LABS = st.builds(Lab, st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


@given(CODES)
def test_hex_round_trip(codes: tuple[int, int, int]) -> None:
    """A colour written as hex reads back as itself, in either case."""
    written = hex_from_srgb(np.array(codes, dtype=np.uint8))
    assert srgb_from_hex(written) == codes
    assert srgb_from_hex("#" + written[1:].upper()) == codes


@pytest.mark.parametrize(
    "text", ["", "#fff", "ffffff", "#fffffg", "#ffffff ", "#+1+1+1", "#ff_f_f"]
)
def test_other_forms_refused(text: str) -> None:
    """Only # and six hexadecimal digits are a colour."""
    with pytest.raises(ValueError, match="#rrggbb"):
        srgb_from_hex(text)


def test_transfer_function_ends() -> None:
    """Black and white are fixed points, and the two pieces of the curve meet (IEC 61966-2-1)."""
    assert linear_from_srgb([0.0, 1.0]).tolist() == [0.0, 1.0]
    assert srgb_from_linear([0.0, 1.0]) == pytest.approx(np.array([0.0, 1.0]), abs=1e-12)
    below, above = linear_from_srgb([0.04045, 0.04045 + 1e-9])
    assert above == pytest.approx(below, abs=1e-6)


def test_light_out_of_gamut_is_cut_off() -> None:
    """Light below 0 or above 1 gives the codes of the gamut's edge."""
    assert srgb_from_linear([-0.5, 2.0]) == pytest.approx(np.array([0.0, 1.0]))


@given(CODES, st.sampled_from(WhitePoint))
def test_lab_round_trip(codes: tuple[int, int, int], white: WhitePoint) -> None:
    """A colour taken to CIELAB and back is the same colour."""
    srgb = np.array(codes) / 255
    assert srgb_from_lab(lab_from_srgb(srgb, white), white) == pytest.approx(srgb, abs=1e-7)


@given(LABS)
def test_xyz_round_trip(lab: Lab) -> None:
    """CIELAB to XYZ and back is the same colour, also outside sRGB."""
    assert lab_from_xyz(xyz_from_lab(lab)) == pytest.approx(np.array(lab), abs=1e-9)


@given(st.integers(0, 255), st.sampled_from(WhitePoint))
def test_greys_have_no_chroma(code: int, white: WhitePoint) -> None:
    """Equal codes are neutral under either white (IEC 61966-2-1: its white is D65)."""
    lab = lab_from_srgb(np.full(3, code, dtype=np.uint8), white)
    assert float(chroma(lab)) < 1e-9
    assert 0 <= lab[0] <= 100


def test_codes_and_shares_agree() -> None:
    """Codes 0 to 255 and floats 0 to 1 name the same colours, in any shape of array."""
    codes = np.arange(60, dtype=np.uint8).reshape(4, 5, 3)
    assert lab_from_srgb(codes).shape == (4, 5, 3)
    assert lab_from_srgb(codes) == pytest.approx(lab_from_srgb(codes / 255))
    assert Lab(*lab_from_srgb(codes)[0, 1].tolist()) == lab_from_srgb_hex("#030405")


@pytest.mark.parametrize("values", [[1.1, 0, 0], [-0.1, 0, 0], [math.nan, 0, 0], [256, 0, 0]])
def test_codes_out_of_range_refused(values: list[float]) -> None:
    """A code outside its range, or one that is no number, is refused."""
    with pytest.raises(ValueError, match="sRGB runs from 0 to"):
        lab_from_srgb(values)


@pytest.mark.parametrize("shape", [(), (4,), (3, 4)])
def test_other_shapes_refused(shape: tuple[int, ...]) -> None:
    """A colour array ends in an axis of three."""
    with pytest.raises(ValueError, match="axis of 3"):
        lab_from_srgb(np.zeros(shape))


def test_white_of_each_matrix() -> None:
    """Full light is the white of the matrix, and adaptation takes one white to the other."""
    ones = np.ones(3)
    assert rgb_to_xyz_matrix(SRGB_PRIMARIES) @ ones == pytest.approx(WhitePoint.D65.value)
    assert srgb_to_xyz_matrix(WhitePoint.D50) @ ones == pytest.approx(WhitePoint.D50.value)
    there = adaptation_matrix(WhitePoint.D65, WhitePoint.D50)
    back = adaptation_matrix(WhitePoint.D50, WhitePoint.D65)
    assert there @ back == pytest.approx(np.eye(3))


def test_chroma_of_one_and_of_many() -> None:
    """Chroma is the distance from the grey axis."""
    assert chroma(Lab(50, 3, -4)) == 5
    assert chroma(np.array([[50.0, 3, -4], [10, 0, 0]])).tolist() == [5, 0]


@given(LABS, LABS)
def test_pair_agrees_with_array(one: Lab, other: Lab) -> None:
    """The scalar and the array form of CIEDE2000 agree, both ways round."""
    difference = delta_e_2000_pair(one, other)
    assert difference >= 0
    assert float(delta_e_2000(one, other)) == pytest.approx(difference, abs=1e-9)
    assert delta_e_2000_pair(other, one) == pytest.approx(difference, abs=1e-9)


@given(LABS)
def test_no_difference_to_itself(lab: Lab) -> None:
    """A colour differs from itself by nothing."""
    assert delta_e_2000_pair(lab, lab) == 0


def test_differences_broadcast() -> None:
    """A palette against many cloths is one call."""
    palette = np.linspace(0, 90, 48).reshape(16, 1, 3)
    cloths = np.linspace(5, 80, 120).reshape(40, 3)
    assert delta_e_2000(palette, cloths).shape == (16, 40)
