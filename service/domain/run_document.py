"""The run: prints of several tickets, ganged on one roll and one press setting, as one document.

It is written once when the run is proposed and never changed. Lengths are whole micrometres.
Positions are from the corner of what is cut off the roll where it begins, margins included, as seen
from the side that is printed or cut: ``x_um`` across the strip, ``y_um`` along it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import cached_property

from service.domain.ticket_steps import PressSettings
from service.domain.values import Frozen


class RunPrint(Frozen):
    """One ticket's decoration on the run's medium: equal pieces, numbered from ``first_piece``.

    Sizes are as the picture stands upright. ``reprint`` is the id of the reprint that asks for
    these pieces, None for the ticket's own, which are numbered from 1. ``envelope_um`` is the
    closed line x, y that a piece was nested by, from the upper left corner of its box, turned over
    as it is worked on but not turned yet; empty where its box was.
    """

    ticket: str
    decoration: int
    placement: str
    promised_day: date
    artwork_id: str
    width_um: int
    height_um: int
    pieces: int
    first_piece: int = 1
    reprint: int | None = None
    envelope_um: tuple[tuple[int, int], ...] = ()

    @property
    def print_key(self) -> tuple[str, int, int]:
        """Tells it from every other print of the medium."""
        return self.ticket, self.decoration, self.first_piece


class RunPiece(Frozen):
    """One piece in its place on the part of that number, from 0; width and height are as it lies.

    Place and size are those of its box, which may reach into the boxes of others and beyond the
    strip where the piece was nested by its envelope. A turned piece is turned clockwise by a
    quarter, after it was mirrored where it is; what is half turned is then turned by two more.
    """

    ticket: str
    decoration: int
    piece: int
    part: int
    x_um: int
    y_um: int
    width_um: int
    height_um: int
    turned: bool
    half_turned: bool = False

    @property
    def turn_deg(self) -> int:
        """By how much it is turned clockwise: 0, 90, 180 or 270."""
        return 90 * self.turned + 180 * self.half_turned

    def on_strip(self, x_um: int, y_um: int, owner: RunPrint) -> tuple[int, int]:
        """Where a point of the upright print lies on the piece's part, both in micrometres."""
        wide, high = owner.width_um, owner.height_um
        across, along = (
            (x_um, y_um),
            (high - y_um, x_um),
            (wide - x_um, high - y_um),
            (y_um, wide - x_um),
        )[self.turn_deg // 90]
        return self.x_um + across, self.y_um + along

    def envelope_on_strip(self, owner: RunPrint) -> tuple[tuple[int, int], ...]:
        """The line that no other piece is nearer to than the gap: its envelope's, or its box's."""
        wide, high = owner.width_um, owner.height_um
        upright = owner.envelope_um or ((0, 0), (wide, 0), (wide, high), (0, high))
        return tuple(self.on_strip(x, y, owner) for x, y in upright)

    @property
    def key(self) -> str:
        """Ticket, decoration from 0 and piece from 1: ``T000012-0-3``."""
        return piece_key(self.ticket, self.decoration, self.piece)


def piece_key(ticket: str, decoration: int, piece: int) -> str:
    """The name of a piece, which stands on its label."""
    return f"{ticket}-{decoration}-{piece}"


class RunDocument(Frozen):
    """One run.

    ``pieces`` stand in the order in which they are cut. ``print_mirrored`` and ``cut_mirrored`` are
    None where the medium is not printed or not cut. ``recipe`` are the strikes on this medium, in
    their order. ``width_um`` is that of the strip with both margins. ``parts_um`` are the lengths
    that are cut off, margins and all: one of a roll as a rule, or one for each sheet. No layout
    takes less than ``bound_um``; ``alone_um`` is what the prints take each laid out by itself, box
    beside box.
    """

    medium: str
    medium_name: str
    colour: str
    print_mirrored: bool | None
    cut_mirrored: bool | None
    recipe: tuple[PressSettings, ...]
    width_um: int
    margin_um: int
    gap_um: int
    sheets: bool
    parts_um: tuple[int, ...]
    bound_um: int
    alone_um: int
    prints: tuple[RunPrint, ...]
    pieces: tuple[RunPiece, ...]

    @property
    def length_um(self) -> int:
        """What is cut off in all."""
        return sum(self.parts_um)

    @property
    def saving_um(self) -> int:
        """How much less that is than the prints would take each by itself; never below 0."""
        return self.alone_um - self.length_um

    @property
    def saving_share(self) -> float:
        """The same as a share of what they would take."""
        return self.saving_um / self.alone_um if self.alone_um else 0.0

    @property
    def by_envelopes(self) -> bool:
        """Whether some of its pieces were nested by their envelopes, not their boxes."""
        return any(one.envelope_um for one in self.prints)

    @property
    def mirrored(self) -> bool:
        """Whether pictures lie turned over on the side that is worked on."""
        return bool(self.print_mirrored or self.cut_mirrored)

    @property
    def tickets(self) -> tuple[str, ...]:
        """Their numbers, the most urgent first."""
        return tuple(dict.fromkeys(one.ticket for one in self.prints))

    @property
    def days(self) -> tuple[date, date]:
        """The first and the last day promised."""
        days = [one.promised_day for one in self.prints]
        return min(days), max(days)

    def starts_um(self, between_um: int = 0) -> tuple[int, ...]:
        """Where each part begins when all lie one after the other, so far apart."""
        starts, at_um = [], 0
        for length_um in self.parts_um:
            starts.append(at_um)
            at_um += length_um + between_um
        return tuple(starts)

    @cached_property
    def owners(self) -> tuple[RunPrint, ...]:
        """The print that each piece belongs to, in the order of the pieces."""
        of_decoration: dict[tuple[str, int], list[RunPrint]] = {}
        for one in self.prints:
            of_decoration.setdefault((one.ticket, one.decoration), []).append(one)
        return tuple(
            next(
                one
                for one in of_decoration[piece.ticket, piece.decoration]
                if one.first_piece <= piece.piece < one.first_piece + one.pieces
            )
            for piece in self.pieces
        )

    def places(self) -> Iterator[tuple[RunPrint, int, int]]:
        """Each print with the first and the last place of its pieces in the order, from 1."""
        found: dict[tuple[str, int, int], list[int]] = {}
        for place, owner in enumerate(self.owners, start=1):
            found.setdefault(owner.print_key, []).append(place)
        for one in self.prints:
            yield one, found[one.print_key][0], found[one.print_key][-1]
