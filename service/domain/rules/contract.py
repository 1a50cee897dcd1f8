"""What a rule is: a pure function from facts to readings, with a stable id and a source.

Every rule always runs; nothing stops at the first fault. A rule gives one reading for each thing
it looked at, also where all is well, so that a caller can be shown what was weighed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from service.domain.chain import Chain
from service.domain.colour import Lab
from service.domain.garments import Garment
from service.domain.media import FilmColour
from service.domain.recipe import StrikeSettings, strike_settings
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
    sentence a customer understands.
    """

    severity: Severity
    reason: str
    measured: float | str
    limit: float | str
    unit: str
    step: int | None = None
    size: str | None = None


@dataclass(frozen=True)
class Facts:
    """Everything a rule may read about one decoration of one line by one method."""

    catalogue: Catalogue
    line: Line
    decoration: Decoration
    chain: Chain
    film_colours: dict[str, FilmColour]
    film_labs: dict[str, Lab]

    @property
    def policy(self) -> Policy:
        """The shop's policy."""
        return self.catalogue.policy

    @cached_property
    def settings(self) -> tuple[StrikeSettings, ...]:
        """Limits and settings of every strike, worked out when first asked for."""
        return strike_settings(self.chain, self.garment, self.film_labs, self.policy)

    @property
    def garment(self) -> Garment:
        """The garment of the line."""
        return self.line.garment


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule with what a person needs to trust it.

    ``reads`` names the customer's choices it depends on: changing any other never changes its
    readings. ``source`` is a citation or ``common practice, no source``.
    """

    id: str
    title: str
    explanation: str
    source: str
    reads: frozenset[Choice]
    evaluate: Callable[[Facts], Iterable[Reading]]


@dataclass(frozen=True, slots=True)
class Finding:
    """A reading with the rule that made it."""

    rule: Rule
    reading: Reading

    @property
    def severity(self) -> Severity:
        """The reading's severity."""
        return self.reading.severity
