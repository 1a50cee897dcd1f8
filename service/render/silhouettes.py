"""Our own drawings of garments lying flat, in millimetres: outline, seams, and a little shade.

They are invented shapes made from a half chest and a body length alone, so they grow with the size.
Coordinates are those of :mod:`service.domain.proof_geometry`. Where prints lie, nothing but the
plain cloth is drawn, save the pocket, zip or seam that a placement crosses.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from service.domain.blanks import Style
from service.domain.proof_geometry import FlatGarment, View
from service.render.silhouette_parts import (
    armholes,
    curve_from_middle,
    faded,
    folds,
    hem_stitches,
    length_of,
    long_arm,
    neck_dip,
    ribs,
    round_collar,
    sides,
    tee_body,
    under_arms,
    warm_body,
    warm_lines,
)
from service.render.silhouette_pen import Drawing, Pen, Segment, Shade


def drawing_of(garment: FlatGarment) -> Drawing:
    """The drawing of that garment's side."""
    if garment.view is View.SLEEVE and garment.style is not Style.TOTE:
        return _sleeve(garment)
    return _DRAWERS[garment.style](garment)


def _tee(garment: FlatGarment) -> Drawing:
    pen, length, armpit = Pen(garment.half_chest_mm), length_of(garment), (0.495, 0.475)
    outer, inner = (0.785, 0.375), (0.560, 0.605)
    cuff = ((0.56, 0.118), (0.68, 0.235), outer)
    body = tee_body(pen, garment, (cuff, (inner,)), armpit)
    shades, collar = round_collar(pen, garment, 0.19)
    under = pen.both(armpit, (inner,), ((0.635, 0.53),), ((0.50, 0.40),))
    for path, sign in zip(under, (1, -1), strict=True):
        shades.append(faded(pen, path, 0.14, (0.53 * sign, 0.56), (0.60 * sign, 0.47)))
    lines = [*armholes(pen, armpit), *collar]
    sleeve_hem = pen.both((0.757, 0.352), ((0.537, 0.577),))
    return Drawing(
        (Shade(body, 0),),
        pen.extent(),
        (*shades, *sides(pen, armpit, (0.495, length))),
        (*((line, 0.55) for line in lines), *((line, 0.25) for line in folds(pen, armpit))),
        (*hem_stitches(pen, length), *sleeve_hem),
    )


def _long_sleeve(garment: FlatGarment) -> Drawing:
    pen, length, armpit = Pen(garment.half_chest_mm), length_of(garment), (0.495, 0.48)
    cuff_out, cuff_in = (0.925, 1.165), (0.765, 1.225)
    body = tee_body(pen, garment, long_arm(cuff_out, cuff_in), armpit)
    shades, collar = round_collar(pen, garment, 0.19)
    cuffs = pen.both((0.907, 1.105), ((0.748, 1.165),))
    return Drawing(
        (Shade(body, 0),),
        pen.extent(),
        (
            *shades,
            *sides(pen, armpit, (0.495, length)),
            *under_arms(pen, armpit, cuff_in),
        ),
        (
            *((line, 0.55) for line in (*armholes(pen, armpit), *collar, *cuffs)),
            *((line, 0.25) for line in folds(pen, armpit)),
        ),
        tuple(hem_stitches(pen, length)),
    )


_HOOD_BAND = 0.11


def _hoodie(garment: FlatGarment) -> Drawing:
    pen, length, armpit = Pen(garment.half_chest_mm), length_of(garment), (0.505, 0.53)
    seam, is_front = neck_dip(garment), garment.view is View.FRONT
    hood = pen.mirrored(
        (0, -0.43),
        ((0.16, -0.43), (0.30, -0.33), (0.31, -0.12)),
        ((0.315, -0.03), (0.30, 0.04), (0.27, 0.075)),
        ((0.2, 0.13), (0.1, max(seam, 0.13)), (0, max(seam, 0.13))),
    )
    body = warm_body(pen, length, (0.235, 0.02), seam, _HOOD_BAND)
    shades = [
        *sides(pen, armpit, (0.505, length - _HOOD_BAND)),
        *under_arms(pen, armpit, (0.765, 1.145)),
    ]
    lines = warm_lines(pen, length, _HOOD_BAND)
    fine = [*folds(pen, armpit), *ribs(pen, length, _HOOD_BAND)]
    behind = [Shade(hood, 0.04)]
    if is_front:
        behind.append(Shade(_hood_opening(pen, seam), 0.34))
        lines += [*_pouch(pen, length), *_cords(pen, seam), *_hood_rim(pen, seam)]
    else:
        lines += [
            pen.path((0, -0.43), ((0, seam),)),
            *pen.both((0, seam), curve_from_middle(0.235, 0.02, seam)),
        ]
    return Drawing(
        (*behind, Shade(body, 0)),
        pen.extent(),
        tuple(shades),
        (*((line, 0.55) for line in lines), *((line, 0.25) for line in fine)),
    )


