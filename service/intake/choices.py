"""What may still be chosen, for a page that greys out what leads nowhere. Computes only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from math import isinf
from typing import Annotated

from pydantic import Field

from service.domain.choice_table import table_of
from service.domain.choices import Selection, WidthSpan, find_choices
from service.domain.compiled import CompiledCatalogue
from service.domain.errors import BadInput, FieldFault
from service.domain.memo import Memo
from service.domain.values import SizeName, Slug
from service.domain.wishes import Consent
from service.intake.answers import Answer
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.check import TITLES
from service.intake.names import unknown_name
from service.intake.requests import ANY_METHOD, Identifier, RequestModel
from service.intake.requests import LEAST_WIDTH_MM as NARROWEST_MM
from service.intake.rule_views import rule_page_uri

LEAST_WIDTH_MM = 1.0
MOST_WIDTH_MM = 2_000.0
"""A decoration may ask for no more."""

KEPT_ANSWERS = 256
"""Answers remembered for each catalogue version; a few kB to a hundred each."""


class ChoicesQuery(RequestModel):
    """What has been chosen so far, as a check would name it; what is left out is open."""

    blank: Slug | None = None
    colour: Slug | None = None
    placement: Slug | None = None
    method: Annotated[Slug | None, Field(description="'any' leaves it open.")] = None
    film_colour: Slug | None = None
    artwork_id: Annotated[
        Identifier | None,
        Field(description="Without one, what depends on the artwork is not judged yet."),
    ] = None
    width_mm: Annotated[
        float | None,
        Field(ge=NARROWEST_MM, le=MOST_WIDTH_MM, description="Width of the artwork's inked box."),
    ] = None
    size: Annotated[
        tuple[SizeName, ...], Field(max_length=24, description="Repeat to name several.")
    ] = ()
    consent: Annotated[
        tuple[Consent, ...],
        Field(max_length=len(Consent), description="Losses that are accepted; repeat for several."),
    ] = ()


class Attribute(StrEnum):
    """What a page lets its customer pick, named as in the query."""

    BLANK = "blank"
    COLOUR = "colour"
    PLACEMENT = "placement"
    METHOD = "method"
    FILM_COLOUR = "film_colour"
    SIZE = "size"


class BlockerAnswer(Answer):
    """A rule that has a part in forbidding a value; ``page`` explains it to anyone."""

    rule: str
    title: str
    page: str


class ValueAnswer(Answer):
    """A value, and whether anything that has it works."""

    id: str
    name: str
    possible: bool
    blocked_by: tuple[BlockerAnswer, ...] = Field(
        description=(
            "Rules that between them forbid it. Empty on a value that is not possible: it is not "
            "offered with what is selected, as a colour in which the blank does not come."
        )
    )


class AttributeAnswer(Answer):
    """All values of one attribute, in the catalogue's order."""

    attribute: Attribute
    values: tuple[ValueAnswer, ...]


class WidthAnswer(Answer):
    """A range of print widths that lead somewhere, in mm."""

    least_mm: float
    greatest_mm: float | None = Field(
        description="Null where nothing limits it below what may be asked for, 2000 mm."
    )


class ChoicesAnswer(Answer):
    """What may still be chosen; ``possible`` says whether the selection as it stands can work."""

    catalogue_version: str
    possible: bool
    attributes: tuple[AttributeAnswer, ...]
    widths: tuple[WidthAnswer, ...] = Field(description="Narrowest first; they do not overlap.")


def resolve_selection(
    compiled: CompiledCatalogue, query: ChoicesQuery, artworks: Mapping[str, ShelvedArtwork]
) -> Selection:
    """What the query selects. ``artworks`` holds the caller's own of those it names.

    Raises ``BadInput`` naming every parameter that names what the shop does not have. Names that
    the shop has, but not together, are no fault: they are a selection that is not possible.
    """
    art = artworks.get(query.artwork_id or "")
    faults = list(_unknown_names(compiled, query))
    if query.artwork_id is not None and art is None:
        detail = "No such artwork of yours; upload it first and use the id you are given."
        faults.append(FieldFault(detail, parameter="artwork_id", code="artwork-unknown"))
    if faults:
        detail = "The selection names what this shop does not have."
        raise BadInput("fields-refused", detail, faults=faults)
    return Selection(
        blank_id=query.blank,
        colour_id=query.colour,
        placement_id=query.placement,
        method_id=None if query.method == ANY_METHOD else query.method,
        film_colour_id=query.film_colour,
        width_mm=query.width_mm,
        sizes=tuple(sorted(set(query.size))),
        consents=frozenset(query.consent),
        artwork=art.measures if art else None,
        rights_declared=art.rights_declared if art else True,
    )


def choices_at_hand(
    compiled: CompiledCatalogue, selection: Selection, base_url: str
) -> ChoicesAnswer | None:
    """The answer if it is remembered; None if it must be worked out."""
    return _kept(compiled, selection, base_url).answer


