"""The care of a decorated garment: the most severe treatment that garment, films and dye all bear.

A care label states the most severe treatment that does no harm (ISO 3758), so the label of several
things together is the least of each, and what one of them forbids is forbidden.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.blanks import CareLabel
from service.domain.chain import Chain
from service.domain.media import Ink, Medium

IRON_DOTS_MAX = 3
IRON_DOT_C = {1: 110, 2: 150, 3: 200}
"""Highest temperature of an iron's sole plate in °C by dots: ISO 3758:2012."""

DYE_WASH_C = 40
DYE_IRON_DOTS = 2
"""Advised for dye prints, the iron on their reverse; common practice, no source."""

GARMENT = "garment"
DYE_PRINT = "dye print"


@dataclass(frozen=True, slots=True)
class MergedCare:
    """Care of the whole, in the terms of a care label.

    ``wash_c`` is in °C, ``iron_dots`` 0 for "do not iron"; ``tumble_dry`` is None where the
    garment's own label is not known. ``wash_because`` and ``iron_because`` name what sets each:
    ``garment``, ``dye print``, or a film's name.
    """

    wash_c: int
    iron_dots: int
    tumble_dry: bool | None
    wash_because: str
    iron_because: str


def cared_for(chain: Chain) -> tuple[Medium, ...]:
    """What of the chain is washed and ironed: its films, and the papers whose dye stays."""
    dyed_at = {transfer.step for transfer in chain.dye}
    papers = {
        strike.medium.id: strike.medium
        for strike in chain.strikes
        if strike.step in dyed_at and strike.medium is not None
    }
    return (*chain.layers, *papers.values())


def merged_care(own: CareLabel | None, media: Sequence[Medium]) -> MergedCare:
    """The least of the garment's label and the limits of the films and dye papers put on it.

    ``own`` is None for a garment whose label is not known; the result then is of the media alone.
    Where several set the same limit the garment is named, then the first medium. ValueError when
    there is neither label nor medium.
    """
    wash = [(own.wash_c, GARMENT)] if own else []
    iron = [(own.iron_dots, GARMENT)] if own else []
    for medium in media:
        name, wash_c, dots = _borne_by(medium)
        wash.append((wash_c, name))
        iron.append((dots, name))
    if not wash:
        raise ValueError("neither a garment's label nor a film or paper to take care of")
    wash_c, wash_because = min(wash, key=lambda limit: limit[0])
    iron_dots, iron_because = min(iron, key=lambda limit: limit[0])
    tumble_dry = own.tumble_dry if own else None
    return MergedCare(wash_c, iron_dots, tumble_dry, wash_because, iron_because)


def _borne_by(medium: Medium) -> tuple[str, int, int]:
    if not medium.stays_on_cloth and Ink.DYE in medium.prints_with:
        dots = min(medium.iron_dots, DYE_IRON_DOTS)
        return DYE_PRINT, min(medium.wash_limit_c, DYE_WASH_C), dots
    return medium.name, medium.wash_limit_c, medium.iron_dots
