"""How far a ticket is, piece by piece and size by size: what is good, spoiled, and to be made anew.

What happened at the bench is a list of events, and where the ticket stands is what they add up to.
Nothing is struck out: a mistaken entry is taken back by another. For every size

    good + moved   <= wanted      (never more done than wanted)
    good + spoiled <= started     (never more used than there is)

where ``started`` are the blanks taken, spares among them, and ``moved`` are pieces that another
ticket makes anew. Spares are used up before anything is to be made anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, Self

from pydantic import Field, StringConstraints, model_validator

from service.domain.values import Frozen

MAX_NOTE = 4_000


class SpoilReason(StrEnum):
    """Why a piece cannot be sent."""

    MISPLACED = "misplaced"
    SCORCHED = "scorched"
    WRONG_COLOUR = "wrong-colour"
    GHOSTED = "ghosted"
    LIFTED = "lifted"
    CLOTH_FAULT = "cloth-fault"
    WRONG_SIZE = "wrong-size"
    OTHER = "other"


SPOIL_WORDS: Mapping[SpoilReason, str] = {
    SpoilReason.MISPLACED: "crooked, or at the wrong place",
    SpoilReason.SCORCHED: "scorched, glazed or melted",
    SpoilReason.WRONG_COLOUR: "colour not as on the proof",
    SpoilReason.GHOSTED: "a second, shifted picture: paper or cloth moved",
    SpoilReason.LIFTED: "film or edge does not hold",
    SpoilReason.CLOTH_FAULT: "hole, stain or seam fault of the garment",
    SpoilReason.WRONG_SIZE: "garment of another size than asked for",
    SpoilReason.OTHER: "something else; the note says what",
}
"""Each reason as the bench reads it."""


class PieceEventKind(StrEnum):
    """What happened to pieces: made well, spoiled, an entry taken back, or given to a remake."""

    DONE = "done"
    SPOILED = "spoiled"
    UNDONE = "undone"
    MOVED = "moved"


class PieceEvent(Frozen):
    """``count`` pieces of one size, at least 1.

    ``reason`` stands with spoiled pieces and when those are taken back; with the reason ``other`` a
    spoiled piece needs a note. ``undoes`` says what an entry takes back: done, spoiled or moved.
    """

    kind: PieceEventKind
    size: str
    count: Annotated[int, Field(ge=1, le=100_000)] = 1
    reason: SpoilReason | None = None
    undoes: PieceEventKind | None = None
    note: Annotated[str, StringConstraints(max_length=MAX_NOTE)] = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.undoes is not None) != (self.kind is PieceEventKind.UNDONE):
            raise ValueError("an entry that is taken back, and no other, says what it was: undoes")
        if self.undoes is PieceEventKind.UNDONE:
            raise ValueError("what was taken back is entered again, not taken back once more")
        if (self.reason is not None) != (PieceEventKind.SPOILED in (self.kind, self.undoes)):
            raise ValueError("spoiled pieces, and no others, have a reason")
        unnamed = self.kind is PieceEventKind.SPOILED and self.reason is SpoilReason.OTHER
        if unnamed and not self.note.strip():
            raise ValueError("the reason 'other' needs a note that says what happened")
        return self


class PieceLimit(ValueError):
    """An event that would break a law of the count; ``limit`` is the most it may be of."""

    def __init__(self, event: PieceEvent, limit: int, because: str) -> None:
        """Keep the event, how many it may be of at most, and why."""
        what = event.undoes or event.kind
        verb = "take back" if event.undoes else "enter"
        super().__init__(
            f"cannot {verb} {event.count} of size {event.size} as {what}: {because}, "
            f"so {limit} at most"
        )
        self.event = event
        self.limit = limit
        self.because = because


class SizeCount(Frozen):
    """Pieces of one size. ``spoiled`` counts them by reason."""

    size: str
    wanted: int
    started: int
    good: int = 0
    moved: int = 0
    spoiled: Mapping[SpoilReason, int] = Field(default_factory=dict)

    @property
    def lost(self) -> int:
        """Spoiled pieces, whatever the reason."""
        return sum(self.spoiled.values())

    @property
    def remaining(self) -> int:
        """Good pieces still to come from this ticket."""
        return self.wanted - self.good - self.moved

    @property
    def at_hand(self) -> int:
        """Blanks taken and neither done nor spoiled, spares among them."""
        return self.started - self.good - self.lost

    @property
    def to_remake(self) -> int:
        """Pieces still to come for which no blank is left."""
        return max(0, self.remaining - self.at_hand)


class PieceCount(Frozen):
    """All sizes of a ticket, in the ticket's order."""

    sizes: tuple[SizeCount, ...]

    @property
    def remaining(self) -> dict[str, int]:
        """Good pieces still to come by size, sizes with none left out."""
        return {one.size: one.remaining for one in self.sizes if one.remaining}

    @property
    def to_remake(self) -> dict[str, int]:
        """What a remake is to make by size; empty while blanks at hand are enough."""
        return {one.size: one.to_remake for one in self.sizes if one.to_remake}

    @property
    def spoiled(self) -> dict[SpoilReason, int]:
        """Spoiled pieces by reason over all sizes, reasons without any left out."""
        counts = {
            reason: sum(one.spoiled.get(reason, 0) for one in self.sizes) for reason in SpoilReason
        }
        return {reason: count for reason, count in counts.items() if count}

    @property
    def finished(self) -> bool:
        """True when every piece is good or given to a remake: only then is the ticket made."""
        return not self.remaining

    def of(self, size: str) -> SizeCount:
        """The count of that size; KeyError if the ticket has none of it."""
        found = next((one for one in self.sizes if one.size == size), None)
        if found is None:
            raise KeyError(size)
        return found


