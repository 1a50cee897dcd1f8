"""The settings of a step as rows of label and value, the same on every sheet and screen."""

from __future__ import annotations

from collections.abc import Iterator

from service.domain.media import Peel
from service.domain.methods import Cover
from service.domain.ticket_steps import StepKind, TicketStep
from service.domain.ticket_words import COVER_WORDS

_MADE_FOR_EACH = frozenset({StepKind.PRINT, StepKind.CUT})
"""What is done once for every piece to start, in one go."""


def setting_rows(step: TicketStep, pieces: int) -> tuple[tuple[str, str], ...]:
    """What is set for a step as label and value, in the order a hand sets it; empty for none.

    ``pieces`` is how many are printed and cut, spares among them.
    """
    return tuple(_setting_rows(step, pieces))


def _setting_rows(step: TicketStep, pieces: int) -> Iterator[tuple[str, str]]:
    if step.machine_name and step.kind is not StepKind.PLACE:
        yield "machine", step.machine_name
    if step.mirrored is not None:
        yield "side", f"{step.mirror_words} {step.mirror_sign}"
    if step.kind in _MADE_FOR_EACH:
        yield "how many", f"{pieces}"
    yield from _print_rows(step)
    yield from _cut_rows(step)
    yield from _press_rows(step)
    if step.peel is not None and step.kind is StepKind.PEEL and step.peel is not Peel.NONE:
        yield "peel", step.peel.upper()
    if step.wait_min:
        yield "wait", f"{step.wait_min} min at least"


def _print_rows(step: TicketStep) -> Iterator[tuple[str, str]]:
    if step.printing is None:
        return
    yield "size", f"{step.printing.width_mm:g} x {step.printing.height_mm:g} mm"
    yield "colour profile", step.printing.colour_profile
    if step.printing.test_stripe:
        yield "test stripe", step.printing.test_stripe


def _cut_rows(step: TicketStep) -> Iterator[tuple[str, str]]:
    cutting = step.cutting
    if cutting is None:
        return
    if cutting.width_mm is not None and cutting.height_mm is not None:
        yield "artwork size", f"{cutting.width_mm:g} x {cutting.height_mm:g} mm"
    yield "film side", "down" if cutting.face_down else "up"
    if cutting.blade_angle_deg is None:
        yield "blade and force", "as the data sheet says"
    else:
        yield "blade", f"{cutting.blade_angle_deg:g}°, offset {cutting.blade_offset_mm:g} mm"
        yield "force", f"{cutting.force_gf} g"
        yield "passes", f"{cutting.passes}"
    if cutting.registration_marks:
        yield "registration marks", "read before the cut"


def _press_rows(step: TicketStep) -> Iterator[tuple[str, str]]:
    settings = step.settings
    if settings is None:
        return
    yield "temperature", f"{settings.set_c:g} °C ({settings.set_f:g} °F)"
    yield "time", f"{settings.dwell_s:g} s"
    yield "pressure", f"{settings.pressure}"
    if settings.cover is not Cover.NONE:
        yield "cover", COVER_WORDS[settings.cover]
    if settings.peel is not Peel.NONE:
        yield "then peel", f"{settings.peel}"
    if step.strike is not None:
        yield "strike", f"{step.strike} of {step.strikes}"