def _hood_opening(pen: Pen, seam: float) -> str:
    return pen.mirrored(
        (0, -0.345),
        ((0.13, -0.345), (0.205, -0.22), (0.195, -0.06)),
        ((0.185, 0.04), (0.09, seam - 0.02), (0, seam - 0.005)),
    )


def _hood_rim(pen: Pen, seam: float) -> list[str]:
    """The hem around the opening, and the seam that joins hood and body."""
    return [
        *pen.both(
            (0, -0.375),
            ((0.15, -0.375), (0.235, -0.23), (0.225, -0.06)),
            ((0.215, 0.03), (0.13, 0.11), (0.03, seam - 0.004)),
        ),
        *pen.both((0, seam), curve_from_middle(0.235, 0.02, seam)),
    ]


def _cords(pen: Pen, seam: float) -> list[str]:
    return [
        *pen.both(
            (0.055, seam - 0.005), ((0.07, seam + 0.02), (0.075, seam + 0.05), (0.07, seam + 0.095))
        )
    ]


POUCH: Final = 0.37
"""Height of a hoodie's pocket in half chests, above the band of the hem."""


def _pouch(pen: Pen, length: float) -> list[str]:
    bottom = length - _HOOD_BAND + 0.004
    top = bottom - POUCH
    return [
        *pen.both(
            (0, top),
            ((0.235, top),),
            ((0.27, top + 0.10), (0.33, top + 0.20), (0.365, top + 0.235)),
            ((0.37, bottom),),
        )
    ]


_JACKET_BAND = 0.06


def _jacket(garment: FlatGarment) -> Drawing:
    pen, length, armpit = Pen(garment.half_chest_mm), length_of(garment), (0.505, 0.53)
    seam, is_front = neck_dip(garment), garment.view is View.FRONT
    top = -0.075 if is_front else -0.115
    collar = pen.mirrored(
        (0, top),
        ((0.09, top), (0.15, -0.10), (0.185, -0.115)),
        ((0.205, -0.06), (0.22, -0.01), (0.23, 0.03)),
        ((0.2, 0.08), (0.1, seam + 0.02), (0, seam + 0.02)),
    )
    body = warm_body(pen, length, (0.225, 0.018), seam, _JACKET_BAND)
    shades = [
        *sides(pen, armpit, (0.505, length - _JACKET_BAND)),
        *under_arms(pen, armpit, (0.765, 1.145)),
    ]
    lines = [
        *warm_lines(pen, length, _JACKET_BAND),
        *pen.both((0, seam), curve_from_middle(0.225, 0.018, seam)),
    ]
    stitches: list[str] = []
    behind: list[Shade] = []
    if is_front:
        behind.append(Shade(_inside_collar(pen, top), 0.30))
        lines += _zip(pen, length)
        stitches += pen.both((0.285, length * 0.70), ((0.355, length * 0.88),))
        lines += pen.both((0.27, length * 0.70), ((0.34, length * 0.88),))
    return Drawing(
        (*behind, Shade(collar, 0.03), Shade(body, 0)),
        pen.extent(),
        tuple(shades),
        (*((line, 0.55) for line in lines), *((line, 0.25) for line in folds(pen, armpit))),
        tuple(stitches),
    )


def _inside_collar(pen: Pen, top: float) -> str:
    """The back of a stand collar, seen over its front."""
    return pen.mirrored(
        (0, -0.135),
        ((0.09, -0.135), (0.15, -0.13), (0.185, -0.115)),
        ((0.15, -0.10), (0.09, top), (0, top)),
    )


