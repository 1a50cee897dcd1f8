"""What is nested, where it came to lie, and the fault of a piece that has no room."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class NoRoom(ValueError):
    """A piece is larger than what it has to lie on, turned or not as it may be."""

    def __init__(self, key: str, value_um: int, limit_um: int) -> None:
        """Keep the piece's key, its side that is too long and the room there is."""
        super().__init__(f"{value_um} um of piece '{key}' do not fit {limit_um} um")
        self.key = key
        self.value_um = value_um
        self.limit_um = limit_um


@dataclass(frozen=True, slots=True)
class NestPiece:
    """One rectangle to cut: ``width_um`` across the strip, ``height_um`` along it, as drawn.

    ``may_turn`` allows a quarter turn; nap, sparkle and stretch forbid it. Several pieces may bear
    the same ``key``. Raises ValueError for a side below one micrometre.
    """

    key: str
    width_um: int
    height_um: int
    may_turn: bool

    def __post_init__(self) -> None:
        if min(self.width_um, self.height_um) < 1:
            raise ValueError(
                f"piece '{self.key}' measures {self.width_um} x {self.height_um} um; "
                "each side is at least 1"
            )


@dataclass(frozen=True, slots=True)
class Placed:
    """A piece in its place: its corner nearest the strip's beginning and left usable edge.

    ``x_um`` runs across the strip, ``y_um`` along it. Width and height are as it lies.
    """

    key: str
    x_um: int
    y_um: int
    width_um: int
    height_um: int
    turned: bool


@dataclass(frozen=True, slots=True)
class Nest:
    """Pieces on one strip: ``length_um`` of it is taken; no layout can take less than the bound."""

    placed: tuple[Placed, ...]
    length_um: int
    bound_um: int

    @property
    def gap_share(self) -> float:
        """How much longer than the bound, as a share: 0.04 is at most 4 % more than needed."""
        return self.length_um / self.bound_um - 1 if self.bound_um else 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """Equal pieces, grown by the gap: ``count`` of ``width_um`` x ``height_um``.

    ``may_turn`` holds where a turn is allowed, makes a difference and fits the strip; a piece that
    lies turned alone is given as it lies.
    """

    width_um: int
    height_um: int
    may_turn: bool
    count: int

    @property
    def ways(self) -> tuple[tuple[int, int], ...]:
        """Width and height of each way it may lie."""
        upright = self.width_um, self.height_um
        return (upright, upright[::-1]) if self.may_turn else (upright,)


def check_room(
    pieces: Iterable[NestPiece], width_um: int, gap_um: int, length_um: int | None = None
) -> None:
    """See that each piece has room in a strip or sheet.

    Raises :class:`NoRoom` naming the first that has none, ValueError for a strip without width or
    length or a gap below 0.
    """
    if width_um < 1 or gap_um < 0 or (length_um is not None and length_um < 1):
        raise ValueError(
            f"width {width_um}, length {length_um} and gap {gap_um} um leave no strip; "
            "width and length are at least 1 and the gap at least 0"
        )
    for piece in pieces:
        if not has_room(piece, width_um, length_um):
            raise no_room(piece, width_um, length_um)


def has_room(piece: NestPiece, width_um: int, length_um: int | None) -> bool:
    """Whether the piece alone fits a strip of that width, and length unless it is None."""
    return bool(ways_of(piece, width_um, length_um))


def ways_of(
    piece: NestPiece, width_um: int, length_um: int | None = None
) -> tuple[tuple[int, int, bool], ...]:
    """Width, height and whether it is turned, for each different way the piece fits."""
    ways = [(piece.width_um, piece.height_um, False)]
    if piece.may_turn and piece.width_um != piece.height_um:
        ways.append((piece.height_um, piece.width_um, True))
    return tuple(
        way for way in ways if way[0] <= width_um and (length_um is None or way[1] <= length_um)
    )


def kinds_of(
    pieces: Iterable[NestPiece], width_um: int, gap_um: int, length_um: int | None = None
) -> tuple[Kind, ...]:
    """The pieces counted by what they can do, in one order whatever the order of the pieces."""
    counts: dict[tuple[int, int, bool], int] = {}
    for piece in pieces:
        ways = ways_of(piece, width_um, length_um)
        across, along, _ = min(ways)
        kind = across + gap_um, along + gap_um, len(ways) > 1
        counts[kind] = counts.get(kind, 0) + 1
    return tuple(Kind(*kind, count) for kind, count in sorted(counts.items()))


def no_room(piece: NestPiece, width_um: int, length_um: int | None) -> NoRoom:
    """The fault of a piece that does not fit a strip of that width, and length unless None."""
    sides = sorted((piece.width_um, piece.height_um))
    across_um, along_um = sides if piece.may_turn else (piece.width_um, piece.height_um)
    if across_um > width_um or length_um is None:
        return NoRoom(piece.key, across_um, width_um)
    return NoRoom(piece.key, along_um, length_um)
