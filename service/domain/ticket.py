"""The ticket: one line's work for the bench, written once when it is quoted and never changed.

It holds all that one sheet and one screen need but what belongs to the order: number and promised
day stand beside it. Steps are numbered in the order the hands move and carry every setting.
Settings, wordings and cautions are common practice, no source: the data sheets of press, film, ink
and cloth, local codes and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import Field, model_validator

from service.domain.blanks import Blank, Style
from service.domain.care_card import CareCard, care_card
from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue
from service.domain.facts import pressing_order
from service.domain.memo import Same
from service.domain.pieces import blanks_to_take
from service.domain.placement_drawing import PlacementDrawing, draw_placement
from service.domain.rules import Severity
from service.domain.shop import Catalogue
from service.domain.step_order import PlannedDecoration, steps_in_order
from service.domain.stock_items import MaterialUse
from service.domain.stock_needs import uses_of
from service.domain.ticket_steps import TicketStep
from service.domain.ticket_words import StepWords, gather_words, gathered_from, in_colour
from service.domain.values import Frozen
from service.domain.verdict import DecorationVerdict, MethodVerdict
from service.domain.wishes import Consent, Line
from service.domain.work import LineWork, MediumUse

GENERAL_CAUTIONS = (
    "Platens reach 200 °C and burn at a touch: gloves, clear bench, nobody else's hands near.",
    "Pressing films and dye gives off fumes: run the exhaust and follow the ink's safety sheet.",
    "Follow your press's and film's data sheets; local codes and licensed practice come first.",
)


class ProofWish(Frozen):
    """What to ask for to see the decoration's proof, in the terms of a proof request.

    ``film_colour`` is the one the customer asked for, None where the shop's own choice stands;
    ``size`` is the one with the most pieces. ``width_mm`` is not rounded.
    """

    artwork_id: str
    blank: str
    colour: str
    placement: str
    width_mm: float
    method: str
    film_colour: str | None
    size: str
    consent: tuple[Consent, ...] = ()


class TicketDecoration(Frozen):
    """Where a decoration goes and how it is made; lengths in mm.

    ``placed`` says the distances in words, ``drawing`` as numbers. ``pressed`` is its place in the
    order of pressing, from 1. ``film_colours`` are names by medium id. ``proof`` is None for a
    garment the customer brings. What has a default is missing on tickets written before it was.
    """

    placement: str
    placement_id: str = ""
    placed: str
    pressed: int = 1
    drawing: PlacementDrawing | None = None
    artwork_id: str
    width_mm: float
    height_mm: float
    method: str
    method_id: str = ""
    film_colours: Mapping[str, str]
    proof: ProofWish | None = None
    warnings: tuple[str, ...]


class TicketMaterial(Frozen):
    """Medium to take, in one colour; ``length_mm`` of roll for all pieces to start.

    ``sheets`` is None on a roll, ``colour`` empty for paper. On which run its pieces lie changes
    and is no part of the document.
    """

    medium: str
    name: str
    colour: str = ""
    length_mm: float
    sheets: int | None = None
    pieces: int | None = None
    width_mm: float | None = None

    @model_validator(mode="before")
    @classmethod
    def _without_places(cls, written: Any) -> Any:  # noqa: ANN401 - whatever was written
        # Older documents have a roll and a run, never filled.
        if isinstance(written, dict):
            return {key: value for key, value in written.items() if key not in ("roll", "run")}
        return written

    def words(self) -> str:
        """How much of what: ``1.19 m of white glitter film``."""
        what = in_colour(self.name, self.colour)
        if self.sheets is not None:
            return f"{self.sheets} {'sheet' if self.sheets == 1 else 'sheets'} of {what}"
        return f"{self.length_mm / 1_000:.2f} m of {what}"


class TicketDocument(Frozen):
    """Everything the bench needs for one line.

    ``pieces_by_size`` are the good pieces wanted, ``starts_by_size`` the blanks to take, spares
    among them; for ``pieces_to_start`` pieces films and prints are made, and by decoration these
    take ``uses``. Of a garment the customer brings there are no spares. ``style`` is None there.
    """

    garment: str
    blank_id: str | None = None
    colour: str
    colour_id: str | None = None
    style: Style | None = None
    fibre_content: str
    supplied_by_customer: bool
    pick_location: str
    pieces_by_size: Mapping[str, int]
    starts_by_size: Mapping[str, int] = Field(default_factory=dict)
    pieces_to_start: int
    decorations: tuple[TicketDecoration, ...]
    materials: tuple[TicketMaterial, ...]
    uses: tuple[MaterialUse, ...] = ()
    steps: tuple[TicketStep, ...]
    care: CareCard | None = None
    cautions: tuple[str, ...]

    @property
    def spares(self) -> int:
        """Blanks to take beyond the pieces wanted."""
        return sum(self.starts_by_size.values()) - sum(self.pieces_by_size.values())

    @model_validator(mode="before")
    @classmethod
    def _of_earlier_tickets(cls, given: Any) -> Any:  # noqa: ANN401 (anything may be given)
        """Share out the spares of a ticket written before they were told by size."""
        if not isinstance(given, dict) or given.get("starts_by_size"):
            return given
        wanted = given.get("pieces_by_size")
        to_start = given.get("pieces_to_start")
        if not isinstance(wanted, Mapping) or not isinstance(to_start, int):
            return given
        starts = _starts(wanted, to_start, supplied=bool(given.get("supplied_by_customer")))
        return {**given, "starts_by_size": starts}


def _starts(wanted: Mapping[str, int], to_start: int, *, supplied: bool) -> dict[str, int]:
    return dict(wanted) if supplied else blanks_to_take(wanted, to_start)


def write_ticket(
    compiled: CompiledCatalogue,
    line: Line,
    verdicts: Sequence[DecorationVerdict],
    work: LineWork,
) -> TicketDocument:
    """Write the ticket of a line whose every decoration has a chosen method.

    ``work`` is the account of the same line. ValueError when a decoration has no chosen method.
    """
    catalogue, garment = compiled.catalogue, line.garment
    blank = catalogue.blank_by_id.get(garment.blank_id or "")
    planned = [_planned(compiled, line, verdict, index) for index, verdict in enumerate(verdicts)]
    order = pressing_order([one.chain for one in planned])
    materials = tuple(_materials(catalogue, work, planned))
    starts = _starts(line.pieces_by_size, work.starts, supplied=garment.supplied)
    gathering = _gathering(line, blank.pick_location if blank else "", starts, materials)
    return TicketDocument(
        garment=_garment_name(line),
        blank_id=garment.blank_id,
        colour=garment.colour_name,
        colour_id=garment.colour_id,
        style=blank.style if blank else None,
        fibre_content=garment.whole.words(),
        supplied_by_customer=garment.supplied,
        pick_location=blank.pick_location if blank else "",
        pieces_by_size=dict(line.pieces_by_size),
        starts_by_size=starts,
        pieces_to_start=work.starts,
        decorations=tuple(
            _decoration(catalogue, line, verdict, one, order.index(one.index) + 1)
            for verdict, one in zip(verdicts, planned, strict=True)
        ),
        materials=materials,
        uses=uses_of(work, [_colour_names(one) for one in planned]),
        steps=steps_in_order(compiled, [planned[index] for index in order], gathering),
        care=_care(compiled, blank, [one.chain for one in planned]),
        cautions=(*GENERAL_CAUTIONS, *_cautions(line, planned)),
    )


def _care(
    compiled: CompiledCatalogue, blank: Blank | None, chains: Sequence[Chain]
) -> CareCard | None:
    """The care card, which hangs on the garment and the methods alone, remembered."""
    return compiled.memo.get(
        ("care card", blank.id if blank else None, *map(Same, chains)),
        lambda: care_card(blank.care if blank else None, chains),
    )


def _planned(
    compiled: CompiledCatalogue, line: Line, verdict: DecorationVerdict, index: int
) -> PlannedDecoration:
    chosen, wished, garment = _chosen(verdict), verdict.decoration, line.garment
    return PlannedDecoration(
        index=index,
        chain=compiled.chains[chosen.method_id],
        settings=chosen.settings,
        film_colours=chosen.film_colours,
        drawing=draw_placement(
            garment,
            compiled.catalogue.blank_by_id.get(garment.blank_id or ""),
            garment.placements[wished.placement_id],
            tuple(line.pieces_by_size),
            (wished.width_mm, wished.height_mm),
        ),
        proof=not garment.supplied,
    )


def _colour_names(planned: PlannedDecoration) -> dict[str, str]:
    return {id_: colour.name for id_, colour in planned.film_colours.items()}


def _chosen(verdict: DecorationVerdict) -> MethodVerdict:
    if verdict.chosen is None:
        raise ValueError(f"no method was chosen at {verdict.decoration.placement_id}")
    return verdict.chosen


def _garment_name(line: Line) -> str:
    """The garment as the shop's own people call it; a customer calls what they bring their own."""
    return "customer's own garment" if line.garment.supplied else line.garment.name