def blanks_to_take(wanted: Mapping[str, int], to_start: int) -> dict[str, int]:
    """Blanks to take by size: what is wanted, and the spares shared out by the sizes' counts.

    Largest remainders first, equal ones to the size with more pieces and then to the earlier one: a
    design choice, no source. ValueError when fewer are to be started than are wanted, or none is.
    """
    total = sum(wanted.values())
    spares = to_start - total
    if total < 1 or spares < 0:
        raise ValueError(f"{to_start} pieces to start for {total} wanted make no sense")
    shares = {size: Fraction(spares * count, total) for size, count in wanted.items()}
    starts = {size: wanted[size] + int(share) for size, share in shares.items()}
    left = to_start - sum(starts.values())
    by_need = sorted(wanted, key=lambda size: (-(shares[size] % 1), -wanted[size]))
    for size in by_need[:left]:
        starts[size] += 1
    return starts


def open_count(wanted: Mapping[str, int], started: Mapping[str, int]) -> PieceCount:
    """The count before anything happened. ValueError for a size of which too few are started."""
    if set(wanted) != set(started) or any(started[size] < wanted[size] for size in wanted):
        raise ValueError(f"{dict(started)} blanks are not enough for {dict(wanted)}")
    return PieceCount(
        sizes=tuple(
            SizeCount(size=size, wanted=count, started=started[size])
            for size, count in wanted.items()
        )
    )


def record(count: PieceCount, event: PieceEvent) -> PieceCount:
    """The count after the event.

    KeyError for a size the ticket has none of, :class:`PieceLimit` when it would break a law.
    """
    before = count.of(event.size)
    limit, because = _limit(before, event)
    if event.count > limit:
        raise PieceLimit(event, limit, because)
    after = _changed(before, event)
    return PieceCount(sizes=tuple(after if one is before else one for one in count.sizes))


def replay(
    wanted: Mapping[str, int], started: Mapping[str, int], events: Iterable[PieceEvent]
) -> PieceCount:
    """What the events add up to; raises as :func:`record` does."""
    count = open_count(wanted, started)
    for event in events:
        count = record(count, event)
    return count


def _limit(one: SizeCount, event: PieceEvent) -> tuple[int, str]:
    """Of how many pieces the event may be, and what sets that."""
    match event.kind:
        case PieceEventKind.SPOILED:
            return one.at_hand, f"blanks at hand: {one.at_hand}"
        case PieceEventKind.MOVED:
            return one.to_remake, f"short of a blank: {one.to_remake}"
        case PieceEventKind.UNDONE:
            entered = _entered(one, event)
            return entered, f"entered: {entered}"
        case PieceEventKind.DONE:
            if one.at_hand < one.remaining:
                return one.at_hand, f"blanks at hand: {one.at_hand}"
            return one.remaining, f"still wanted: {one.remaining}"


def _entered(one: SizeCount, event: PieceEvent) -> int:
    if event.reason is not None:
        return one.spoiled.get(event.reason, 0)
    return one.good if event.undoes is PieceEventKind.DONE else one.moved


def _changed(one: SizeCount, event: PieceEvent) -> SizeCount:
    what = event.undoes or event.kind
    change = -event.count if event.undoes else event.count
    if event.reason is not None:
        spoiled = {**one.spoiled, event.reason: one.spoiled.get(event.reason, 0) + change}
        return one.model_copy(update={"spoiled": spoiled})
    field = "good" if what is PieceEventKind.DONE else "moved"
    return one.model_copy(update={field: getattr(one, field) + change})
