"""The steps of a ticket in the order the hands move, out of its methods' operations.

    gather                                         once
    print, dry, cut, weed of every decoration      before any heat
    lint-roll                                      once
    pre-press, place, tack, peel, press, check     decoration by decoration, in pressing order
    cool and fold with the care card, pack         once

Within a decoration its operations keep their order; nothing here reads a method's name. Whatever a
method prepares after its first strike stays where the method has it.

What the hands do hangs little on the drawing, so it is written once for each way a decoration is
made, and each drawing's lengths are put in: on a ticket most of the time went into writing it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

from service.domain.chain import Chain
from service.domain.compiled import CompiledCatalogue
from service.domain.machines import Plotter, Printer
from service.domain.media import FilmColour, Medium, Peel, WorkedFrom
from service.domain.memo import Memo, Same
from service.domain.methods import HEATED, Cover, Operation, OperationKind
from service.domain.placement_drawing import PlacementDrawing
from service.domain.recipe import OperationRecipe, StrikeSettings, operation_recipes
from service.domain.shop import Catalogue
from service.domain.ticket_steps import (
    CutSettings,
    PlaceSettings,
    PressSettings,
    PrintSettings,
    StepKind,
    TicketStep,
    exact_fahrenheit,
    step_key,
)
from service.domain.ticket_words import Scene, StepWords, in_colour, words_of
from service.domain.work import ONCE_PER_LINE

_PREPARES = frozenset({OperationKind.PRINT, OperationKind.CUT})
_FIXES = frozenset({OperationKind.TACK, OperationKind.PRESS})

KEPT_WAYS = 400
"""Ways of making a decoration whose steps are remembered for each version."""


@dataclass(frozen=True, slots=True)
class PlannedDecoration:
    """One decoration as it is to be made; ``index`` counts the line's decorations from 0.

    ``settings`` are those of the chain's strikes, ``film_colours`` by medium id. ``proof`` says
    that there will be a picture of how it is to look.
    """

    index: int
    chain: Chain
    settings: tuple[StrikeSettings, ...]
    film_colours: Mapping[str, FilmColour]
    drawing: PlacementDrawing
    proof: bool = True

    @property
    def films(self) -> tuple[str, ...]:
        """The films it leaves on the cloth, each with its colour and place, in words."""
        place = self.drawing.name.lower()
        names = (in_colour(film.name, self.colour_of(film)) for film in self.chain.layers)
        return tuple(f"{name} at the {place}" for name in names)

    def colour_of(self, medium: Medium | None) -> str:
        """The name of the colour in which the medium is used here; empty for what has none."""
        colour = self.film_colours.get(medium.id) if medium else None
        return colour.name if colour else ""

    @property
    def first_heated(self) -> int:
        """Index of the first operation that closes the press, or how many there are."""
        operations = self.chain.method.operations
        heated = (at for at, operation in enumerate(operations) if operation.kind in HEATED)
        return next(heated, len(operations))


@dataclass(frozen=True, slots=True)
class _Written:
    """A step as it was written for one drawing; ``scene`` where its words hold the distances."""

    step: TicketStep
    scene: Scene | None = None

    def numbered(self, number: int, drawing: PlacementDrawing) -> TicketStep:
        """The step for another drawing of the same placement."""
        step, changes = self.step, dict[str, Any](number=number)
        lengths = {"width_mm": drawing.width_mm, "height_mm": drawing.height_mm}
        if self.scene is not None:
            there = replace(self.scene, placed=drawing.words())
            changes["words"] = words_of(step.kind, there).do
        if step.printing is not None:
            changes["printing"] = step.printing.model_copy(update=lengths)
        if step.cutting is not None:
            changes["cutting"] = step.cutting.model_copy(update=lengths)
        return step.model_copy(update=changes)


@dataclass(frozen=True, slots=True)
class _Way:
    """The steps of one way of making a decoration: those before any heat, and the others."""

    preparing: tuple[_Written, ...]
    pressing: tuple[_Written, ...]


def steps_in_order(
    compiled: CompiledCatalogue, decorations: Sequence[PlannedDecoration], gathering: StepWords
) -> tuple[TicketStep, ...]:
    """The numbered steps of a line whose ``decorations`` stand in pressing order.

    ValueError when a strike has no setting.
    """
    films = [planned.films for planned in decorations[:-1]]
    ways = [
        (_way_of(compiled, planned, tuple(chain.from_iterable(films[:before]))), planned.drawing)
        for before, planned in enumerate(decorations)
    ]
    preparing = [(step, drawing) for way, drawing in ways for step in way.preparing]
    pressing = [(step, drawing) for way, drawing in ways for step in way.pressing]
    if not ways:
        return ()
    nowhere = ways[-1][1]
    lint_roll = [
        (_Written(step), nowhere) for step in _lint_roll([one.step for one, _ in pressing])
    ]
    last = [(_Written(step), nowhere) for step in _last(compiled.catalogue, decorations)]
    work = [*preparing, *lint_roll, *pressing, *last]
    gather = [
        (_Written(step), nowhere) for step in _gather([one.step for one, _ in work], gathering)
    ]
    return tuple(
        step.numbered(number, drawing)
        for number, (step, drawing) in enumerate([*gather, *work], start=1)
    )


def _way_of(
    compiled: CompiledCatalogue, planned: PlannedDecoration, elsewhere: tuple[str, ...]
) -> _Way:
    """The steps of a decoration, remembered for what they hang on beside the drawing's lengths."""
    ways: Memo = compiled.memo.get("ways of making", lambda: Memo(KEPT_WAYS))
    key = (
        Same(planned.chain),
        Same(planned.settings),
        tuple((medium, colour.name) for medium, colour in planned.film_colours.items()),
        planned.index,
        planned.drawing.name,
        planned.proof,
        elsewhere,
    )
    return ways.get(key, lambda: _written(compiled.catalogue, planned, elsewhere))


