"""A large invented shop: the demo shop's blanks many times over, each in eight colours."""

from __future__ import annotations

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.blanks import Blank, ClothColour
from service.domain.compiled import CompiledCatalogue, compile_catalogue

BLANKS, COLOURS_EACH = 200, 8


def large_shop() -> CompiledCatalogue:
    """200 blanks in 8 colours, with the demo shop's 12 media and 12 methods."""
    catalogue = load_catalogue(demo_shop_path()).catalogue
    colours: dict[str, ClothColour] = {}
    for blank in catalogue.blanks:
        for colour in blank.colours:
            colours.setdefault(colour.id, colour.model_copy(update={"unobtainable_sizes": ()}))
    every = list(colours.values())
    blanks = tuple(
        _again(catalogue.blanks[index % len(catalogue.blanks)], index, every)
        for index in range(BLANKS)
    )
    large = type(catalogue).model_validate(
        catalogue.model_copy(update={"blanks": blanks}).model_dump()
    )
    return compile_catalogue(large, "large")


def _again(blank: Blank, index: int, colours: list[ClothColour]) -> Blank:
    chosen = [colours[(index * 3 + step) % len(colours)] for step in range(COLOURS_EACH)]
    return blank.model_copy(update={"id": f"{blank.id[:36]}-{index}", "colours": tuple(chosen)})
