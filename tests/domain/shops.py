"""A tiny invented shop, built in Python, for tests that need a catalogue and no files.

Two blanks, three media (a roll of cut film, a roll of dye paper, sheets of glitter film), two
methods. All data are invented; numbers are round so that sums can be done by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from decimal import Decimal

from service.domain.artwork import ArtworkMeasures, InkBox, PaletteColour
from service.domain.blanks import (
    Blank,
    BlankSize,
    CareLabel,
    ClothColour,
    Placement,
    PlacementArea,
    Style,
    Wearer,
)
from service.domain.fibres import Fibre, FibreContent
from service.domain.garments import SuppliedGarment, stocked_garment, supplied_garment
from service.domain.machines import Plotter, Press, Printer, Station
from service.domain.media import (
    FilmColour,
    Ink,
    Medium,
    MediumFamily,
    Peel,
    Pressure,
    PressWindow,
    Texture,
    WorkedFrom,
)
from service.domain.methods import Cover, Method, Operation, OperationKind
from service.domain.price_book import PriceBook, QuantityBreak
from service.domain.shop import Catalogue, Shop, WorkCalendar
from service.domain.wishes import Decoration, Line

SIZES = ("S", "M", "L")


def tiny_calendar(**changes: object) -> WorkCalendar:
    """Monday to Friday, cut-off at noon, Europe/Berlin."""
    calendar = WorkCalendar(
        time_zone="Europe/Berlin",
        working_weekdays=frozenset(range(5)),
        cut_off=time(12),
    )
    return calendar.model_copy(update=changes)


def tiny_prices(**changes: object) -> PriceBook:
    """Euro, 10 % overhead, a quarter of the price is margin, no spoilage, breaks at 12 and 24."""
    book = PriceBook(
        currency="EUR",
        overhead_share=Decimal("0.10"),
        margin_share=Decimal("0.25"),
        spoilage_share=Decimal(0),
        consumables_per_piece=Decimal("0.10"),
        artwork_check_min=Decimal(10),
        breaks=(
            QuantityBreak(from_pieces=1, discount_share=Decimal(0)),
            QuantityBreak(from_pieces=12, discount_share=Decimal("0.10")),
            QuantityBreak(from_pieces=24, discount_share=Decimal("0.20")),
        ),
    )
    return book.model_copy(update=changes)


def tiny_shop(**changes: object) -> Catalogue:
    """The whole catalogue; keyword arguments replace its parts, such as ``prices``."""
    catalogue = Catalogue(
        shop=Shop(name="The Tiny Workroom", invented=True),
        calendar=tiny_calendar(),
        prices=tiny_prices(),
        stations=tiny_stations(),
        printers=(
            Printer(
                id="dye-printer",
                name="Dye printer",
                station="print",
                ink=Ink.DYE,
                max_width_mm=600,
                colour_profile="measured",
                ink_ml_m2=10,
                ink_price_per_ml=Decimal("0.20"),
            ),
        ),
        plotters=(
            Plotter(
                id="plotter",
                name="Plotter",
                station="cut",
                max_width_mm=600,
                blade_offset_mm=0.25,
            ),
        ),
        presses=(
            Press(
                id="press",
                name="Press",
                station="press",
                platen_width_mm=400,
                platen_length_mm=500,
                temp_error_k=3,
                ceiling_c=220,
            ),
        ),
        blanks=(
            _tee("cotton-tee", "Cotton tee", FibreContent.of(cotton=100), lead_days=1),
            _tee("polyester-tee", "Polyester tee", FibreContent.of(polyester=100), lead_days=2),
        ),
        media=tiny_media(),
        methods=tiny_methods(),
    )
    return catalogue.model_copy(update=changes)


def tiny_stations() -> tuple[Station, ...]:
    """Print, cut, press (two presses) and bench, eight hours a day, at 24.00 or 12.00 an hour."""
    rates = {"print": ("24", "6"), "cut": ("24", "6"), "press": ("24", "3"), "bench": ("12", "0")}
    return tuple(
        Station(
            id=id_,
            name=f"{id_.capitalize()} station",
            minutes_per_day=480,
            machines=2 if id_ == "press" else 1,
            labour_rate_per_hour=Decimal(labour),
            machine_rate_per_hour=Decimal(machine),
        )
        for id_, (labour, machine) in rates.items()
    )


def _tee(id_: str, name: str, content: FibreContent, *, lead_days: int) -> Blank:
    area = PlacementArea(width_mm=300, height_mm=400)
    return Blank(
        id=id_,
        name=name,
        style=Style.TEE,
        fibre_content=content,
        weight_g_m2=180,
        wearer=Wearer.ADULT,
        care=CareLabel(wash_c=40, iron_dots=2),
        supplier_lead_days=lead_days,
        colours=(ClothColour(id="white", name="White", srgb="#f8f8f8"),),
        sizes=tuple(
            BlankSize(size=size, half_chest_mm=chest, body_length_mm=700, cost=Decimal(cost))
            for size, chest, cost in zip(SIZES, (500, 530, 560), ("3", "3", "4"), strict=True)
        ),
        placements=(
            Placement(
                id="front",
                name="front",
                from_edge="collar",
                drop_mm=80,
                areas=dict.fromkeys(SIZES, area),
            ),
        ),
    )


def _window(temp_c: float, dwell_s: float, peel: Peel) -> PressWindow:
    return PressWindow(
        temp_min_c=temp_c - 5,
        temp_max_c=temp_c + 5,
        best_temp_c=temp_c,
        dwell_min_s=dwell_s - 5,
        dwell_max_s=dwell_s + 5,
        best_dwell_s=dwell_s,
        pressure=Pressure.MEDIUM,
        peel=peel,
    )


def tiny_media() -> tuple[Medium, ...]:
    """Cut film (500 mm roll), dye paper (600 mm roll), glitter film (sheets of 500 x 300 mm)."""
    film = Medium(
        id="plain-film",
        name="Plain cut film",
        family=MediumFamily.CUT_FILM,
        width_mm=500,
        thickness_um=80,
        carrier=True,
        worked_from=WorkedFrom.BACK,
        stays_on_cloth=True,
        opaque=True,
        press=_window(155, 15, Peel.WARM),
        withstands_c=170,
        smallest_feature_mm=1,
        bonds_to=(Fibre.COTTON, Fibre.POLYESTER),
        colours=(FilmColour(id="red", name="Red", srgb="#c01020"),),
        wash_limit_c=60,
        iron_dots=1,
        gap_mm=10,
        margin_mm=5,
        price_per_m=Decimal(8),
        supplier_lead_days=3,
    )
    paper = Medium(
        id="dye-paper",
        name="Dye paper",
        family=MediumFamily.DYE_PAPER,
        width_mm=600,
        thickness_um=100,
        carrier=False,
        worked_from=WorkedFrom.BACK,
        stays_on_cloth=False,
        opaque=False,
        press=_window(195, 50, Peel.HOT),
        withstands_c=230,
        prints_with=(Ink.DYE,),
        smallest_feature_mm=0.3,
        wash_limit_c=60,
        iron_dots=2,
        gap_mm=10,
        margin_mm=10,
        price_per_m=Decimal(1),
        supplier_lead_days=0,
    )
    glitter = film.model_copy(
        update={
            "id": "glitter-film",
            "name": "Glitter film",
            "family": MediumFamily.GLITTER_FILM,
            "texture": Texture.GLITTER,
            "sheet_length_mm": 300.0,
            "dye_share": 1.0,
            "withstands_c": 210.0,
            "may_turn": False,
            "price_per_m": Decimal(6),
            "supplier_lead_days": 5,
        }
    )
    return film, paper, glitter


def _step(kind: OperationKind, station: str, each_min: str, **more: object) -> Operation:
    fields = {"setup_min": Decimal(0), **more}
    return Operation.model_validate(
        {"kind": kind, "station": station, "each_min": Decimal(each_min), **fields}
    )


def tiny_methods() -> tuple[Method, ...]:
    """Cut film; and dye on glitter film, whose paper dries for half an hour."""
    film, glitter, paper = "plain-film", "glitter-film", "dye-paper"
    cut, press = {"machine": "plotter", "mirrored": True}, {"machine": "press"}
    check, pack = (
        _step(OperationKind[k], "bench", m) for k, m in (("CHECK", "0.5"), ("PACK", "1"))
    )
    return (
        Method(
            id="cut-film",
            name="Cut film",
            feel="a thin, smooth film",
            operations=(
                _step(OperationKind.CUT, "cut", "1", medium=film, setup_min=Decimal(5), **cut),
                _step(OperationKind.WEED, "bench", "2", medium=film),
                _step(
                    OperationKind.PRESS, "press", "1.5", medium=film, setup_min=Decimal(4), **press
                ),
                _step(OperationKind.PEEL, "press", "0.25", medium=film),
                check,
                pack,
            ),
        ),
        Method(
            id="dye-on-glitter",
            name="Dye on glitter film",
            feel="a rough sparkle",
            operations=(
                _step(
                    OperationKind.PRINT,
                    "print",
                    "1",
                    medium=paper,
                    machine="dye-printer",
                    mirrored=True,
                    setup_min=Decimal(6),
                    wait_min=30,
                ),
                _step(OperationKind.CUT, "cut", "1", medium=glitter, setup_min=Decimal(5), **cut),
                _step(OperationKind.WEED, "bench", "1", medium=glitter),
                _step(OperationKind.PRESS, "press", "1.5", medium=glitter, **press),
                _step(
                    OperationKind.PRESS,
                    "press",
                    "2",
                    medium=paper,
                    cover=Cover.FRESH_PAPER,
                    setup_min=Decimal(4),
                    **press,
                ),
                check,
                pack,
            ),
        ),
    )


def tiny_artwork(*, opaque_share: float = 0.5, height_px: int = 1_000) -> ArtworkMeasures:
    """A picture 2,000 px wide, twice as wide as high unless told otherwise, of one red."""
    return ArtworkMeasures(
        width_px=2_000,
        height_px=height_px,
        ink_box=InkBox(left=0, top=0, width=2_000, height=height_px),
        has_alpha=True,
        opaque_share=opaque_share,
        soft_alpha_share=0.0,
        near_white_share=0.0,
        palette=(PaletteColour(srgb="#c01020", share=1.0),),
    )


def tiny_decoration(
    method_id: str | None = "cut-film",
    *,
    width_mm: float = 200,
    artwork_id: str = "star",
    artwork: ArtworkMeasures | None = None,
) -> Decoration:
    """One decoration on the front, 200 x 100 mm unless told otherwise."""
    return Decoration(
        placement_id="front",
        artwork_id=artwork_id,
        artwork=artwork or tiny_artwork(),
        width_mm=width_mm,
        method_id=method_id,
    )


def tiny_line(
    catalogue: Catalogue,
    pieces_by_size: Mapping[str, int],
    *decorations: Decoration,
    blank_id: str = "cotton-tee",
) -> Line:
    """A line of a stocked blank in white, with one cut-film decoration unless given others."""
    blank = catalogue.blank_by_id[blank_id]
    garment = stocked_garment(blank, blank.colours[0])
    return Line(garment, dict(pieces_by_size), decorations or (tiny_decoration(),))


def tiny_supplied_line(pieces_by_size: Mapping[str, int], *decorations: Decoration) -> Line:
    """A line of cotton garments the customer brings."""
    described = SuppliedGarment(
        fibre_content=FibreContent.of(cotton=100),
        colour_srgb="#f8f8f8",
        weight_g_m2=180,
        wearer=Wearer.ADULT,
        half_chest_mm=520,
    )
    garment = supplied_garment(described, tuple(pieces_by_size), ())
    return Line(garment, dict(pieces_by_size), decorations or (tiny_decoration(),))
