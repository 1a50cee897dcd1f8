"""What a rule is: a pure function from facts to readings, with a stable id and a source.

Every rule always runs; nothing stops at the first fault. A rule gives one reading for each thing
it looked at, also where all is well, so that a caller can be shown what was weighed.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from service.domain.chain import Chain
from service.domain.colour import Lab
from service.domain.garments import Garment
from service.domain.look import Look, Surface, surface_of
from service.domain.media import FilmColour
from service.domain.recipe import StrikeSettings
from service.domain.shop import Catalogue, Policy
from service.domain.wishes import Choice, Decoration, Line


class Severity(StrEnum):
    """What a reading means for the customer's choice."""

    PASSES = "passes"
    NOTES = "notes"
    WARNS = "warns"
    BLOCKS = "blocks"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a rule saw of one thing.

    ``measured`` and ``limit`` are numbers or words in ``unit``. ``step`` is the index of the
    operation concerned, ``size`` the garment size; None where neither applies. ``reason`` is a
    sentence a customer understands. ``hold_h`` are hours for which a sample is looked at before
    the rest is pressed, 0 for none.
    """

    severity: Severity
    reason: str
    measured: float | str
    limit: float | str
    unit: str
    step: int | None = None
    size: str | None = None
    hold_h: int = 0


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another decoration of the same garment, and the chain it is or would be made by.

    ``earlier`` says that it is pressed before the one that is judged.
    """

    decoration: Decoration
    chain: Chain
    settings: tuple[StrikeSettings, ...]
    earlier: bool


@dataclass(frozen=True)
class Facts:
    """Everything a rule may read about one decoration of one line by one method.

    ``film_colours`` and ``film_labs`` are the colour of each film of the chain by medium id;
    ``press`` works out ``settings``, and ``see`` the look of the artwork on a surface, each when
    it is first asked for.
    """

    catalogue: Catalogue
    line: Line
    decoration: Decoration
    chain: Chain
    film_colours: Mapping[str, FilmColour]
    film_labs: Mapping[str, Lab]
    press: Callable[[], tuple[StrikeSettings, ...]]
    see: Callable[[Surface], Look]
    neighbours: tuple[Neighbour, ...] = ()

    @cached_property
    def settings(self) -> tuple[StrikeSettings, ...]:
        """Limits and settings of every strike, worked out when first asked for."""
        return self.press()

    @property
    def policy(self) -> Policy:
        """The shop's policy."""
        return self.catalogue.policy

    @property
    def garment(self) -> Garment:
        """The garment of the line."""
        return self.line.garment

    @cached_property
    def surface(self) -> Surface:
        """What the image is put on."""
        return surface_of(self.chain, self.garment, self.film_labs)

    @cached_property
    def look(self) -> Look:
        """How the decoration will look, worked out when first asked for."""
        return self.see(self.surface)


WidthLimits = tuple[float, float]
"""Least and greatest print width in mm at which a rule does not block; 0 and infinity for none."""


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """A rule with what a person needs to trust it.

    ``reasons`` are the templates of all it may say, by a short name: what a reading says is one of
    them with its values filled in. ``reads`` names the customer's choices it depends on: changing
    any other never changes its readings. ``reads_on`` narrows that for a chain, such as one without
    dye. ``policy`` names the thresholds of the shop's policy it reads. ``widths`` gives the print
    widths at which it does not block, all else as it is; a rule that reads the width and may block
    has it. ``quiet`` gives widths at which it says nothing graver than that all is well; a rule
    that reads the width has it, and is not asked at those. ``of_colour`` gives what of a garment's
    colour its refusals depend on: garments alike in that and in all but colour are refused alike;
    None where any two colours may be told apart. ``may_block`` False promises that it never does.
    ``ways_out`` is a plain sentence on what usually helps. ``source`` is a citation or ``common
    practice, no source``.
    """

    id: str
    title: str
    explanation: str
    source: str
    reads: frozenset[Choice]
    evaluate: Callable[[Facts], Iterable[Reading]]
    reasons: Mapping[str, str]
    may_block: bool = True
    policy: tuple[str, ...] = ()
    reads_on: Callable[[Chain], frozenset[Choice]] | None = None
    widths: Callable[[Facts], WidthLimits] | None = None
    quiet: Callable[[Facts], WidthLimits] | None = None
    of_colour: Callable[[Garment, Policy], Hashable] | None = None
    ways_out: str = ""

    def reads_for(self, chain: Chain) -> frozenset[Choice]:
        """The choices it depends on for decorations made by that chain."""
        return self.reads_on(chain) if self.reads_on is not None else self.reads


@dataclass(frozen=True, slots=True)
class Finding:
    """A reading with the rule that made it."""

    rule: Rule
    reading: Reading

    @property
    def severity(self) -> Severity:
        """The reading's severity."""
        return self.reading.severity
