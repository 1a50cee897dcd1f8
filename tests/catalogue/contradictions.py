"""Edits that put one contradiction into the workroom's policy, prices, media, machines or blanks.

What counts as a contradiction is a design choice of this project, no source, unless a case names
one.
"""

from __future__ import annotations

Contradiction = tuple[list[tuple[str, str]], str, str, str]
"""Edits, a snippet that stands on the fault's line, the fault's pointer, and words it says."""

SECOND_DESK = "{id: bench, name: Bench"


def solids(**lightness: int) -> str:
    """Solids of a printer as YAML: a neutral L* each, white the lightest unless told otherwise."""
    usual = {"white": 95, "cyan": 55, "magenta": 48, "yellow": 88, "red": 47, "green": 50,
             "blue": 24, "black": 10, **lightness}  # fmt: skip
    inks = (f"{name}: {{lightness: {value}, a: 0, b: 0}}" for name, value in usual.items())
    return "{" + ", ".join(inks) + "}"


def exception(station: str, day: str, minutes: int, *again: str) -> tuple[str, str]:
    """An edit that gives stations other minutes on a day."""
    rows = ", ".join(
        f"{{station: {one}, day: {day}, minutes: {minutes}, why: a test}}"
        for one in (station, *again)
    )
    return ('cut_off: "12:00"', f'cut_off: "12:00"\n  station_days: [{rows}]')


