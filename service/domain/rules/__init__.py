"""Compatibility rules: pure functions from facts to readings, collected and never first-fail.

To add one, write it in the module of its subject and list it in ``RULES``.
"""

from service.domain.rules.artwork import (
    ARTWORK_VISIBLE,
    BACKGROUND_BOX,
    COLOURS_SHOWN,
    PHOTO_ON_CUT,
    RESOLUTION,
    RIGHTS,
    SOFT_EDGES,
)
from service.domain.rules.build import (
    CLOTH_FINISH,
    COVER_FOR_DYE,
    FILM_BOND,
    FILM_LAYERING,
    LAYER_COUNT,
    MIRRORED_SIDE,
)
from service.domain.rules.care import IRON_LIMIT, WASH_LIMIT
from service.domain.rules.contract import Facts, Finding, Neighbour, Reading, Rule, Severity
from service.domain.rules.delicate_fibres import ELASTANE_HEAT, LOW_MELTING_FIBRE, TRI_BLEND_SCORCH
from service.domain.rules.dye import (
    DYE_FIBRE_SHARE,
    DYE_FIRST_WASH,
    DYE_STRAY_FIBRE,
    DYE_SURFACE_LIGHTNESS,
)
from service.domain.rules.dyed_surface import DYE_SURFACE_SATURATION, DYE_WHITE_ARTWORK
from service.domain.rules.film import (
    FILM_COLOUR_AVAILABLE,
    FILM_COVER,
    FILM_STRETCH,
    NAP_UNDER_PRESSURE,
)
from service.domain.rules.geometry import (
    CHEST_SHARE,
    MEDIUM_SIZE,
    PLACEMENT_AREA,
    PLACEMENT_OBSTACLES,
    PLATEN,
    TINY_PRINT,
)
from service.domain.rules.heat import DYE_MIGRATION, HEAT_WINDOW, LONG_STRIKE
from service.domain.rules.look import ACHIEVED_COLOUR, COLOUR_DOUBT, PRINT_CONTRAST
from service.domain.rules.outlines import (
    CUT_COLOURS,
    LOOSE_PIECES,
    SMALLEST_FEATURE,
    SMALLEST_GAP,
)
from service.domain.rules.several import (
    ACCUMULATED_HEAT,
    DYE_REHEATED,
    FILM_REHEATED,
    PLACEMENTS_APART,
)
from service.domain.rules.stock import GARMENT_STOCK, MEDIUM_STOCK
from service.domain.rules.wearer import (
    CHILDRENS_ARTICLE,
    FLAMMABILITY,
    PVC_FOR_CHILDREN,
    SLEEPWEAR,
    SMALL_PARTS,
)

RULES: tuple[Rule, ...] = (
    DYE_FIBRE_SHARE,
    DYE_FIRST_WASH,
    DYE_STRAY_FIBRE,
    DYE_SURFACE_LIGHTNESS,
    DYE_SURFACE_SATURATION,
    DYE_WHITE_ARTWORK,
    ACHIEVED_COLOUR,
    COLOUR_DOUBT,
    PRINT_CONTRAST,
    HEAT_WINDOW,
    LONG_STRIKE,
    LOW_MELTING_FIBRE,
    ELASTANE_HEAT,
    TRI_BLEND_SCORCH,
    DYE_MIGRATION,
    ACCUMULATED_HEAT,
    DYE_REHEATED,
    FILM_REHEATED,
    PLACEMENTS_APART,
    PLACEMENT_AREA,
    CHEST_SHARE,
    PLACEMENT_OBSTACLES,
    PLATEN,
    MEDIUM_SIZE,
    TINY_PRINT,
    FILM_BOND,
    CLOTH_FINISH,
    FILM_LAYERING,
    LAYER_COUNT,
    FILM_COLOUR_AVAILABLE,
    FILM_STRETCH,
    FILM_COVER,
    NAP_UNDER_PRESSURE,
    COVER_FOR_DYE,
    MIRRORED_SIDE,
    ARTWORK_VISIBLE,
    COLOURS_SHOWN,
    CUT_COLOURS,
    PHOTO_ON_CUT,
    SMALLEST_FEATURE,
    SMALLEST_GAP,
    LOOSE_PIECES,
    RESOLUTION,
    SOFT_EDGES,
    BACKGROUND_BOX,
    WASH_LIMIT,
    IRON_LIMIT,
    SLEEPWEAR,
    PVC_FOR_CHILDREN,
    SMALL_PARTS,
    CHILDRENS_ARTICLE,
    FLAMMABILITY,
    RIGHTS,
    GARMENT_STOCK,
    MEDIUM_STOCK,
)

__all__ = ["RULES", "Facts", "Finding", "Neighbour", "Reading", "Rule", "Severity"]