def _zip(pen: Pen, length: float) -> list[str]:
    """The two tapes of a zip from collar to hem, and its slider."""
    tapes = pen.both((0.014, -0.072), ((0.014, length + 0.009),))
    slider = pen.path(
        (-0.009, -0.03), ((0.009, -0.03),), ((0.009, 0.03),), ((-0.009, 0.03),), closed=True
    )
    return [*tapes, pen.path((0, -0.072), ((0, length + 0.009),)), slider]


def _bodysuit(garment: FlatGarment) -> Drawing:
    pen, length, armpit = Pen(garment.half_chest_mm), length_of(garment), (0.50, 0.50)
    outer, inner = (0.80, 0.425), (0.575, 0.625)
    edge = 0.06 if garment.view is View.FRONT else 0.03
    leg = length * 0.74
    body = pen.mirrored(
        (0, edge),
        curve_from_middle(0.245, 0.0, edge),
        ((0.32, 0.03), (0.40, 0.06), (0.465, 0.09)),
        ((0.57, 0.125), (0.69, 0.26), outer),
        (inner,),
        (armpit,),
        ((0.495, 0.75), (0.50, leg * 0.9), (0.505, leg)),
        ((0.36, leg + 0.05), (0.21, length - 0.20), (0.165, length - 0.02)),
        ((0.11, length + 0.015), (0.05, length + 0.02), (0, length + 0.02)),
    )
    shades, collar = round_collar(pen, garment, 0.245, edge)
    legs = pen.both(
        (0.485, leg + 0.028), ((0.345, leg + 0.07), (0.225, length - 0.19), (0.20, length - 0.085))
    )
    laps = pen.both((0.225, 0.035), ((0.33, 0.10), (0.44, 0.22), (0.475, 0.42)))
    return Drawing(
        (Shade(body, 0),),
        pen.extent(),
        (*shades, *sides(pen, armpit, (0.505, leg))),
        (
            *((line, 0.55) for line in (*armholes(pen, armpit), *collar, *laps)),
            *((line, 0.6) for line in _snaps(pen, length)),
        ),
        (*legs, *pen.both((0.77, 0.402), ((0.552, 0.597),))),
    )


def _snaps(pen: Pen, length: float) -> list[str]:
    """Three round snaps, and the edge of the flap that they close."""
    y, r = length - 0.04, 0.016
    rings = [
        pen.path((x - r, y), ((x - r, y - 1.3 * r), (x + r, y - 1.3 * r), (x + r, y)),
                 ((x + r, y + 1.3 * r), (x - r, y + 1.3 * r), (x - r, y)), closed=True)
        for x in (-0.10, 0.0, 0.10)
    ]  # fmt: skip
    return [*rings, pen.path((-0.20, length - 0.09), ((0.20, length - 0.09),))]


def _tote(garment: FlatGarment) -> Drawing:
    pen, length = Pen(garment.half_chest_mm), length_of(garment)
    bag = pen.mirrored(
        (0, 0),
        ((0.5, 0.0),),
        ((0.503, length * 0.5), (0.50, length * 0.9), (0.492, length)),
        ((0, length),),
    )
    handle = _handle(pen, 0.60)
    behind = _handle(pen, 0.54)
    shades: list[Shade] = []
    for path, sign in zip(
        pen.both((0.5, 0.0), ((0.495, length),), ((0.42, length),), ((0.42, 0.0),)),
        (1, -1),
        strict=True,
    ):
        shades.append(faded(pen, path, 0.12, (0.5 * sign, 0.0), (0.42 * sign, 0.0)))
    patches = pen.both((0.16, 0.0), ((0.16, 0.10),), ((0.225, 0.10),), ((0.225, 0.0),))
    crosses = pen.both((0.165, 0.01), ((0.22, 0.095),))
    return Drawing(
        (Shade(behind, 0.18), Shade(handle, 0), Shade(bag, 0)),
        pen.extent(),
        tuple(shades),
        tuple((line, 0.5) for line in patches),
        (pen.path((-0.5, 0.065), ((0.5, 0.065),)), *crosses),
    )


