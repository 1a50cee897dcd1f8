"""What stands on a ticket's sheet, in words and rows: page and PDF show the same."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from service.domain.pieces import SPOIL_WORDS
from service.domain.placement_drawing import both_units
from service.domain.setting_rows import setting_rows
from service.domain.ticket import GENERAL_CAUTIONS, TicketDecoration, TicketDocument, TicketMaterial
from service.domain.ticket_paper import PaperNote, PaperPicture, TicketPaper
from service.domain.ticket_steps import MIRROR_WORDS, TicketStep
from service.domain.ticket_words import gathered_from, kind_words
from service.render.placement_svg import PlacementScene, placement_scene

MOST_BOXES = 40
"""Pieces of a size that get a box each; beyond it they are tallied on a line."""

SPOIL_ROWS = 4
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


@dataclass(frozen=True, slots=True)
class SizeRow:
    """A size: good pieces wanted, blanks to take, and boxes to tick; none when too many."""

    size: str
    wanted: int
    take: int
    boxes: int


@dataclass(frozen=True, slots=True)
class DecorationView:
    """A decoration: what and where in rows, its picture and its drawing."""

    title: str
    rows: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    picture: PaperPicture
    scene: PlacementScene | None


@dataclass(frozen=True, slots=True)
class StepView:
    """A step; ``mirror`` and ``sign`` are empty for what is neither printed nor cut."""

    number: int
    title: str
    where: str
    words: str
    rows: tuple[tuple[str, str], ...]
    mirror: str
    sign: str
    mirrored: bool
    why: str
    caution: str


@dataclass(frozen=True, slots=True)
class TicketView:
    """The whole sheet."""

    number: str
    day: str
    day_words: str
    state: str
    order: str
    bench_url: str
    blank: tuple[tuple[str, str], ...]
    sizes: tuple[SizeRow, ...]
    decorations: tuple[DecorationView, ...]
    materials: tuple[tuple[str, str, str], ...]
    steps: tuple[StepView, ...]
    spoil_reasons: tuple[str, ...]
    care: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[tuple[str, str], ...]


def day_in_words(day: date) -> str:
    """Such as ``Monday 9 March 2026``."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def view_of_ticket(paper: TicketPaper) -> TicketView:
    """The sheet of a ticket. Computes only."""
    document = paper.document
    care = document.care
    return TicketView(
        number=paper.number,
        day=paper.promised_day.isoformat(),
        day_words=day_in_words(paper.promised_day),
        state=paper.state.replace("_", " "),
        order=f"order {paper.reference or paper.order_id}, line {paper.line}",
        bench_url=paper.bench_url,
        blank=tuple(_blank(paper)),
        sizes=tuple(_sizes(paper)),
        decorations=tuple(
            _decoration(paper, one, index) for index, one in enumerate(document.decorations)
        ),
        materials=tuple(_material(paper, one) for one in document.materials),
        steps=tuple(_step(step, document.pieces_to_start) for step in document.steps),
        spoil_reasons=tuple(SPOIL_WORDS.values()),
        care=tuple(line.english for line in care.lines) if care else (),
        cautions=tuple(dict.fromkeys((*GENERAL_CAUTIONS, *document.cautions))),
        notes=tuple(
            (f"{_moment(note.at)}, {note.who}{_beside(note)}", note.words) for note in paper.notes
        ),
    )


def _blank(paper: TicketPaper) -> Iterator[tuple[str, str]]:
    document = paper.document
    yield "garment", document.garment
    yield "colour", document.colour
    yield "cloth", document.fibre_content
    supplied = document.supplied_by_customer
    yield "pick from", gathered_from(document.pick_location, supplied=supplied)
    spares = f", {document.spares} of them spare" if document.spares else ""
    yield "blanks", f"{sum(document.starts_by_size.values())}{spares}"
    yield "films, prints", f"for {document.pieces_to_start} pieces"


def _sizes(paper: TicketPaper) -> Iterator[SizeRow]:
    starts = paper.document.starts_by_size
    for size, wanted in paper.document.pieces_by_size.items():
        yield SizeRow(size, wanted, starts.get(size, wanted), wanted if wanted <= MOST_BOXES else 0)


def _decoration(paper: TicketPaper, one: TicketDecoration, index: int) -> DecorationView:
    title = f"{one.placement}: {one.method}"
    return DecorationView(
        title=title,
        rows=tuple(_decoration_rows(paper, one)),
        warnings=one.warnings,
        picture=paper.picture(index),
        scene=scene_of(paper.document, one),
    )


def _decoration_rows(paper: TicketPaper, one: TicketDecoration) -> Iterator[tuple[str, str]]:
    yield "place", one.placed
    yield "print", f"{both_units(one.width_mm)} wide, {both_units(one.height_mm)} high"
    if one.film_colours:
        yield "film", ", ".join(dict.fromkeys(one.film_colours.values()))
    if len(paper.document.decorations) > 1:
        yield "pressed", f"{one.pressed} of {len(paper.document.decorations)}"
    yield "artwork", one.artwork_id


def scene_of(document: TicketDocument, one: TicketDecoration) -> PlacementScene | None:
    """Drawn in the size of the most pieces; None on tickets from before there were drawings."""
    pieces = document.pieces_by_size
    if one.drawing is None:
        return None
    known = [drawn.size for drawn in one.drawing.sizes]
    size = max(known, key=lambda name: pieces.get(name, 0))
    return placement_scene(one.drawing, document.style, size)


def _material(paper: TicketPaper, one: TicketMaterial) -> tuple[str, str, str]:
    """What to take, of which roll, and the runs on which it lies, cut for all their tickets."""
    roll = "-" if one.width_mm is None else f"{both_units(one.width_mm)} wide"
    runs = "; ".join(run.words() for run in paper.runs if run.medium == one.medium)
    return one.words(), roll, runs or "on no run: cut for this ticket alone"


def _moment(at: datetime) -> str:
    """Such as ``2026-03-09 14:05 CET``."""
    return f"{at:%Y-%m-%d %H:%M} {at.tzname()}"


def _beside(note: PaperNote) -> str:
    return f", {note.move.replace('_', ' ')}" if note.move else ""


def _step(step: TicketStep, pieces: int) -> StepView:
    title = kind_words(step.kind)
    what = f", {step.placement.lower()}" if step.placement else ""
    return StepView(
        number=step.number,
        title=f"{title}{what}",
        where=step.station_name or step.station,
        words=step.words,
        rows=tuple(setting_rows(step, pieces)),
        mirror=step.mirror_words,
        sign=step.mirror_sign,
        mirrored=step.mirror_words == MIRROR_WORDS[True],
        why=step.why,
        caution=step.caution,
    )
