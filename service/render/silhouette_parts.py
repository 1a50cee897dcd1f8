"""Parts that several garments share: collars, sides, sleeves, hems. Lengths in half chests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from service.domain.proof_geometry import FlatGarment, View, neck_seam_mm
from service.render.silhouette_pen import Pen, Point, Segment, Shade

RIB = 0.042
"""Width of a collar's rib in half chests."""

NECK_EDGE: Final = 0.03
"""How far the edge of a back neck dips behind a front, in half chests."""


def length_of(garment: FlatGarment) -> float:
    """The body length in half chests."""
    return garment.body_length_mm / garment.half_chest_mm


def neck_dip(garment: FlatGarment) -> float:
    """The dip of the neck seam in half chests."""
    return neck_seam_mm(garment) / garment.half_chest_mm


def curve_to_middle(half_width: float, top: float, dip: float) -> Segment:
    """From (half_width, top) down to the middle line at ``dip``, level there."""
    return ((half_width * 0.93, top + (dip - top) * 0.72), (half_width * 0.5, dip), (0, dip))


def curve_from_middle(half_width: float, top: float, dip: float) -> Segment:
    """The same from the middle line upwards."""
    return (
        (half_width * 0.5, dip),
        (half_width * 0.93, top + (dip - top) * 0.72),
        (half_width, top),
    )


def round_collar(
    pen: Pen, garment: FlatGarment, half_width: float, back_edge: float = NECK_EDGE
) -> tuple[list[Shade], list[str]]:
    """A round neck with its rib: the inside of the back that shows, and the lines of it."""
    seam, inner = neck_dip(garment), half_width - 0.6 * RIB
    edge = pen.both((0, seam), curve_from_middle(half_width + 0.012, 0.008, seam))
    if garment.view is View.BACK:
        return [], [*edge]
    opening, top = seam - RIB, back_edge * 0.46  # where the edge of the back meets the rib
    inside = pen.mirrored(
        (0, back_edge),
        curve_from_middle(inner, top, back_edge),
        curve_to_middle(inner, top, opening),
    )
    rim = pen.both((0, opening), curve_from_middle(inner, top, opening))
    down = back_edge + 0.032
    tape = pen.both((0, down), curve_from_middle(inner * 0.94, back_edge, down))
    return [Shade(inside, 0.30)], [*edge, *rim, *tape]


def sides(pen: Pen, armpit: Point, hem: Point) -> list[Shade]:
    """Shade along both sides of the body, gone after a tenth of a half chest."""
    shades: list[Shade] = []
    for path, sign in zip(
        pen.both(
            armpit, (hem,), ((hem[0] - 0.10, hem[1]),), ((armpit[0] - 0.10, armpit[1] + 0.1),)
        ),
        (1, -1),
        strict=True,
    ):
        strong, gone = (armpit[0] * sign, 0.0), ((armpit[0] - 0.10) * sign, 0.0)
        shades.append(faded(pen, path, 0.13, strong, gone))
    return shades


def faded(pen: Pen, path: str, strength: float, strong: Point, gone: Point) -> Shade:
    """Shade that fades from one point to another, both in half chests."""
    return Shade(f"{path} Z", strength, (pen.at(strong), pen.at(gone)))


def armholes(pen: Pen, armpit: Point) -> tuple[str, str]:
    """The seams that join a T-shirt's sleeves to its body."""
    return pen.both((0.46, 0.088), ((0.425, 0.18), (0.425, 0.36), armpit))


def folds(pen: Pen, armpit: Point) -> list[str]:
    """Two short folds that begin under each arm."""
    x, y = armpit
    return [
        *pen.both(
            (x - 0.012, y + 0.02),
            ((x - 0.03, y + 0.05), (x - 0.05, y + 0.07), (x - 0.085, y + 0.085)),
        ),
        *pen.both(
            (x - 0.012, y + 0.05),
            ((x - 0.02, y + 0.10), (x - 0.035, y + 0.13), (x - 0.06, y + 0.165)),
        ),
    ]


