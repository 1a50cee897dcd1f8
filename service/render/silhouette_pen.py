"""What a garment's drawing is made of, and the pen that draws it in shares of the half chest."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.domain.proof_geometry import Box

Point = tuple[float, float]
Segment = tuple[Point, ...]
"""One point ends a straight line, three are the controls and the end of a cubic curve."""


@dataclass(frozen=True, slots=True)
class Shade:
    """An area a little darker than the cloth, at most by ``strength``, 0 to 1.

    ``fades`` is where it is strongest and where it has gone; None keeps it even.
    """

    path: str
    strength: float
    fades: tuple[Point, Point] | None = None


@dataclass(frozen=True, slots=True)
class Drawing:
    """A garment's drawing: pieces of cloth from the back forwards, shade on them, and lines.

    A piece of strength 0 has the plain cloth's colour; ``shades`` lie on what is drawn before.
    ``lines`` are seams and edges as paths with
    their strength, ``stitches`` dashed rows of thread.
    """

    cloth: tuple[Shade, ...]
    extent: Box
    shades: tuple[Shade, ...] = ()
    lines: tuple[tuple[str, float], ...] = ()
    stitches: tuple[str, ...] = ()


@dataclass(slots=True)
class Pen:
    """Draws in shares of the half chest ``h``, and mirrors what is drawn on the right.

    ``turned`` swaps left and right of all that is drawn.
    """

    h: float
    turned: bool = False
    points: list[Point] = field(default_factory=list)

    def path(self, start: Point, *segments: Segment, closed: bool = False) -> str:
        """An SVG path through the segments."""
        self.points += [start, *(point for segment in segments for point in segment)]
        steps = [f"M{self._written(start)}"]
        for segment in segments:
            letter = "C" if len(segment) == 3 else "L"
            steps.append(letter + " ".join(self._written(point) for point in segment))
        return " ".join(steps) + (" Z" if closed else "")

    def mirrored(self, start: Point, *segments: Segment) -> str:
        """A closed path from the right half of it, whose start and end lie on the middle line."""
        ends = [start, *(segment[-1] for segment in segments)]
        back = [
            (*reversed(segment[:-1]), ends[index])
            for index, segment in reversed(list(enumerate(segments)))
        ]
        flipped = [tuple((-x, y) for x, y in segment) for segment in back]
        return self.path(start, *segments, *flipped, closed=True)

    def both(self, start: Point, *segments: Segment) -> tuple[str, str]:
        """An open path and its mirror image."""
        flipped = [tuple((-x, y) for x, y in segment) for segment in segments]
        return self.path(start, *segments), self.path((-start[0], start[1]), *flipped)

    def extent(self) -> Box:
        """The box of all that was drawn, in mm; curves lie within their controls."""
        across, down = zip(*map(self.at, self.points), strict=True)
        left, top = min(across), min(down)
        return Box(left, top, max(across) - left, max(down) - top)

    def at(self, point: Point) -> Point:
        """Where a point lies, in mm."""
        return point[0] * (-self.h if self.turned else self.h), point[1] * self.h

    def _written(self, point: Point) -> str:
        x_mm, y_mm = self.at(point)
        return f"{x_mm:.2f},{y_mm:.2f}"
