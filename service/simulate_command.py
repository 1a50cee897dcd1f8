"""A simulated year of a shop, for the command line: are promises kept, and how long are they."""

from __future__ import annotations

from pathlib import Path
from typing import NoReturn

from service.catalogue.loading import demo_shop_path, load_catalogue
from service.domain.compiled import compile_catalogue
from service.domain.errors import BadInput
from service.domain.promising import HorizonExceeded
from service.domain.shop_floor import NeverOpen
from service.domain.shop_year import constant_rule, plan_rule, play_year, service_rule
from service.domain.year_orders import NothingToMake, YearSetting, draw_year
from service.domain.year_report import constant_lead, year_report, year_weeks
from service.render.year_svg import year_svg
from service.render.year_text import year_text

MOST_DAYS = 1_095
"""Three years; a design choice."""

MOST_SEED = 2**32 - 1
PICTURE = Path("load-year.svg")
_PERCENT = 100


def simulate(path: Path | None, *, days: int, seed: int, picture: Path) -> str:
    """Play a year of the shop, the demo shop if no path is given; write the picture, give the text.

    ``BadInput`` saying in a sentence what is wrong. Takes some ten seconds for a year.
    """
    if picture.is_dir() or not picture.parent.is_dir():
        _refuse(f"The picture cannot be written to {picture}; give a file in a folder that exists.")
    loaded = load_catalogue(path or demo_shop_path())
    catalogue = loaded.catalogue
    try:
        compiled = compile_catalogue(catalogue, loaded.version)
        year = draw_year(compiled, YearSetting(days=days), seed)
        told, plain, constant = (
            play_year(year, rule) for rule in (service_rule, plan_rule, constant_rule)
        )
    except NothingToMake:
        _refuse("There is nothing to simulate: no method works on any blank without a warning.")
    except (HorizonExceeded, NeverOpen):
        _refuse("The shop cannot make what is ordered: a station that is needed stands still.")
    report = year_report(told)
    text = year_text(year, seed, report, year_report(plain), constant_lead(constant, report.share))
    target = catalogue.policy.promise_percent / _PERCENT
    drawing = year_svg(catalogue.shop.name, year_weeks(told), catalogue.stations, target)
    picture.write_text(drawing, encoding="utf-8")
    return f"{text}\nload picture written to {picture}"


def _refuse(detail: str) -> NoReturn:
    raise BadInput("fields-refused", detail) from None
