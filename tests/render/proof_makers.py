"""Proofs to draw: invented artworks on the demonstration blanks."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.artwork_preview import ArtworkPreview, preview_of
from service.domain.compiled import CompiledCatalogue, compile_catalogue
from service.domain.measuring import measure
from service.domain.proofs import Proof
from service.intake.artwork_shelf import ShelvedArtwork
from service.intake.proofs import ProofQuery, plan_proof

Rgba = NDArray[np.uint8]


@cache
def demo_shop() -> CompiledCatalogue:
    """The demonstration catalogue, compiled once."""
    loaded = load_catalogue(demo_shop_path())
    return compile_catalogue(loaded.catalogue, loaded.version)


def plain(colour: tuple[int, int, int], width: int = 240, height: int = 160) -> Rgba:
    """A plain rectangle of one colour."""
    picture = np.full((height, width, 4), 255, dtype=np.uint8)
    picture[..., :3] = colour
    return picture


def made(picture: Rgba, **asked: object) -> tuple[Proof, ArtworkPreview]:
    """The plan of a proof of that picture, and the picture made small.

    Unless told otherwise it is a print 200 mm wide on the front of a white cotton T-shirt.
    """
    usual = {
        "blank": "classic-cotton-tee",
        "colour": "white",
        "placement": "front",
        "width_mm": 200,
        "method": "printed-film",
    }
    measures = measure(picture)
    query = ProofQuery.model_validate({**usual, **asked})
    art = ShelvedArtwork("someone", measures, rights_declared=True)
    proof = plan_proof(demo_shop(), "art_1", query, {"art_1": art})
    return proof, preview_of(picture, measures.ink_box)