def _gathering(
    line: Line, pick_location: str, starts: Mapping[str, int], materials: Sequence[TicketMaterial]
) -> StepWords:
    garment = line.garment
    return gather_words(
        f"{_garment_name(line)}, {garment.colour_name}",
        gathered_from(pick_location, supplied=garment.supplied),
        starts,
        sum(starts.values()) - line.pieces,
        tuple(material.words() for material in materials),
    )


def _decoration(
    catalogue: Catalogue,
    line: Line,
    verdict: DecorationVerdict,
    planned: PlannedDecoration,
    pressed: int,
) -> TicketDecoration:
    chosen, drawing = _chosen(verdict), planned.drawing
    return TicketDecoration(
        placement=drawing.name,
        placement_id=drawing.placement_id,
        placed=drawing.words(),
        pressed=pressed,
        drawing=drawing,
        artwork_id=verdict.decoration.artwork_id,
        width_mm=drawing.width_mm,
        height_mm=drawing.height_mm,
        method=catalogue.method_by_id[chosen.method_id].name,
        method_id=chosen.method_id,
        film_colours=_colour_names(planned),
        proof=_proof_wish(line, verdict, chosen),
        warnings=tuple(finding.reading.reason for finding in chosen.at_least(Severity.NOTES)),
    )


def _proof_wish(line: Line, verdict: DecorationVerdict, chosen: MethodVerdict) -> ProofWish | None:
    wished, garment = verdict.decoration, line.garment
    if garment.blank_id is None or garment.colour_id is None:
        return None
    return ProofWish(
        artwork_id=wished.artwork_id,
        blank=garment.blank_id,
        colour=garment.colour_id,
        placement=wished.placement_id,
        width_mm=wished.width_mm,
        method=chosen.method_id,
        film_colour=wished.film_colour_id,
        size=max(line.pieces_by_size, key=lambda size: line.pieces_by_size[size]),
        consent=tuple(sorted(wished.consents)),
    )