def choices_answer(
    compiled: CompiledCatalogue, selection: Selection, base_url: str
) -> ChoicesAnswer:
    """What may be chosen beside the selection; rule pages lie under the public ``base_url``.

    Takes some milliseconds of computing. Answers without an artwork are remembered: they are what
    every page begins with, while an artwork is one customer's.
    """
    kept = _kept(compiled, selection, base_url)
    if kept.answer is None:
        kept.answer = _work_out(compiled, selection, base_url)
    return kept.answer


@dataclass(slots=True)
class _Kept:
    """The place of one answer."""

    answer: ChoicesAnswer | None = None


Names = Mapping[Attribute, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class _OfVersion:
    """What is kept for a catalogue version: its names by attribute and id, and answers."""

    names: Names
    answers: Memo = field(default_factory=lambda: Memo(KEPT_ANSWERS))


def _of_version(compiled: CompiledCatalogue) -> _OfVersion:
    return compiled.tables.get("choices", lambda: _OfVersion(_names(compiled)))


def _kept(compiled: CompiledCatalogue, selection: Selection, base_url: str) -> _Kept:
    if selection.artwork is not None:
        return _Kept()
    return _of_version(compiled).answers.get((selection, base_url), _Kept)


def _names(compiled: CompiledCatalogue) -> Names:
    """Names by id. What several blanks or films have is named as by the first."""
    catalogue = compiled.catalogue
    blanks = catalogue.blanks
    return {
        Attribute.BLANK: {blank.id: blank.name for blank in blanks},
        Attribute.COLOUR: _first((c.id, c.name) for blank in blanks for c in blank.colours),
        Attribute.PLACEMENT: _first((p.id, p.name) for blank in blanks for p in blank.placements),
        Attribute.METHOD: {method.id: method.name for method in catalogue.methods},
        Attribute.FILM_COLOUR: _first(
            (c.id, c.name) for medium in catalogue.media for c in medium.colours
        ),
        Attribute.SIZE: _first((s.size, s.size) for blank in blanks for s in blank.sizes),
    }


def _first(named: Iterable[tuple[str, str]]) -> dict[str, str]:
    names: dict[str, str] = {}
    for id_, name in named:
        names.setdefault(id_, name)
    return names


def _unknown_names(compiled: CompiledCatalogue, query: ChoicesQuery) -> Iterable[FieldFault]:
    names = _of_version(compiled).names
    asked: Mapping[Attribute, tuple[str | None, ...]] = {
        Attribute.BLANK: (query.blank,),
        Attribute.COLOUR: (query.colour,),
        Attribute.PLACEMENT: (query.placement,),
        Attribute.METHOD: (query.method,),
        Attribute.FILM_COLOUR: (query.film_colour,),
        Attribute.SIZE: query.size,
    }
    for attribute, ids in asked.items():
        known = names[attribute]
        if attribute is Attribute.METHOD:
            known = {ANY_METHOD: "", **known}
        for id_ in ids:
            if id_ is not None and id_ not in known:
                detail = unknown_name(attribute.replace("_", " "), id_, known)
                yield FieldFault(detail, parameter=attribute, code="unknown")


def _work_out(compiled: CompiledCatalogue, selection: Selection, base_url: str) -> ChoicesAnswer:
    found = find_choices(table_of(compiled), selection)
    names = _of_version(compiled).names

    @cache
    def blockers(rules: tuple[str, ...]) -> tuple[BlockerAnswer, ...]:
        return tuple(
            BlockerAnswer(rule=rule, title=TITLES[rule], page=rule_page_uri(base_url, rule))
            for rule in rules
        )

    values = {
        Attribute.BLANK: found.blanks,
        Attribute.COLOUR: found.colours,
        Attribute.PLACEMENT: found.placements,
        Attribute.METHOD: found.methods,
        Attribute.FILM_COLOUR: found.film_colours,
        Attribute.SIZE: found.sizes,
    }
    return ChoicesAnswer(
        catalogue_version=compiled.version,
        possible=found.possible,
        attributes=tuple(
            AttributeAnswer(
                attribute=attribute,
                values=tuple(
                    ValueAnswer(
                        id=one.id,
                        name=names[attribute][one.id],
                        possible=one.possible,
                        blocked_by=blockers(one.blocked_by),
                    )
                    for one in listed
                ),
            )
            for attribute, listed in values.items()
        ),
        widths=tuple(_width(span) for span in found.widths if _can_be_asked(span)),
    )


def _can_be_asked(span: WidthSpan) -> bool:
    return span.greatest_mm >= LEAST_WIDTH_MM and span.least_mm <= MOST_WIDTH_MM


def _width(span: WidthSpan) -> WidthAnswer:
    unlimited = isinf(span.greatest_mm) or span.greatest_mm > MOST_WIDTH_MM
    return WidthAnswer(
        least_mm=max(span.least_mm, LEAST_WIDTH_MM),
        greatest_mm=None if unlimited else span.greatest_mm,
    )
