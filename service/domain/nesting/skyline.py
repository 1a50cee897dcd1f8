"""The upper edge of what has been laid on a strip: level steps, from left to right."""

from __future__ import annotations

WALL = 1 << 62
"""The height of the strip's own edges: above everything."""


class Skyline:
    """Steps of a strip, each with its left edge, its height and its width; no two level abreast."""

    __slots__ = ("tops", "widths", "xs")

    def __init__(self, width: int) -> None:
        """An empty strip."""
        self.xs = [0]
        self.tops = [0]
        self.widths = [width]

    def walls(self, step: int) -> tuple[int, int]:
        """The heights of the steps to the left and right, the strip's edges being walls."""
        tops = self.tops
        left = tops[step - 1] if step else WALL
        right = tops[step + 1] if step + 1 < len(tops) else WALL
        return left, right

    def lift(self, step: int, left: int, right: int) -> None:
        """Fill a hollow up to its lower wall: nothing goes there any more."""
        self._close(step, min(left, right), left, right)

    def lay(self, step: int, width: int, top: int, walls: tuple[int, int], *, at_left: bool) -> int:
        """Lay a piece on a step, against its left or right wall; gives the piece's left edge."""
        xs, widths = self.xs, self.widths
        x = xs[step]
        if width == widths[step]:
            self._close(step, top, *walls)
            return x
        widths[step] -= width
        if at_left:
            xs[step] += width
            if top == walls[0]:
                widths[step - 1] += width
                return x
        else:
            x += widths[step]
            step += 1
            if top == walls[1]:
                widths[step] += width
                xs[step] = x
                return x
        xs.insert(step, x)
        self.tops.insert(step, top)
        widths.insert(step, width)
        return x

    def _close(self, step: int, top: int, left: int, right: int) -> None:
        """Raise a whole step, and make one step of it and the neighbours that are as high."""
        xs, tops, widths = self.xs, self.tops, self.widths
        if top == right:
            widths[step] += widths[step + 1]
            del xs[step + 1], tops[step + 1], widths[step + 1]
        if top == left:
            widths[step - 1] += widths[step]
            del xs[step], tops[step], widths[step]
        else:
            tops[step] = top