IN_PARTS: dict[str, Contradiction] = {
    "station twice": (
        [(SECOND_DESK, "{id: desk, name: Bench"), ("station: bench\n", "station: desk\n")]
        + [("station: bench", "station: desk")] * 4,
        "{id: desk, name: Bench",
        "/stations/1/id",
        "station 'desk' is listed twice",
    ),
    "machine twice across kinds": (
        [("  - id: plotter\n", "  - id: press\n"), ("machine: plotter", "machine: press")],
        "  - id: press\n    name: Press",
        "/presses/0/id",
        "machine 'press' is listed twice",
    ),
    "medium twice": (
        [("  - id: paper\n", "  - id: film\n")],
        "  - id: film\n    name: Paper",
        "/media/1/id",
        "medium 'film' is listed twice",
    ),
    "method twice": (
        [("  - id: dye\n", "  - id: film\n")],
        "  - id: film\n    name: Dye",
        "/methods/1/id",
        "method 'film' is listed twice",
    ),
    "film colour twice": (
        [("{id: black, name: Black", "{id: white, name: Black")],
        "{id: white, name: Black",
        "/media/0/colours/1/id",
        "colour 'white' is listed twice",
    ),
    "supplied placement twice": (
        [("{id: back, name: Back", "{id: front, name: Back")],
        "{id: front, name: Back",
        "/policy/supplied_placements/1/id",
        "placement 'front' is listed twice",
    ),
    "dye thresholds out of order": (
        [("dye_full_percent: 95", "dye_full_percent: 60")],
        "dye_pale_percent: 65",
        "/policy/dye_pale_percent",
        "dye_pale_percent 65 must lie below dye_full_percent 60",
    ),
    "dye threshold below a default": (
        [("dye_pale_percent: 65", "dye_pale_percent: 40")],
        "dye_pale_percent: 40",
        "/policy/dye_pale_percent",
        "dye_faded_percent 50 must lie below dye_pale_percent 40",
    ),
    "lightness thresholds out of order": (
        [("regime: eu\n", "regime: eu\n  medium_lightness: 70\n  light_lightness: 65\n")],
        "medium_lightness: 70",
        "/policy/medium_lightness",
        "medium_lightness 70.0 must lie below light_lightness 65.0",
    ),
    "resolutions that meet": (
        [("regime: eu\n", "regime: eu\n  resolution_fair_ppi: 200\n")],
        "resolution_fair_ppi",
        "/policy/resolution_fair_ppi",
        "resolution_fair_ppi 200.0 must lie below resolution_full_ppi 200.0",
    ),
    "ranked twice by the same": (
        [("regime: eu\n", "regime: eu\n  ranking: [price, look, price]\n")],
        "ranking:",
        "/policy/ranking",
        "ranking names a criterion twice",
    ),
    "cut-off with an offset": (
        [('"12:00"', '"12:00+02:00"')],
        "cut_off:",
        "/calendar/cut_off",
        "local time",
    ),
    "a year without work": (
        [("[0, 1, 2, 3, 4]", "[0]"), ("[2026-12-24, 2026-12-31]", "CLOSED")],
        "closures:",
        "/calendar/closures",
        "no working day for 370 days from 2026-01-06",
    ),
    "opening time with an offset": (
        [('cut_off: "12:00"', 'cut_off: "12:00"\n  opens: "08:00+02:00"')],
        "opens:",
        "/calendar/opens",
        "opens is local time and takes no offset",
    ),
    "an opening time the clock leaves out": (
        [('cut_off: "12:00"', 'cut_off: "12:00"\n  opens: "02:30"'), ("3, 4]", "3, 4, 6]")],
        "opens:",
        "/calendar/opens",
        "the clock in Europe/Berlin is put forward over 02:30",
    ),
    "no such country": (
        [('cut_off: "12:00"', 'cut_off: "12:00"\n  holidays: {country: ZZ}')],
        "holidays:",
        "/calendar/holidays/country",
        "no public holidays are known of the country 'ZZ'",
    ),
    "no such part of the country": (
        [('cut_off: "12:00"', 'cut_off: "12:00"\n  holidays: {country: DE, subdivision: XX}')],
        "holidays:",
        "/calendar/holidays/subdivision",
        "'DE' has no part 'XX' with holidays of its own; known are BB, BE",
    ),
    "an exception of no station": (
        [exception("mill", "2026-12-01", 0)],
        "station_days:",
        "/calendar/station_days/0/station",
        "station 'mill' is not in the catalogue; its stations are desk, bench",
    ),
    "an exception on a weekend": (
        [exception("desk", "2026-12-05", 60)],
        "station_days:",
        "/calendar/station_days/0/day",
        "does not work on 2026-12-05 (no working weekday), so 60 minutes there",
    ),
    "an exception on a closed day": (
        [exception("desk", "2026-12-24", 60)],
        "station_days:",
        "/calendar/station_days/0/day",
        "does not work on 2026-12-24 (closed by the shop)",
    ),
    "two exceptions of a day": (
        [exception("desk", "2026-12-01", 60, "desk")],
        "station_days:",
        "/calendar/station_days/1/day",
        "station 'desk' has two exceptions on 2026-12-01",
    ),
    "money no longer in use": (
        [("currency: EUR", "currency: DEM")],
        "currency: DEM",
        "/prices/currency",
        "'DEM' is no ISO 4217 code",
    ),
    "no such money": (
        [("currency: EUR", "currency: QQQ")],
        "currency: QQQ",
        "/prices/currency",
        "'QQQ' is no ISO 4217 code",
    ),
    "a break no order reaches": (
        [("from_pieces: 24", "from_pieces: 501")],
        "from_pieces: 501",
        "/prices/breaks/1/from_pieces",
        "no order reaches 501 pieces: max_pieces_per_order is 500",
    ),
    "medium without a price": (
        [("price_per_m: 9.40", "price_per_m: 0")],
        "price_per_m: 0\n",
        "/media/0/price_per_m",
        "the price of medium 'film' is missing",
    ),
    "margins as wide as the roll": (
        [("margin_mm: 8", "margin_mm: 200"), ("width_mm: 600\n    thi", "width_mm: 400\n    thi")],
        "margin_mm: 200",
        "/media/1/margin_mm",
        "leave nothing of medium 'paper', 400 mm wide",
    ),
    "margins as long as the sheet": (
        [("width_mm: 600\n    thi", "width_mm: 600\n    sheet_length_mm: 16\n    thi")],
        "margin_mm: 8",
        "/media/1/margin_mm",
        "leave nothing of medium 'paper', 16 mm long",
    ),
    "paper said to block dye": (
        [("prints_with: [dye]", "prints_with: [dye]\n    blocks_dye: true")],
        "blocks_dye",
        "/media/1/blocks_dye",
        "blocks_dye describes a film on the cloth, and medium 'paper' does not stay",
    ),
    "paper with a veil": (
        [("prints_with: [dye]", "prints_with: [dye]\n    veil: 0.1")],
        "veil",
        "/media/1/veil",
        "veil describes a film on the cloth, and medium 'paper' does not stay",
    ),
    "paper with a nap": (
        [("prints_with: [dye]", "prints_with: [dye]\n    texture: flock")],
        "texture: flock",
        "/media/1/texture",
        "texture describes a film on the cloth, and medium 'paper' does not stay",
    ),
    "paper named a film": (
        [("family: dye_paper", "family: cut_film")],
        "family: cut_film\n    width_mm: 600",
        "/media/1/family",
        "medium 'paper' is of family cut_film, and it does not stay on the cloth",
    ),
    "film named paper": (
        [("family: cut_film", "family: dye_paper")],
        "family: dye_paper\n    width_mm: 500",
        "/media/0/family",
        "medium 'film' is of family dye_paper, and it stays on the cloth",
    ),
    "glitter film that is smooth": (
        [("family: cut_film", "family: glitter_film\n    texture: smooth")],
        "texture: smooth",
        "/media/0/texture",
        "medium 'film' is of family glitter_film, and its texture is smooth",
    ),
    "printable film that takes no ink": (
        [("family: cut_film", "family: printable_film\n    prints_with: []")],
        "prints_with: []",
        "/media/0/prints_with",
        "medium 'film' is of family printable_film, and it takes no ink",
    ),
    "dye paper for pigment": (
        [("prints_with: [dye]", "prints_with: [pigment]")],
        "prints_with: [pigment]",
        "/media/1/prints_with",
        "medium 'paper' is of family dye_paper, and it takes no dye",
    ),
    "dye film that holds no dye": (
        [("family: cut_film", "family: dye_film\n    dye_share: 0")],
        "dye_share: 0",
        "/media/0/dye_share",
        "medium 'film' is of family dye_film, and no part of its face holds dye",
    ),
    # PVC sheds acid from about 160 to 180 C, and dye needs more: common practice, no source.
    "PVC that holds dye": (
        [("gap_mm: 4", "gap_mm: 4\n    pvc: true\n    dye_share: 0.8")],
        "dye_share: 0.8",
        "/media/0/dye_share",
        "medium 'film' is PVC",
    ),
    # Glitter, flock and other textures are only ever the top layer: common practice, no source.
    "glitter that carries a film": (
        [("gap_mm: 4", "gap_mm: 4\n    texture: glitter\n    carries_layer: true")],
        "carries_layer: true",
        "/media/0/carries_layer",
        "medium 'film' has a glitter face, to which no film bonds",
    ),
    "fibre that a film bonds to twice": (
        [("bonds_to: [cotton, polyester]", "bonds_to: [cotton, polyester, cotton]")],
        "bonds_to",
        "/media/0/bonds_to",
        "medium 'film' names 'cotton' twice",
    ),
    "machine at no station": (
        [("station: desk\n    ink", "station: shed\n    ink")],
        "station: shed",
        "/printers/0/station",
        "machine 'dye-printer' stands at station 'shed', which is not in the catalogue",
    ),
    "ink without a price": (
        [("ink_price_per_ml: 0.16", "ink_price_per_ml: 0.00")],
        "ink_price_per_ml: 0.00",
        "/printers/0/ink_price_per_ml",
        "the price of the ink of 'dye-printer' is missing",
    ),
    "press too cool for any film": (
        [("ceiling_c: 220", "ceiling_c: 140")],
        "ceiling_c: 140",
        "/presses/0/ceiling_c",
        "goes up to 140 C, below the press window of every medium; the lowest begins at 150 C",
    ),
    "platen that is all edge": (
        [("platen_width_mm: 400", "platen_width_mm: 90\n    edge_mm: 45")],
        "edge_mm: 45",
        "/presses/0/edge_mm",
        "an edge of 45 mm on every side leaves nothing of the platen of press 'press', 90 x 500 mm",
    ),
    "printer whose black is paler than its yellow": (
        [("ink_ml_m2: 14", f"ink_ml_m2: 14\n    solids: {solids(black=95)}")],
        "solids:",
        "/printers/0/solids",
        "of the solids of 'dye-printer' the unprinted white is the lightest and black the darkest",
    ),
    "blank size without a price": (
        [("cost: 2.70", "cost: 0")],
        "cost: 0}",
        "/blanks/0/sizes/1/cost",
        "the price of blank 'blend-tee' in size 'M' is missing",
    ),
    "no area for a size": (
        [("          M: {width_mm: 300, height_mm: 356}\n", "")],
        "areas:",
        "/blanks/0/placements/0/areas",
        "placement 'front' of blank 'blend-tee' has no area for size 'M'",
    ),
    "area for no size": (
        [("        areas:\n", "        areas:\n          4XL: {width_mm: 270, height_mm: 9}\n")],
        "4XL:",
        "/blanks/0/placements/0/areas/4XL",
        "has an area for '4XL', which is no size",
    ),
    "area wider than the half chest": (
        [("S: {width_mm: 270", "S: {width_mm: 458")],
        "S: {width_mm: 458",
        "/blanks/0/placements/0/areas/S/width_mm",
        "is 458 mm in size 'S', more than its half chest of 457 mm",
    ),
    "area taller than the body": (
        [("height_mm: 356", "height_mm: 738")],
        "height_mm: 738",
        "/blanks/0/placements/0/areas/M/height_mm",
        "is 738 mm in size 'M', more than its body length of 737 mm",
    ),
    "sold out in a size that there is not": (
        [('srgb: "#f7f7f5"\n', 'srgb: "#f7f7f5"\n        unobtainable_sizes: [M, 4XL]\n')],
        "unobtainable_sizes",
        "/blanks/0/colours/0/unobtainable_sizes/1",
        "colour 'white' of blank 'blend-tee' lacks size '4XL', which is no size of the blank",
    ),
    "sold out twice": (
        [('srgb: "#f7f7f5"\n', 'srgb: "#f7f7f5"\n        unobtainable_sizes: [M, M]\n')],
        "unobtainable_sizes",
        "/blanks/0/colours/0/unobtainable_sizes",
        "colour 'white' of blank 'blend-tee' names 'M' twice",
    ),
    "crossing the same twice": (
        [("drop_mm: 65\n", "drop_mm: 65\n        crosses: [seam, seam]\n")],
        "crosses",
        "/blanks/0/placements/0/crosses",
        "placement 'front' of blank 'blend-tee' names 'seam' twice",
    ),
    "overlapping no placement": (
        [("drop_mm: 65\n", "drop_mm: 65\n        overlaps: [back]\n")],
        "overlaps",
        "/blanks/0/placements/0/overlaps/0",
        "placement 'front' of blank 'blend-tee' overlaps 'back', which is no placement of blank",
    ),
    "overlapping itself": (
        [("drop_mm: 65\n", "drop_mm: 65\n        overlaps: [front]\n")],
        "overlaps",
        "/blanks/0/placements/0/overlaps/0",
        "placement 'front' of blank 'blend-tee' overlaps itself",
    ),
    # ISO 3758:2012: three dots are up to 200 C. Polypropylene melts at 160 to 170 C (one guide).
    "ironed hotter than it melts": (
        [("fibre: cotton", "fibre: polypropylene"), ("40, iron_dots: 2", "40, iron_dots: 3")],
        "care: {wash_c: 40, iron_dots: 3}",
        "/blanks/0/care/iron_dots",
        "3 iron dots mean up to 200 C, and the polypropylene of blank 'blend-tee' melts from 160 C",
    ),
    "face fibre that the cloth lacks": (
        [("polyester, percent: 100", "silk, percent: 100")],
        "{fibre: silk",
        "/blanks/0/face_fibre_content/0/fibre",
        "the face of blank 'blend-tee' holds silk, which its fibre_content does not name",
    ),
    # Reg (EU) No 1007/2011, Art. 9(1): in descending order.
    "label out of order": (
        [("polyester, percent: 65", "polyester, percent: 30"), ("percent: 35", "percent: 70")],
        "{fibre: cotton",
        "/blanks/0/fibre_content/1",
        "Article 9(1)",
    ),
    # Reg (EU) No 1007/2011, Art. 9(2): one fibre of up to 5 % may go unnamed.
    "too much of an unnamed fibre": (
        [("polyester, percent: 65", "polyester, percent: 94"),
         ("cotton, percent: 35", "other fibres, percent: 6")],
        "{fibre: other fibres",
        "/blanks/0/fibre_content/1",
        "Article 9(2)",
    ),
    # 16 CFR 303.3: under 5 % "other fiber", unless it has a function.
    "small fibre on a US label": (
        [("regime: eu", "regime: us"), ("polyester, percent: 65", "polyester, percent: 97"),
         ("percent: 35", "percent: 3")],
        "{fibre: cotton",
        "/blanks/0/fibre_content/1",
        "16 CFR 303.3",
    ),
    "GTIN with a wrong check digit": (
        [("9521234001027", "9521234001028")],
        "9521234001028",
        "/blanks/0/colours/0/gtins/M",
        "its check digit would be 7",
    ),
    "GTIN of no known length": (
        [("9521234001027", "952123400102")],
        "952123400102",
        "/blanks/0/colours/0/gtins/M",
        "its check digit would be",
    ),
    "GTIN of ten digits": (
        [("9521234001027", "9521234001")],
        'M: "9521234001"',
        "/blanks/0/colours/0/gtins/M",
        "one has 8, 12, 13 or 14 digits",
    ),
    "GTIN twice": (
        [("9521234001027", "09521234001010")],
        "09521234001010",
        "/blanks/0/colours/0/gtins/M",
        "already stands for a size and colour of blank 'blend-tee'",
    ),
    "GTIN for no size": (
        [('M: "9521234001027"', 'XS: "9521234001027"')],
        "XS:",
        "/blanks/0/colours/0/gtins/XS",
        "has no size 'XS'",
    ),
}  # fmt: skip