def hem_stitches(pen: Pen, length: float) -> list[str]:
    """The twin rows of thread along a T-shirt's hem."""
    rows: list[str] = []
    for up in (0.042, 0.052):
        rows += pen.both(
            (0, length + 0.016 - up),
            ((0.15, length + 0.016 - up), (0.33, length + 0.012 - up), (0.493, length - up)),
        )
    return rows


def long_arm(cuff_out: Point, cuff_in: Point) -> tuple[Segment, ...]:
    """A sleeve from the shoulder to its cuff, and the cuff."""
    return (
        ((0.575, 0.125), (0.665, 0.30), (0.725, 0.50)),
        ((0.79, 0.72), (0.86, 0.95), cuff_out),
        (cuff_in,),
    )


def under_arms(pen: Pen, armpit: Point, cuff_in: Point) -> list[Shade]:
    """Shade along the lower edge of long sleeves."""
    x, y = armpit
    shades: list[Shade] = []
    paths = pen.both(
        armpit, (cuff_in,), ((cuff_in[0] + 0.05, cuff_in[1] - 0.03),), ((x + 0.075, y - 0.03),)
    )
    for path, sign in zip(paths, (1, -1), strict=True):
        shades.append(faded(pen, path, 0.14, (x * sign, y), ((x + 0.07) * sign, y - 0.03)))
    return shades


def warm_body(pen: Pen, length: float, neck: Point, middle: float, band: float) -> str:
    """Shoulders, long sleeves, and a body drawn in by a band at the hem."""
    return pen.mirrored(
        (0, middle),
        curve_from_middle(neck[0], neck[1], middle),
        ((0.34, 0.05), (0.42, 0.085), (0.485, 0.12)),
        ((0.60, 0.155), (0.70, 0.32), (0.76, 0.52)),
        ((0.82, 0.74), (0.89, 0.95), (0.925, 1.10)),
        ((0.915, 1.195),),
        ((0.785, 1.225),),
        ((0.765, 1.145),),
        ((0.505, 0.53),),
        ((0.50, 0.75), (0.505, length * 0.8), (0.505, length - band)),
        ((0.475, length - band * 0.6), (0.47, length - band * 0.3), (0.468, length)),
        ((0.3, length + 0.008), (0.15, length + 0.01), (0, length + 0.01)),
    )


def warm_lines(pen: Pen, length: float, band: float) -> list[str]:
    """Armholes, cuffs and the band of the hem."""
    return [
        *pen.both((0.485, 0.12), ((0.44, 0.22), (0.44, 0.40), (0.505, 0.53))),
        *pen.both((0.925, 1.10), ((0.765, 1.145),)),
        *pen.both(
            (0, length - band + 0.008),
            ((0.2, length - band + 0.008), (0.35, length - band + 0.004), (0.505, length - band)),
        ),
    ]


def ribs(pen: Pen, length: float, band: float) -> list[str]:
    """Short upright lines in the band of the hem."""
    lines: list[str] = []
    for index in range(15):
        x = 0.02 + index * 0.032
        lines += pen.both((x, length - band + 0.022), ((x * 0.985, length - 0.012),))
    return lines


def tee_body(pen: Pen, garment: FlatGarment, sleeve: Sequence[Segment], armpit: Point) -> str:
    """Neck, shoulder, sleeve and side of a T-shirt: the outline."""
    length = length_of(garment)
    back = NECK_EDGE if garment.view is View.FRONT else 0.02
    return pen.mirrored(
        (0, back),
        curve_from_middle(0.19, 0.0, back),
        ((0.28, 0.032), (0.38, 0.062), (0.46, 0.088)),
        *sleeve,
        (armpit,),
        ((0.487, 0.75), (0.488, length * 0.8), (0.495, length)),
        ((0.33, length + 0.012), (0.15, length + 0.016), (0, length + 0.016)),
    )
