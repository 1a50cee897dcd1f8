"""Words that the table of methods and blanks needs, on a terminal or on a page."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from service.domain.matrix import WIDEST_MM, Cell, Mark, Matrix

MARK_WORDS: Mapping[Mark, str] = MappingProxyType(
    {Mark.WORKS: "works", Mark.WARNS: "works, with a warning", Mark.REFUSED: "refused"}
)

CAUTION = (
    "Each mark is a caution for that artwork alone, no statement on what any law asks. The data "
    "sheets of press, film, ink, paper and cloth come first, and so do local codes; try every "
    "medium on the cloth it is for."
)


def heading(matrix: Matrix) -> str:
    """Whose table it is, and of which catalogue version."""
    invented = " (invented)" if matrix.invented else ""
    return f"{matrix.shop}{invented}: what works on what"


def judged_with(matrix: Matrix) -> str:
    """How the marks were come by."""
    return (
        f"Catalogue {matrix.version[:12]}, judged with {matrix.sample.words}, on each blank's "
        f"first placement without seam, zip, pocket or buttons, up to {WIDEST_MM:g} mm wide as far "
        "as it fits every size, one piece of each size, no consent given."
    )


def mark_text(cell: Cell) -> str:
    """The mark; two, best and worst, where the colours of the group differ."""
    return cell.worst if cell.best is cell.worst else f"{cell.best}/{cell.worst}"


def reason_text(cell: Cell) -> str:
    """The first reason, led by the colour where the colours of the group differ."""
    return cell.reason if cell.best is cell.worst else f"{cell.colour}: {cell.reason}"
