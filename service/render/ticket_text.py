"""A ticket as plain text, for a terminal or a receipt printer."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from datetime import date

from service.domain.setting_rows import setting_rows
from service.domain.ticket import TicketDecoration, TicketDocument
from service.domain.ticket_steps import TicketStep
from service.domain.ticket_words import gathered_from

WIDTH = 92


def ticket_text(number: str, promised_day: date, document: TicketDocument) -> str:
    """Head, decorations, materials, steps with settings, care and cautions, 92 columns wide."""
    return "\n".join(_lines(number, promised_day, document))


def _lines(number: str, promised_day: date, document: TicketDocument) -> Iterator[str]:
    yield f"TICKET {number}    leaves on {promised_day.isoformat()}"
    yield from _wrapped(
        f"{document.garment}, {document.colour} ({document.fibre_content}): "
        f"{_counts(document.pieces_by_size)}"
    )
    yield from _wrapped(
        f"start {document.pieces_to_start} to be safe; pick {_counts(document.starts_by_size)} "
        f"from {gathered_from(document.pick_location, supplied=document.supplied_by_customer)}"
    )
    for decoration in document.decorations:
        yield from _decoration(decoration)
    for material in document.materials:
        yield from _wrapped(f"take {material.words()}")
    for step in document.steps:
        yield from _step(step, document.pieces_to_start)
    if document.care is not None:
        yield from _wrapped(f"care: {document.care.words()}", "    ")
    for caution in document.cautions:
        yield from _wrapped(f"! {caution}")


def _counts(pieces: Mapping[str, int]) -> str:
    return ", ".join(f"{count} x {size}" for size, count in pieces.items())


def _decoration(decoration: TicketDecoration) -> Iterator[str]:
    yield from _wrapped(
        f"{decoration.placement}: {decoration.width_mm:g} x {decoration.height_mm:g} mm, "
        f"{decoration.placed}; {decoration.method}",
        "  ",
    )
    for warning in decoration.warnings:
        yield from _wrapped(f"! {warning}", "  ")


def _step(step: TicketStep, pieces: int) -> Iterator[str]:
    yield from _wrapped(f"{step.number:2}. {step.words}", "    ")
    rows = ", ".join(f"{label} {value}" for label, value in setting_rows(step, pieces))
    if rows:
        yield from _wrapped(f"    {rows}", "    ")
    if step.caution:
        yield from _wrapped(f"    ! {step.caution}", "    ")


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)
