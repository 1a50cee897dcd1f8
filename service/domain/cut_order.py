"""The order in which pieces are cut: a short path along the strip."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.nesting.pieces import Placed

REACH_UM = 200_000
"""A piece waits for others that begin at most so much further along the strip, so that a plotter
need not draw the roll back far. A design choice, no source."""


def cut_order(placed: Sequence[Placed]) -> list[Placed]:
    """The pieces from the strip's beginning on, each time the nearest within reach.

    Distances are between middles; of equally near pieces the one that begins first along the strip
    goes first, then the one further left. The same pieces always give the same order.
    """
    left = sorted(placed, key=lambda one: (one.y_um, one.x_um, one.key))
    found: list[Placed] = []
    # Middles are counted twice over, so that all numbers are whole.
    x, y = 0, 0
    while left:
        reach_um = left[0].y_um + REACH_UM
        within = (one for one in left if one.y_um <= reach_um)
        nearest = min(within, key=lambda one: (_twice(one)[0] - x) ** 2 + (_twice(one)[1] - y) ** 2)
        left.remove(nearest)
        found.append(nearest)
        x, y = _twice(nearest)
    return found


def _twice(one: Placed) -> tuple[int, int]:
    return 2 * one.x_um + one.width_um, 2 * one.y_um + one.height_um
