"""An artwork as its owner is told of it: measures, report, and what follows at a print width."""

from __future__ import annotations

from service.domain.artwork import ArtworkMeasures
from service.domain.machines import Printer
from service.domain.preflight import preflight
from service.domain.remarks import Shown, film_solids, film_widths, films_cut
from service.domain.shop import Catalogue
from service.domain.work import inked_share
from service.intake.answers import ArtworkAnswer, AtWidthAnswer, InkAtWidthAnswer
from service.intake.kept_pictures import own_artwork
from service.intake.services import Caller, Services
from service.store.tables import Artwork


def get_artwork(
    services: Services, caller: Caller, artwork_id: str, *, width_mm: float | None = None
) -> ArtworkAnswer:
    """The artwork, if it is the caller's, judged by the catalogue in force; else ``NotFound``."""
    row = own_artwork(services, caller, artwork_id)
    measures = ArtworkMeasures.model_validate_json(row.measures_json)
    return artwork_answer(row, measures, services.catalogues.current.catalogue, width_mm=width_mm)


def artwork_answer(
    row: Artwork, measures: ArtworkMeasures, catalogue: Catalogue, *, width_mm: float | None = None
) -> ArtworkAnswer:
    """The answer on an artwork, judged by a catalogue; takes a few milliseconds.

    ``width_mm`` above 0 is the print width to judge it at, ValueError for another.
    """
    box, films = measures.ink_box, films_cut(catalogue)
    shown = Shown(measures, catalogue.policy, width_mm, films, film_solids(catalogue.printers))
    return ArtworkAnswer(
        id=row.id,
        media_type=row.media_type,
        byte_size=row.byte_size,
        rights_declared=row.rights_declared,
        width_px=measures.width_px,
        height_px=measures.height_px,
        ink_box_px=(box.left, box.top, box.width, box.height),
        has_alpha=measures.has_alpha,
        opaque_share=measures.opaque_share,
        soft_alpha_share=measures.soft_alpha_share,
        near_white_share=measures.near_white_share,
        shapes=measures.shapes,
        photo_like=measures.photo_like,
        background_srgb=measures.background_srgb,
        edge_width_px=measures.edge_width_px,
        ink=measures.ink,
        palette=tuple({"srgb": c.srgb, "share": c.share} for c in measures.palette),
        created_at=row.created_at,
        films=film_widths(measures, films),
        preflight=preflight(shown),
        at_width=None if width_mm is None else _at_width(measures, catalogue, width_mm),
    )


def _at_width(measures: ArtworkMeasures, catalogue: Catalogue, width_mm: float) -> AtWidthAnswer:
    return AtWidthAnswer(
        measures=measures.at(width_mm),
        ink=tuple(_ink(measures, printer, width_mm) for printer in catalogue.printers),
    )


def _ink(measures: ArtworkMeasures, printer: Printer, width_mm: float) -> InkAtWidthAnswer:
    box_ml = measures.full_ink_ml_at(width_mm, printer.ink_ml_m2)
    return InkAtWidthAnswer(
        printer=printer.id,
        ink=printer.ink,
        ml=measures.ink_ml_at(width_mm, printer.ink_ml_m2),
        most_ml=box_ml * float(inked_share(measures)),
    )
