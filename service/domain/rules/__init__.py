"""Compatibility rules: pure functions from facts to readings, collected and never first-fail.

To add one, write it in the module of its subject and list it in ``RULES``.
"""

from service.domain.rules.build import (
    CLOTH_FINISH,
    COLOURS_SHOWN,
    FILM_BOND,
    FILM_LAYERING,
    MIRRORED_SIDE,
)
from service.domain.rules.contract import Facts, Finding, Neighbour, Reading, Rule, Severity
from service.domain.rules.dye import DYE_CLOTH_LIGHTNESS, DYE_FIBRE_SHARE
from service.domain.rules.geometry import MEDIUM_SIZE, PLACEMENT_AREA, PLACEMENT_OBSTACLES, PLATEN
from service.domain.rules.heat import DYE_MIGRATION, HEAT_WINDOW
from service.domain.rules.wearer import PVC_FOR_CHILDREN, SLEEPWEAR

RULES: tuple[Rule, ...] = (
    DYE_FIBRE_SHARE,
    DYE_CLOTH_LIGHTNESS,
    HEAT_WINDOW,
    DYE_MIGRATION,
    PLACEMENT_AREA,
    PLACEMENT_OBSTACLES,
    PLATEN,
    MEDIUM_SIZE,
    FILM_BOND,
    CLOTH_FINISH,
    FILM_LAYERING,
    MIRRORED_SIDE,
    COLOURS_SHOWN,
    SLEEPWEAR,
    PVC_FOR_CHILDREN,
)

__all__ = ["RULES", "Facts", "Finding", "Neighbour", "Reading", "Rule", "Severity"]
