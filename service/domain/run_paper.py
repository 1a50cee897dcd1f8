"""A run as it is drawn: its document with the outlines or the pictures of its artworks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from service.domain.run_document import RunDocument, RunPrint
from service.domain.run_states import RunState
from service.domain.ticket_steps import MIRROR_WORDS

Shape = tuple[str, int]
"""An artwork's id and the width of its print in micrometres."""


def shape_of(one: RunPrint) -> Shape:
    """What is drawn for a print; prints of one shape are drawn alike."""
    return one.artwork_id, one.width_um


def shapes_of(prints: Iterable[RunPrint]) -> tuple[Shape, ...]:
    """Every different shape once."""
    return tuple(dict.fromkeys(map(shape_of, prints)))


@dataclass(frozen=True, slots=True)
class PrintPicture:
    """The pixels of an ink box as they are printed, turned over where the medium asks for it.

    ``rows`` are of 8-bit sRGB, with straight alpha unless all is ``opaque``; compressed by zlib
    (RFC 1950).
    """

    width_px: int
    height_px: int
    rows: bytes
    opaque: bool


@dataclass(frozen=True, slots=True)
class RunPaper:
    """A run with what is drawn in it.

    ``outlines`` are SVG paths in mm from the upper left corner of the print, turned over as they
    are cut. ``without`` says why a shape has none.
    """

    number: str
    state: RunState
    document: RunDocument
    outlines: Mapping[Shape, str] = field(default_factory=dict)
    without: Mapping[Shape, str] = field(default_factory=dict)
    pictures: Mapping[Shape, PrintPicture] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """``Run R000001, polyurethane cut film, Black, MIRRORED``; and that it is not accepted."""
        known = self.document
        what = (known.medium_name, known.colour, MIRROR_WORDS[known.mirrored])
        told = "" if self.state is RunState.ACCEPTED else self.state.upper()
        return ", ".join(part for part in (f"Run {self.number}", *what, told) if part)
