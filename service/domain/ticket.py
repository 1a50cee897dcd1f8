"""The ticket: one line's work for the bench, written once when the order is accepted.

Steps are numbered in the order the hands move and carry every setting. Press settings, wordings
and cautions are common practice, no source: the data sheets of press, film, ink and cloth, local
codes and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from service.domain.compiled import CompiledCatalogue
from service.domain.media import Medium, Peel, Pressure
from service.domain.methods import Cover, Operation, OperationKind
from service.domain.recipe import StrikeSettings, fahrenheit
from service.domain.shop import Catalogue
from service.domain.values import Frozen
from service.domain.verdict import DecorationVerdict, MethodVerdict, pressing_order
from service.domain.wishes import Line
from service.domain.work import ONCE_PER_LINE

GENERAL_CAUTIONS = (
    "Platens reach 200 °C and burn at a touch: gloves, clear bench, nobody else's hands near.",
    "Pressing films and dye gives off fumes: run the exhaust and follow the ink's safety sheet.",
    "Follow your press's and film's data sheets; local codes and licensed practice come first.",
)


class PressSettings(Frozen):
    """What to set on the press; temperatures are of the display, 0.1 degrees."""

    set_c: float
    set_f: float
    dwell_s: float
    pressure: Pressure
    cover: Cover
    peel: Peel


class TicketStep(Frozen):
    """One step. ``settings`` is given for strikes, ``mirrored`` for printing and cutting."""

    number: int
    kind: str
    station: str
    machine: str | None = None
    medium: str | None = None
    mirrored: bool | None = None
    settings: PressSettings | None = None
    wait_min: int = 0
    words: str
    why: str
    caution: str = ""


class TicketDecoration(Frozen):
    """Where a decoration goes and how it is made; lengths in mm."""

    placement: str
    placed: str
    artwork_id: str
    width_mm: float
    height_mm: float
    method: str
    film_colours: Mapping[str, str]
    warnings: tuple[str, ...]


class TicketMaterial(Frozen):
    """Medium to take; ``length_mm`` of roll for all pieces to start."""

    medium: str
    name: str
    length_mm: float


class TicketDocument(Frozen):
    """Everything the bench needs for one line."""

    garment: str
    colour: str
    fibre_content: str
    supplied_by_customer: bool
    pick_location: str
    pieces_by_size: Mapping[str, int]
    pieces_to_start: int
    decorations: tuple[TicketDecoration, ...]
    materials: tuple[TicketMaterial, ...]
    steps: tuple[TicketStep, ...]
    cautions: tuple[str, ...]


def write_ticket(
    compiled: CompiledCatalogue,
    line: Line,
    verdicts: Sequence[DecorationVerdict],
    lengths_mm: Mapping[str, float],
    pieces_to_start: int,
) -> TicketDocument:
    """Write the ticket of a line whose every decoration has a chosen method.

    ``lengths_mm`` is the roll length of each medium by id, for all pieces to start.
    """
    catalogue = compiled.catalogue
    blank = catalogue.blank_by_id.get(line.garment.blank_id or "")
    return TicketDocument(
        garment=line.garment.name,
        colour=line.garment.colour_name,
        fibre_content=line.garment.whole.words(),
        supplied_by_customer=line.garment.supplied,
        pick_location=blank.pick_location if blank else "",
        pieces_by_size=dict(line.pieces_by_size),
        pieces_to_start=pieces_to_start,
        decorations=tuple(_decoration(catalogue, line, verdict) for verdict in verdicts),
        materials=tuple(
            TicketMaterial(medium=id_, name=catalogue.medium_by_id[id_].name, length_mm=length)
            for id_, length in lengths_mm.items()
        ),
        steps=tuple(_numbered(_steps(catalogue, line, _in_pressing_order(compiled, verdicts)))),
        cautions=(*GENERAL_CAUTIONS, *_cautions(catalogue, line, verdicts)),
    )


def _in_pressing_order(
    compiled: CompiledCatalogue, verdicts: Sequence[DecorationVerdict]
) -> list[DecorationVerdict]:
    chains = [compiled.chains[_chosen(verdict).method_id] for verdict in verdicts]
    return [verdicts[index] for index in pressing_order(chains)]


def _chosen(verdict: DecorationVerdict) -> MethodVerdict:
    if verdict.chosen is None:
        raise ValueError(f"no method was chosen at {verdict.decoration.placement_id}")
    return verdict.chosen


def _decoration(catalogue: Catalogue, line: Line, verdict: DecorationVerdict) -> TicketDecoration:
    chosen, decoration = _chosen(verdict), verdict.decoration
    placement = line.garment.placements[decoration.placement_id]
    return TicketDecoration(
        placement=placement.name,
        placed=f"{placement.drop_mm:g} mm below the {placement.from_edge}, centred",
        artwork_id=decoration.artwork_id,
        width_mm=round(decoration.width_mm, 1),
        height_mm=round(decoration.height_mm, 1),
        method=catalogue.method_by_id[chosen.method_id].name,
        film_colours={id_: colour.name for id_, colour in chosen.film_colours.items()},
        warnings=tuple(
            finding.reading.reason
            for finding in chosen.findings
            if finding.severity in ("warns", "notes")
        ),
    )


def _cautions(
    catalogue: Catalogue, line: Line, verdicts: Sequence[DecorationVerdict]
) -> Iterator[str]:
    media = {
        operation.medium
        for verdict in verdicts
        for operation in catalogue.method_by_id[_chosen(verdict).method_id].operations
        if operation.medium
    }
    if any(catalogue.medium_by_id[id_].pvc for id_ in media):
        yield "PVC film: never above its data sheet's temperature, and never without ventilation."
    if line.garment.wearer != "adult":
        yield (
            "Children's wear: rules on flammability, small parts and plasticisers apply; check "
            "the local code before it leaves."
        )


def _steps(
    catalogue: Catalogue, line: Line, verdicts: Sequence[DecorationVerdict]
) -> Iterator[TicketStep]:
    pieces = ", ".join(f"{count} x {size}" for size, count in line.pieces_by_size.items())
    garment = f"{line.garment.name}, {line.garment.colour_name}"
    yield TicketStep(
        number=0,
        kind="gather",
        station="bench",
        words=f"Gather {pieces} of {garment}. Lint-roll each.",
        why="A wrong size or a stray fibre is found now or after the print is on.",
    )
    last: list[TicketStep] = []
    for verdict in verdicts:
        chosen = _chosen(verdict)
        settings = {entry.strike.step: entry for entry in chosen.settings}
        method = catalogue.method_by_id[chosen.method_id]
        where = line.garment.placements[verdict.decoration.placement_id].name.lower()
        for index, operation in enumerate(method.operations):
            step = _step(catalogue, operation, settings.get(index), where)
            if operation.kind in ONCE_PER_LINE:
                last = [step]
            else:
                yield step
    yield from last


def _numbered(steps: Iterator[TicketStep]) -> Iterator[TicketStep]:
    for number, step in enumerate(steps, start=1):
        yield step.model_copy(update={"number": number})


def _step(
    catalogue: Catalogue, operation: Operation, settings: StrikeSettings | None, where: str
) -> TicketStep:
    medium = catalogue.medium_by_id[operation.medium] if operation.medium else None
    words, why, caution = _wording(operation, medium, where)
    return TicketStep(
        number=0,
        kind=operation.kind,
        station=operation.station,
        machine=operation.machine,
        medium=medium.name if medium else None,
        mirrored=operation.mirrored,
        settings=_press_settings(settings, operation.cover) if settings else None,
        wait_min=operation.wait_min,
        words=f"{words} {operation.note}".rstrip(),
        why=why,
        caution=caution,
    )


def _press_settings(settings: StrikeSettings, cover: Cover) -> PressSettings:
    if settings.set_c is None:
        raise ValueError("a strike without room for a setting cannot be put on a ticket")
    return PressSettings(
        set_c=round(settings.set_c, 1),
        set_f=round(fahrenheit(settings.set_c), 1),
        dwell_s=settings.dwell_s,
        pressure=settings.pressure,
        cover=cover,
        peel=settings.peel,
    )


_BURNS = "Hot platen: burns at a touch."


def _wording(operation: Operation, medium: Medium | None, where: str) -> tuple[str, str, str]:
    """Words, why it matters, and the caution of one operation."""
    name = medium.name if medium else ""
    side = "MIRRORED" if operation.mirrored else "NOT MIRRORED"
    face_down = medium is not None and not medium.stays_on_cloth
    table = {
        OperationKind.PRINT: (
            f"Print on {name}, {side}.",
            "The wrong way round reads backwards on the garment.",
            "",
        ),
        OperationKind.DRY: ("Let the print dry.", "Wet ink smears and blisters in the press.", ""),
        OperationKind.CUT: (
            f"Cut {name}, {side}.",
            "The wrong way round reads backwards on the garment.",
            "Keep fingers off the blade and its path.",
        ),
        OperationKind.WEED: (
            f"Weed {name}: lift away all that is not artwork.",
            "What stays on is pressed on.",
            "Sharp tools.",
        ),
        OperationKind.PRE_PRESS: (
            f"Pre-press the {where}: flatten and dry the cloth.",
            "Damp or creased cloth blisters, ghosts and lifts.",
            _BURNS,
        ),
        OperationKind.TACK: (
            f"Place {name} at the {where} and tack, only until it holds.",
            "A film fixed in full now is heated too long by the time the last strike is done.",
            _BURNS,
        ),
        OperationKind.PRESS: (
            f"Place {name} face down at the {where}, tape it, do not move it, and press."
            if face_down
            else f"Place {name} at the {where} and press.",
            "Paper that shifts while dye is gas leaves a ghost that cannot be repaired."
            if face_down
            else "Too cool and it lifts in the wash; too hot and cloth or film is spoiled.",
            f"{_BURNS} Exhaust on.",
        ),
        OperationKind.PEEL: (
            f"Peel {name}.",
            "Peeled too early the edges lift; too late the carrier tears.",
            _BURNS,
        ),
        OperationKind.CHECK: (
            f"Check the {where}: edges, colour, position.",
            "What leaves here is what the customer holds.",
            "",
        ),
        OperationKind.PACK: (
            "Cool, fold, add the care card and pack. No wash for 24 hours.",
            "Warm adhesive marks the next fold.",
            "",
        ),
    }
    return table[operation.kind]