def _materials(
    catalogue: Catalogue, work: LineWork, planned: Sequence[PlannedDecoration]
) -> Iterator[TicketMaterial]:
    """One row for each medium and colour, in the order of the decorations."""
    uses: dict[tuple[str, str], list[MediumUse]] = {}
    for use in work.media:
        colour = planned[use.decoration].film_colours.get(use.medium)
        uses.setdefault((use.medium, colour.name if colour else ""), []).append(use)
    for (id_, colour_name), together in uses.items():
        medium = catalogue.medium_by_id[id_]
        sheets = [use.layout.sheets for use in together if use.layout.sheets is not None]
        yield TicketMaterial(
            medium=id_,
            name=medium.name,
            colour=colour_name,
            length_mm=float(sum(use.layout.length_mm for use in together)),
            sheets=sum(sheets) if sheets else None,
            pieces=sum(use.pieces for use in together),
            width_mm=medium.width_mm,
        )


def _cautions(line: Line, planned: Sequence[PlannedDecoration]) -> Iterator[str]:
    if any(film.pvc for one in planned for film in one.chain.layers):
        yield "PVC film: never above its data sheet's temperature, and never without ventilation."
    if line.garment.wearer != "adult":
        yield (
            "Children's wear: rules on flammability, small parts and plasticisers apply; check "
            "the local code before it leaves."
        )
