"""A catalogue version made ready once and shared by every request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from service.domain.chain import Chain, walk
from service.domain.colour import Lab, lab_from_srgb_hex
from service.domain.garments import Garment, stocked_garment
from service.domain.memo import Memo
from service.domain.shop import Catalogue

MEMO_CAPACITY = 30_000
"""Settings and looks remembered for each version; about a kilobyte each."""

ASKED_CAPACITY = 6_000
"""Verdicts, findings and answers remembered for each version: those of about a hundred checks of
every method. They are many small objects, and each makes the collector of unused ones slower."""


@dataclass(frozen=True, slots=True)
class CompiledCatalogue:
    """The catalogue with every method walked and every blank in every colour made a garment.

    ``garments`` is keyed by blank id and colour id, ``film_labs`` by medium id and film colour id;
    ``film_lab_rows`` holds each medium's colours in its own order. ``memo`` remembers press
    settings and looks worked out from this version, ``asked`` verdicts and what was answered,
    ``tables`` its table of choices and what pickers were answered, ``supplied_tables`` those of
    garments that customers bring; a changed copy begins with none.
    """

    version: str
    catalogue: Catalogue
    chains: Mapping[str, Chain]
    garments: Mapping[tuple[str, str], Garment]
    film_labs: Mapping[tuple[str, str], Lab]
    film_lab_rows: Mapping[str, tuple[Lab, ...]]
    memo: Memo = field(init=False, repr=False, default_factory=lambda: Memo(MEMO_CAPACITY))
    asked: Memo = field(init=False, repr=False, default_factory=lambda: Memo(ASKED_CAPACITY))
    tables: Memo = field(init=False, repr=False, default_factory=lambda: Memo(4))
    supplied_tables: Memo = field(init=False, repr=False, default_factory=lambda: Memo(32))


def compile_catalogue(catalogue: Catalogue, version: str) -> CompiledCatalogue:
    """Compile a cross-checked catalogue; a few milliseconds for a shop of 20 blanks."""
    return CompiledCatalogue(
        version=version,
        catalogue=catalogue,
        chains={method.id: walk(catalogue, method) for method in catalogue.methods},
        garments={
            (blank.id, colour.id): stocked_garment(blank, colour)
            for blank in catalogue.blanks
            for colour in blank.colours
        },
        film_labs={
            (medium.id, colour.id): lab_from_srgb_hex(colour.srgb)
            for medium in catalogue.media
            for colour in medium.colours
        },
        film_lab_rows={
            medium.id: tuple(lab_from_srgb_hex(colour.srgb) for colour in medium.colours)
            for medium in catalogue.media
        },
    )