def _written(catalogue: Catalogue, planned: PlannedDecoration, elsewhere: tuple[str, ...]) -> _Way:
    hands = _Hands(catalogue, planned, elsewhere)
    # In this order, for the second begins where the first ended.
    preparing = tuple(hands.steps(heated=False))
    return _Way(preparing, tuple(hands.steps(heated=True)))


def _gather(work: Sequence[TicketStep], gathering: StepWords) -> Iterator[TicketStep]:
    """Blanks and media are fetched by whoever begins, so at the station of the first step."""
    for first in work[:1]:
        yield _shared(StepKind.GATHER, first.station, first.station_name, gathering)


def _lint_roll(pressing: Sequence[TicketStep]) -> Iterator[TicketStep]:
    for first in pressing[:1]:
        said = words_of(StepKind.LINT_ROLL, Scene("", ""))
        yield _shared(StepKind.LINT_ROLL, first.station, first.station_name, said)


def _last(catalogue: Catalogue, decorations: Sequence[PlannedDecoration]) -> Iterator[TicketStep]:
    """Folding and packing, once, as the decoration made last has it."""
    packing = [
        operation
        for planned in decorations
        for operation in planned.chain.method.operations
        if operation.kind in ONCE_PER_LINE
    ]
    for operation in packing[-1:]:
        name = catalogue.station_by_id[operation.station].name
        nothing = Scene("", "")
        folding = words_of(StepKind.FOLD, nothing, operation.note)
        yield _shared(StepKind.FOLD, operation.station, name, folding)
        yield _shared(StepKind.PACK, operation.station, name, words_of(StepKind.PACK, nothing))


def _shared(kind: StepKind, station: str, station_name: str, said: StepWords) -> TicketStep:
    return TicketStep(
        number=0,
        key=kind.replace("_", "-"),
        kind=kind,
        station=station,
        station_name=station_name,
        words=said.do,
        why=said.why,
        caution=said.caution,
    )


