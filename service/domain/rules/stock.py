"""Rules on stock: whether the garment, and the films and papers, can be had at all."""

from __future__ import annotations

from collections.abc import Iterable

from service.domain.blanks import Blank
from service.domain.chain import Chain
from service.domain.media import Medium
from service.domain.rules.contract import Facts, Reading, Rule, Severity
from service.domain.wishes import Choice


def stocked_blank(facts: Facts) -> Blank | None:
    """The catalogue's blank behind the line's garment; None for one the customer brings."""
    return facts.catalogue.blank_by_id.get(facts.garment.blank_id or "")


_GARMENT = {
    "own": "You bring the garment, so it needs no stock of ours.",
    "had": "Every size you chose can be had in {colour}.",
    "gone": (
        "Size {size} of the {garment} in {colour} can be had neither from our shelf nor from the "
        "supplier. Choose another colour, another size or another garment."
    ),
}


def _garment_stock(facts: Facts) -> Iterable[Reading]:
    garment, limit, unit = facts.garment, "can be had", "stock"
    if garment.supplied:
        yield Reading(Severity.PASSES, _GARMENT["own"], "your own", limit, unit)
        return
    gone = [size for size in facts.line.pieces_by_size if size in _unobtainable(facts)]
    for size in gone:
        reason = _GARMENT["gone"].format(
            size=size, garment=garment.name, colour=garment.colour_name
        )
        yield Reading(Severity.BLOCKS, reason, "cannot be had", limit, unit, size=size)
    if not gone:
        reason = _GARMENT["had"].format(colour=garment.colour_name)
        yield Reading(Severity.PASSES, reason, "can be had", limit, unit)


def _unobtainable(facts: Facts) -> tuple[str, ...]:
    blank = stocked_blank(facts)
    colour = blank.colour(facts.garment.colour_id or "") if blank is not None else None
    return colour.unobtainable_sizes if colour is not None else ()


GARMENT_STOCK = Rule(
    id="garment-stock",
    title="Every size can be had in the colour",
    explanation=(
        "A size of a colour that neither lies on the shelf nor can be ordered from the supplier "
        "cannot be decorated. The catalogue names such sizes; what merely has to be ordered only "
        "takes longer."
    ),
    source="common practice, no source (the shop's own stock)",
    reads=frozenset({Choice.BLANK, Choice.COLOUR, Choice.SIZES}),
    evaluate=_garment_stock,
    reasons=_GARMENT,
    ways_out="Another colour of the same garment, other sizes, or another garment.",
)


_MEDIUM = {
    "had": "All films and papers of this method can be had.",
    "gone": (
        "The {medium} can be had neither from our shelf nor from the supplier. Choose another "
        "method."
    ),
}


def _medium_stock(facts: Facts) -> Iterable[Reading]:
    media, limit, unit = _media(facts.chain), "can be had", "stock"
    gone = [medium for medium in media if medium.unobtainable]
    for medium in gone:
        reason = _MEDIUM["gone"].format(medium=medium.name)
        yield Reading(Severity.BLOCKS, reason, "cannot be had", limit, unit)
    if media and not gone:
        yield Reading(Severity.PASSES, _MEDIUM["had"], "can be had", limit, unit)


def _media(chain: Chain) -> tuple[Medium, ...]:
    """Every medium printed, cut or pressed, once."""
    pressed = {strike.medium.id: strike.medium for strike in chain.strikes if strike.medium}
    return tuple({**{work.medium.id: work.medium for work in chain.worked}, **pressed}.values())


MEDIUM_STOCK = Rule(
    id="medium-stock",
    title="Every film and paper can be had",
    explanation=(
        "A method needs all its films and papers. One that neither lies on the shelf nor can be "
        "ordered from the supplier rules the method out; what merely has to be ordered only takes "
        "longer."
    ),
    source="common practice, no source (the shop's own stock)",
    reads=frozenset({Choice.METHOD}),
    evaluate=_medium_stock,
    reasons=_MEDIUM,
    ways_out="Another method, made of other films.",
)
