"""Cut outlines of artworks: what is asked, and the drawing made in the picture room."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from typing import Annotated

from pydantic import Field

from service.domain.cut_outline import (
    MOST_RINGS,
    STEP_MM,
    USUAL_TOLERANCE_MM,
    CutOutline,
    CutWish,
    NothingLeft,
    OutlineTooFine,
    picture_outline,
)
from service.domain.errors import BadInput, FieldFault
from service.intake.kept_pictures import KeptRow, kept_file
from service.intake.pictures import read_picture
from service.intake.requests import RequestModel
from service.intake.services import Services

LEAST_WIDTH_MM, MOST_WIDTH_MM = 1.0, 2_000.0
LEAST_OFFSET_MM, MOST_OFFSET_MM = -5.0, 20.0
LEAST_TOLERANCE_MM, MOST_TOLERANCE_MM = 0.01, 1.0

Write = Callable[[CutOutline], str]
"""Writes an outline as a drawing; it runs in the picture room, so it can be pickled."""


class OutlineQuery(RequestModel):
    """What is to be cut."""

    width_mm: Annotated[
        float,
        Field(ge=LEAST_WIDTH_MM, le=MOST_WIDTH_MM, description="Width of the artwork's inked box."),
    ]
    offset_mm: Annotated[
        float,
        Field(
            ge=LEAST_OFFSET_MM,
            le=MOST_OFFSET_MM,
            description="How far outside the figure to cut (bleed); below 0, how far inside.",
        ),
    ] = 0.0
    tolerance_mm: Annotated[
        float,
        Field(
            ge=LEAST_TOLERANCE_MM,
            le=MOST_TOLERANCE_MM,
            description="How far the lines may lie from the exact outline.",
        ),
    ] = USUAL_TOLERANCE_MM
    mirrored: Annotated[bool, Field(description="Swap left and right.")] = False

    @property
    def wish(self) -> CutWish:
        """The same for the domain; an offset is as fine as the drawing's own coordinates."""
        steps = round(self.offset_mm / STEP_MM)
        return CutWish(self.width_mm, steps * STEP_MM, self.tolerance_mm, self.mirrored)


def outline_mark(picture: KeptRow, query: OutlineQuery, edition: str) -> str:
    """A mark of all that the drawing depends on; ``edition`` is that of its making."""
    depends_on = (picture.sha256, query.model_dump_json(), edition)
    return sha256("\n".join(depends_on).encode()).hexdigest()[:32]


def outline_drawing(services: Services, picture: KeptRow, query: OutlineQuery, write: Write) -> str:
    """The drawing of a kept picture's cut outline.

    ``BadInput`` if the outline is too fine to cut, or nothing is left of it. It takes the time of
    decoding the picture and up to seconds more: called off the event loop.
    """
    shapes = picture.measures.shapes
    if shapes is not None and shapes.pieces + shapes.holes > MOST_RINGS:
        count = f"{shapes.pieces:,} pieces and {shapes.holes:,} holes"
        raise _too_fine(f"{count}, more than {MOST_RINGS:,} together")
    try:
        return services.picture_room.run(
            draw_outline,
            kept_file(services, picture).data,
            query.wish,
            write,
            services.max_pixels,
        )
    except OutlineTooFine as error:
        raise _too_fine(str(error)) from None
    except NothingLeft as error:
        inset = query.offset_mm < 0
        way_out = "an offset nearer to 0, or a greater width_mm" if inset else "a greater width_mm"
        detail = f"Of the artwork {error}. Give {way_out}."
        raise _refused("offset_mm" if inset else "width_mm", "nothing-left", detail) from None


def draw_outline(data: bytes, wish: CutWish, write: Write, max_pixels: int) -> str:
    """Decode a kept file and write its outline. Raises what reading and outlining raise.

    A kept file may have more bytes than an upload may: it is lossless.
    """
    picture = read_picture(
        data, declared_media_type=None, max_pixels=max_pixels, max_bytes=len(data)
    )
    return write(picture_outline(picture.rgba, wish))


def _too_fine(how: str) -> BadInput:
    detail = (
        f"The outline is too fine to cut: {how}. Photographs and grain have no outline to cut; "
        "put the artwork on a plain shape. A fine outline may pass with a greater tolerance_mm."
    )
    return _refused("artwork_id", "outline-too-fine", detail)


def _refused(parameter: str, code: str, detail: str) -> BadInput:
    fault = FieldFault(detail, parameter=parameter, code=code)
    return BadInput("fields-refused", detail, faults=[fault])
