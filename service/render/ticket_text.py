"""A ticket as plain text, for a terminal or a receipt printer."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import date

from service.domain.ticket import PressSettings, TicketDocument, TicketStep

WIDTH = 92


def ticket_text(number: str, promised_day: date, document: TicketDocument) -> str:
    """The ticket's head, steps with every setting, materials and cautions, 92 columns wide."""
    return "\n".join(_lines(number, promised_day, document))


def _lines(number: str, promised_day: date, document: TicketDocument) -> Iterator[str]:
    pieces = ", ".join(f"{count} x {size}" for size, count in document.pieces_by_size.items())
    yield f"TICKET {number}    leaves on {promised_day.isoformat()}"
    yield f"{document.garment}, {document.colour} ({document.fibre_content}): {pieces}"
    yield f"start {document.pieces_to_start} to be safe; pick from {document.pick_location or '-'}"
    for decoration in document.decorations:
        yield (
            f"{decoration.placement}: {decoration.width_mm:g} x {decoration.height_mm:g} mm, "
            f"{decoration.placed}; {decoration.method}"
        )
        for warning in decoration.warnings:
            yield from _wrapped(f"! {warning}", "  ")
    for material in document.materials:
        yield f"take {material.length_mm / 1_000:.2f} m of {material.name}"
    for step in document.steps:
        yield from _step(step)
    for caution in document.cautions:
        yield from _wrapped(f"! {caution}", "")


def _step(step: TicketStep) -> Iterator[str]:
    yield from _wrapped(f"{step.number:2}. {step.words}", "    ")
    if step.settings is not None:
        yield f"    {_settings(step.settings)}"
    if step.wait_min:
        yield f"    wait {step.wait_min} min"


def _settings(settings: PressSettings) -> str:
    parts = [
        f"{settings.set_c:g} °C ({settings.set_f:g} °F)",
        f"{settings.dwell_s:g} s",
        f"{settings.pressure} pressure",
    ]
    if settings.cover != "none":
        parts.append(f"cover: {settings.cover.replace('_', ' ')}")
    if settings.peel != "none":
        parts.append(f"peel {settings.peel}")
    return ", ".join(parts)


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent)