@dataclass
class _Hands:
    """Walks one decoration's operations, knowing what was printed and what lies on the cloth."""

    catalogue: Catalogue
    planned: PlannedDecoration
    elsewhere: tuple[str, ...] = ()
    printed: set[str] = field(default_factory=set)
    placed: set[str] = field(default_factory=set)
    beneath: list[Medium] = field(default_factory=list)
    strike: int = 0
    distances: str = field(init=False)
    recipes: tuple[OperationRecipe, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.distances = self.planned.drawing.words()
        self.recipes = operation_recipes(self.planned.chain, self.planned.settings)

    def steps(self, *, heated: bool) -> Iterator[_Written]:
        """The steps before the first strike, or from it on; asked for in that order."""
        operations = self.planned.chain.method.operations
        first = self.planned.first_heated
        span = range(first, len(operations)) if heated else range(first)
        for at in span:
            if operations[at].kind not in ONCE_PER_LINE:
                yield from self._of_operation(operations[at], self.recipes[at])

    def _of_operation(self, operation: Operation, recipe: OperationRecipe) -> Iterator[_Written]:
        medium = self.catalogue.medium_by_id.get(operation.medium or "")
        again = operation.medium in self.placed
        if operation.kind in _FIXES and medium is not None and not again:
            yield self._step(StepKind.PLACE, operation, recipe, medium)
        yield self._step(StepKind(operation.kind), operation, recipe, medium, again=again)
        if medium is not None:
            self._remember(operation.kind, medium)

    def _remember(self, kind: OperationKind, medium: Medium) -> None:
        if kind is OperationKind.PRINT:
            self.printed.add(medium.id)
        if kind in _FIXES:
            if medium.stays_on_cloth and medium.id not in self.placed:
                self.beneath.append(medium)
            self.placed.add(medium.id)
        off_again = kind is OperationKind.PEEL and not medium.stays_on_cloth
        if kind in _PREPARES or off_again:
            self.placed.discard(medium.id)

    def _step(
        self,
        kind: StepKind,
        operation: Operation,
        recipe: OperationRecipe,
        medium: Medium | None,
        *,
        again: bool = False,
    ) -> _Written:
        closes = recipe.heated and kind is not StepKind.PLACE
        self.strike += closes
        scene = self._scene(operation, recipe, medium, again=again)
        said = words_of(kind, scene, "" if kind is StepKind.PLACE else operation.note)
        pressed = _press_settings(recipe) if closes else None
        step = TicketStep(
            number=0,
            key=step_key(self.planned.index, recipe.index, kind),
            kind=kind,
            station=operation.station,
            station_name=self.catalogue.station_by_id[operation.station].name,
            machine=operation.machine,
            machine_name=self._machine_name(operation),
            medium=medium.name if medium else None,
            medium_id=medium.id if medium else None,
            film_colour=self.planned.colour_of(medium),
            decoration=self.planned.index,
            placement=self.planned.drawing.name,
            mirrored=operation.mirrored,
            printing=self._printing(operation),
            cutting=self._cutting(operation, medium),
            placing=self._placing(medium) if kind is StepKind.PLACE and medium else None,
            settings=pressed,
            strike=self.strike if closes else None,
            strikes=len(self.planned.chain.strikes) if closes else None,
            dwell_s=pressed.dwell_s if pressed else None,
            peel=recipe.peel if kind is StepKind.PEEL else None,
            wait_min=0 if kind is StepKind.PLACE else operation.wait_min,
            words=said.do,
            why=said.why,
            caution=said.caution,
        )
        return _Written(step, scene if kind is StepKind.PLACE else None)

    def _scene(
        self, operation: Operation, recipe: OperationRecipe, medium: Medium | None, *, again: bool
    ) -> Scene:
        drawing, colour = self.planned.drawing, self.planned.colour_of(medium)
        machine = self.catalogue.machine_by_id.get(operation.machine or "")
        beneath = tuple(film for film in self.beneath if film is not medium)
        return Scene(
            where=drawing.name.lower(),
            placed=self.distances,
            name=in_colour(medium.name, colour) if medium else "",
            medium=medium,
            mirrored=bool(operation.mirrored),
            printed=operation.medium in self.printed,
            again=again,
            beneath=beneath,
            elsewhere=self.elsewhere,
            several=_several(self.planned.chain),
            cover=recipe.cover or Cover.NONE,
            peel=recipe.peel or Peel.NONE,
            wait_min=operation.wait_min,
            proof=self.planned.proof,
            test_stripe=machine.test_stripe if isinstance(machine, Printer) else "",
        )

    def _machine_name(self, operation: Operation) -> str:
        machine = self.catalogue.machine_by_id.get(operation.machine or "")
        return machine.name if machine else ""

    def _printing(self, operation: Operation) -> PrintSettings | None:
        printer = self.catalogue.machine_by_id.get(operation.machine or "")
        if operation.kind is not OperationKind.PRINT or not isinstance(printer, Printer):
            return None
        return PrintSettings(
            colour_profile=printer.colour_profile,
            test_stripe=printer.test_stripe,
            width_mm=self.planned.drawing.width_mm,
            height_mm=self.planned.drawing.height_mm,
        )

    def _cutting(self, operation: Operation, medium: Medium | None) -> CutSettings | None:
        plotter = self.catalogue.machine_by_id.get(operation.machine or "")
        if operation.kind is not OperationKind.CUT or medium is None:
            return None
        if not isinstance(plotter, Plotter):
            return None
        blade = medium.blade
        own_mm = blade.offset_mm if blade else None
        return CutSettings(
            face_down=medium.worked_from is WorkedFrom.BACK,
            registration_marks=medium.id in self.printed,
            blade_offset_mm=plotter.blade_offset_mm if own_mm is None else own_mm,
            blade_angle_deg=blade.angle_deg if blade else None,
            force_gf=blade.force_gf if blade else None,
            passes=blade.passes if blade else None,
            width_mm=self.planned.drawing.width_mm,
            height_mm=self.planned.drawing.height_mm,
        )

    def _placing(self, medium: Medium) -> PlaceSettings:
        turned = medium.worked_from is WorkedFrom.BACK and not medium.carrier
        return PlaceSettings(
            face_down=turned,
            taped=not medium.stays_on_cloth,
            over=tuple(film.name for film in self.beneath),
        )


def _several(chain: Chain) -> bool:
    """Whether parts made apart must meet: print and cut, film on film, or dye on film."""
    worked: dict[str, int] = {}
    for one in chain.worked:
        worked[one.medium.id] = worked.get(one.medium.id, 0) + 1
    dyed_film = any(transfer.target is not None for transfer in chain.dye)
    return dyed_film or len(chain.layers) > 1 or any(count > 1 for count in worked.values())


def _press_settings(recipe: OperationRecipe) -> PressSettings:
    set_c, dwell_s, pressure = recipe.set_c, recipe.dwell_s, recipe.pressure
    if set_c is None or dwell_s is None or pressure is None:
        raise ValueError("a strike without room for a setting cannot be put on a ticket")
    written_c = round(set_c, 1)
    return PressSettings(
        set_c=written_c,
        set_f=exact_fahrenheit(written_c),
        dwell_s=dwell_s,
        pressure=pressure,
        cover=recipe.cover or Cover.NONE,
        peel=recipe.peel or Peel.NONE,
    )