def _handle(pen: Pen, rise: float) -> str:
    """A strap from one side of the top hem to the other, as one closed ring."""
    return pen.mirrored(
        (0, -rise),
        ((0.15, -rise), (0.225, -rise * 0.75), (0.225, 0.02)),
        ((0.16, 0.02),),
        ((0.16, -rise * 0.68), (0.09, -rise + 0.066), (0, -rise + 0.066)),
    )


def _sleeve(garment: FlatGarment) -> Drawing:
    """A sleeve hanging in front of the body's side, whose front is on the left of the picture."""
    pen = Pen(garment.half_chest_mm, turned=garment.right_arm)
    length = length_of(garment) - 0.088
    is_long = garment.style in {Style.LONG_SLEEVE, Style.HOODIE, Style.JACKET}
    body = pen.path(
        (-0.135, -0.085),
        ((-0.235, -0.03), (-0.295, 0.12), (-0.31, 0.40)),
        ((-0.325, 0.8), (-0.31, length * 0.9), (-0.305, length)),
        ((-0.1, length + 0.012), (0.1, length + 0.012), (0.29, length)),
        ((0.30, length * 0.8), (0.285, 0.6), (0.295, 0.42)),
        ((0.30, 0.16), (0.25, -0.02), (0.15, -0.115)),
        ((0.08, -0.075), (-0.05, -0.05), (-0.135, -0.085)),
        closed=True,
    )
    reach = 1.20 if is_long else 0.46
    half_cuff = 0.105 if is_long else 0.175
    arm = _arm(pen, reach, half_cuff)
    behind = [Shade(_side_hood(pen), 0.16)] if garment.style is Style.HOODIE else []
    cuff = reach - (0.075 if is_long else 0.05)
    half = 0.113 if is_long else 0.18
    neck = pen.path((-0.155, -0.072), ((-0.05, -0.022), (0.09, -0.045), (0.172, -0.095)))
    return Drawing(
        (*behind, Shade(body, 0.10), Shade(arm, 0)),
        pen.extent(),
        tuple(_arm_shades(pen, reach, half_cuff)),
        ((neck, 0.5), (pen.path((-half, cuff), ((half, cuff),)), 0.5)),
    )


def _arm(pen: Pen, reach: float, half_cuff: float) -> str:
    return pen.mirrored(
        (0, 0),
        ((0.10, 0.0), (0.188, 0.11), (0.198, 0.30)),
        _arm_edge(reach, half_cuff),
        ((half_cuff * 0.6, reach + 0.01), (half_cuff * 0.3, reach + 0.012), (0, reach + 0.012)),
    )


def _arm_edge(reach: float, half_cuff: float) -> Segment:
    """The edge of a sleeve from where it is widest to its cuff."""
    knee = min(0.6, reach * 0.8)
    return ((0.20, knee), (half_cuff + 0.02, reach * 0.9), (half_cuff, reach))


def _arm_shades(pen: Pen, reach: float, half_cuff: float) -> list[Shade]:
    """Shade along both edges of a sleeve, too narrow to reach a print."""
    shades: list[Shade] = []
    inner = min(half_cuff, 0.15)
    paths = pen.both((0.198, 0.30), _arm_edge(reach, half_cuff), ((inner, reach),), ((0.15, 0.30),))
    for path, sign in zip(paths, (1, -1), strict=True):
        shades.append(faded(pen, path, 0.10, (0.2 * sign, 0.0), (0.15 * sign, 0.0)))
    return shades


def _side_hood(pen: Pen) -> str:
    return pen.path(
        (-0.10, -0.06),
        ((-0.16, -0.30), (-0.08, -0.47), (0.08, -0.46)),
        ((0.26, -0.45), (0.34, -0.22), (0.22, 0.0)),
        ((0.1, 0.05), (0.0, 0.03), (-0.10, -0.06)),
        closed=True,
    )


_DRAWERS: Final[Mapping[Style, Callable[[FlatGarment], Drawing]]] = {
    Style.TEE: _tee,
    Style.LONG_SLEEVE: _long_sleeve,
    Style.HOODIE: _hoodie,
    Style.TOTE: _tote,
    Style.BODYSUIT: _bodysuit,
    Style.JACKET: _jacket,
}
