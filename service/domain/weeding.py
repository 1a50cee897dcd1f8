"""How long a hand weeds what a blade has cut: an estimate from the outline of one picture.

It tells pictures apart before they are made. What share of it is planned and priced, beside the
standard minutes, the catalogue says for each method's weeding.
"""

from __future__ import annotations

from enum import StrEnum

WEED_START_MIN = 0.5
WEED_MIN_PER_CM = 0.02
"""Minutes to begin a piece, and for each centimetre of cut line; common practice, no source (from
memory)."""

WEED_MIN_PER_PICK = 0.05
"""Minutes for each bit that is picked out by itself, about three seconds; a design choice."""

SIMPLE_TO_MIN = 2.5
MEDIUM_TO_MIN = 7.5
"""Ends of the classes, half way between what is called simple (1 to 2 minutes), medium (3 to 5) and
fine (10 to 20); common practice, no source (from memory), the ends a design choice."""


class Weeding(StrEnum):
    """How hard a piece is to weed."""

    SIMPLE = "simple"
    MEDIUM = "medium"
    FINE = "fine"


def weed_minutes(cut_length_mm: float, pieces: int, holes: int) -> float:
    """Minutes to weed one piece: the start, the cut line, and each bit picked out.

    Picked out are the holes, and what lies around every separate piece after the first.
    """
    picks = pieces - 1 + holes
    return WEED_START_MIN + WEED_MIN_PER_CM * cut_length_mm / 10 + WEED_MIN_PER_PICK * picks


def weeding_of(minutes: float) -> Weeding:
    """The class of a piece that takes so many minutes."""
    if minutes <= SIMPLE_TO_MIN:
        return Weeding.SIMPLE
    return Weeding.MEDIUM if minutes <= MEDIUM_TO_MIN else Weeding.FINE
