"""What a run's layout and print file are made from: its row, and its artworks' files."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np
from PIL import Image
from sqlmodel import Session

from service.domain.artwork import InkBox
from service.domain.cut_outline import CutOutline
from service.domain.errors import BadInput, NotFound, Unavailable
from service.domain.run_document import RunDocument
from service.domain.run_paper import PrintPicture, RunPaper, Shape, shapes_of
from service.domain.run_states import RunState
from service.intake.kept_pictures import kept_file, kept_row
from service.intake.outlines import OutlineQuery, outline_drawing
from service.intake.papers import IN_SHOP
from service.intake.pictures import read_picture
from service.intake.run_rows import find_run, run_document
from service.intake.services import Services

FINEST_PPI = 300
"""Pictures that are finer at their print width are made as fine as this: more is not seen on cloth
(common practice, no source), and a run of large pictures would never end."""

_UM_PER_MM = 1_000
_UM_PER_INCH = 25_400
_LASTING = frozenset({"picture-takes-too-long", "picture-needs-too-much"})


@dataclass(frozen=True, slots=True)
class FoundRun:
    """A run to be drawn, and a mark of all that its drawings depend on."""

    paper: RunPaper
    mark: str


def run_paper(services: Services, run_id: str) -> FoundRun:
    """The run without outlines and pictures yet; else ``NotFound``. Waits for the store."""

    def look(session: Session) -> FoundRun:
        run = find_run(session, run_id)
        depends_on = (run.number, run.state, run.document_json)
        mark = sha256("\n".join(depends_on).encode()).hexdigest()[:32]
        return FoundRun(RunPaper(run.number, RunState(run.state), run_document(run)), mark)

    return services.database.read(look)


def refuse_unprinted(paper: RunPaper) -> None:
    """Raise ``NotFound`` for a run of which nothing is printed."""
    if paper.document.print_mirrored is None:
        name = paper.document.medium_name
        detail = f"Nothing is printed on {name}, it is only cut: run {paper.number} has a layout, "
        raise NotFound("run-not-printed", f"{detail}but no print file.")


def with_outlines(
    services: Services, paper: RunPaper, write: Callable[[CutOutline], str]
) -> RunPaper:
    """The paper with the outline of each shape, or why it has none.

    Waits for store, files and picture room. ``Unavailable`` while these are busy or away, not for
    a picture that would fail again.
    """
    outlines: dict[Shape, str] = {}
    without: dict[Shape, str] = {}
    for shape in shapes_of(paper.document.prints):
        try:
            outlines[shape] = _outline(services, paper.document, shape, write)
        except (BadInput, NotFound) as refused:
            without[shape] = refused.faults[0].detail if refused.faults else refused.detail
        except Unavailable as away:
            if away.code not in _LASTING:
                raise
            without[shape] = away.detail
    return replace(paper, outlines=outlines, without=without)


def _outline(
    services: Services, document: RunDocument, shape: Shape, write: Callable[[CutOutline], str]
) -> str:
    artwork_id, width_um = shape
    query = OutlineQuery(width_mm=width_um / _UM_PER_MM, mirrored=document.mirrored)
    return outline_drawing(services, kept_row(services, IN_SHOP, artwork_id), query, write)


def with_pictures(services: Services, paper: RunPaper) -> RunPaper:
    """The paper with the pixels of each shape, as they are printed.

    Waits for store, files and picture room; raises what these raise, for a print file that lacks a
    picture is worse than none.
    """
    mirrored = bool(paper.document.print_mirrored)
    pictures = {
        shape: _picture(services, shape, mirrored=mirrored)
        for shape in shapes_of(paper.document.prints)
    }
    return replace(paper, pictures=pictures)


def _picture(services: Services, shape: Shape, *, mirrored: bool) -> PrintPicture:
    artwork_id, width_um = shape
    kept = kept_file(services, kept_row(services, IN_SHOP, artwork_id))
    most_px = max(1, round(width_um * FINEST_PPI / _UM_PER_INCH))
    return services.picture_room.run(
        read_for_print, kept.data, kept.measures.ink_box, most_px, mirrored, services.max_pixels
    )


def read_for_print(
    data: bytes,
    box: InkBox,
    most_px: int,
    mirrored: bool,  # noqa: FBT001 - the picture room hands arguments on by place
    max_pixels: int,
) -> PrintPicture:
    """Decode a kept file and make its ink box ready, at most ``most_px`` wide.

    Raises what ``read_picture`` raises. A kept file may have more bytes than an upload may.
    """
    picture = read_picture(
        data, declared_media_type=None, max_pixels=max_pixels, max_bytes=len(data)
    )
    inked = picture.rgba[box.top : box.top + box.height, box.left : box.left + box.width]
    image = Image.fromarray(np.ascontiguousarray(inked))
    if image.width > most_px:
        height_px = max(1, round(image.height * most_px / image.width))
        image = image.resize((most_px, height_px), Image.Resampling.LANCZOS)
    if mirrored:
        image = image.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    pixels = np.asarray(image)
    opaque = bool((pixels[..., 3] == 255).all())
    rows = np.ascontiguousarray(pixels[..., :3] if opaque else pixels)
    return PrintPicture(image.width, image.height, zlib.compress(rows.tobytes(), 1), opaque)
