"""Edits that put one contradiction into a method of the workroom.

What counts as a contradiction is a design choice of this project, no source, unless a case names
one.
"""

from __future__ import annotations

from tests.catalogue.contradictions import Contradiction
from tests.catalogue.workroom import WORKROOM

PRESS_STEP = "{kind: press, station: bench, machine: press, medium: film, setup_min: 2"
PAPER_STEP = "{kind: press, station: bench, machine: press, medium: paper, setup_min: 2"
WEED_STEP = "{kind: weed, station: bench, medium: film"
CUT_STEP = "{kind: cut, station: desk, machine: plotter, medium: film"
PRINT_STEP = "{kind: print, station: desk, machine: dye-printer, medium: paper"
CARRIES = ("gap_mm: 4", "gap_mm: 4\n    carries_layer: true")
FILM_TEXT = WORKROOM[WORKROOM.index("  - id: film\n    name: Film\n    family") :].partition(
    "  - id: paper"
)[0]
TWO_FILMS = (
    "  - id: paper\n",
    FILM_TEXT.replace("id: film", "id: top").replace("margin_mm: 10", "margin_mm: 9")
    + "  - id: paper\n",
)
TOP_FILM = (
    "station: bench, medium: film, setup_min: 0, each_min: 0}\n"
    "      - {kind: press, station: bench, machine: press, medium: top, setup_min: 1,"
    " each_min: 1}\n"
    "      - {kind: peel, station: bench, medium: top, setup_min: 0, each_min: 0"
)
FILM_FIRST = (
    "      - {kind: press, station: bench, machine: press, medium: film, setup_min: 1,"
    " each_min: 1}\n"
    "      - {kind: peel, station: bench, medium: film, setup_min: 0, each_min: 0}\n"
)
DYE_ON_FILM = (f"      - {PAPER_STEP}", f"{FILM_FIRST}      - {PAPER_STEP}")

IN_METHODS: dict[str, Contradiction] = {
    "operation at no station": (
        [("{kind: weed, station: bench", "{kind: weed, station: attic")],
        "station: attic",
        "/methods/0/operations/1/station",
        "'weed' of method 'film' stands at station 'attic', which is not in the catalogue",
    ),
    "operation away from its machine": (
        [(PRESS_STEP, PRESS_STEP.replace("station: bench", "station: desk"))],
        "{kind: press, station: desk",
        "/methods/0/operations/2/station",
        "but its machine 'press' stands at 'bench'",
    ),
    "operation longer than a day": (
        [("setup_min: 0, each_min: 2", "setup_min: 0, each_min: 401")],
        "each_min: 401",
        "/methods/0/operations/1/each_min",
        "takes 401 minutes for one piece, more than the 400 of a day at station 'bench'",
    ),
    "unknown machine": (
        [("machine: plotter", "machine: scissors")],
        "machine: scissors",
        "/methods/0/operations/0/machine",
        "'cut' of method 'film' names machine 'scissors', which is not in the catalogue",
    ),
    "a cut without a plotter": (
        [("machine: plotter", "machine: dye-printer")],
        "{kind: cut",
        "/methods/0/operations/0/machine",
        "'cut' of method 'film' needs a plotter, and 'dye-printer' is a printer",
    ),
    "a print without a printer": (
        [("machine: dye-printer", "machine: plotter")],
        "{kind: print",
        "/methods/1/operations/0/machine",
        "'print' of method 'dye' needs a printer, and 'plotter' is a plotter",
    ),
    "a stroke without a press": (
        [(PRESS_STEP, PRESS_STEP.replace("bench, machine: press", "desk, machine: plotter"))],
        "{kind: press, station: desk",
        "/methods/0/operations/2/machine",
        "'press' of method 'film' needs a press, and 'plotter' is a plotter",
    ),
    "unknown medium": (
        [(WEED_STEP, WEED_STEP.replace("film", "foil"))],
        "medium: foil",
        "/methods/0/operations/1/medium",
        "'weed' of method 'film' names medium 'foil', which is not in the catalogue",
    ),
    "ink that the medium does not take": (
        [("ink: dye", "ink: pigment")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "'dye-printer' prints pigment, and medium 'paper' takes dye",
    ),
    "medium wider than the printer": (
        [("max_width_mm: 610", "max_width_mm: 599")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "medium 'paper' is 600 mm wide, and 'dye-printer' takes up to 599 mm",
    ),
    "medium wider than the plotter": (
        [("max_width_mm: 600\n    blade", "max_width_mm: 499.5\n    blade")],
        "{kind: cut",
        "/methods/0/operations/0/medium",
        "medium 'film' is 500 mm wide, and 'plotter' takes up to 499.5 mm",
    ),
    "weeded but not cut": (
        [(f"{CUT_STEP}, mirrored: true", "{kind: dry, station: desk")],
        WEED_STEP,
        "/methods/0/operations/1/medium",
        "medium 'film' was not cut before",
    ),
    "paper pressed but not printed": (
        [(f"{PRINT_STEP}, mirrored: true", "{kind: dry, station: desk")],
        PAPER_STEP,
        "/methods/1/operations/1/medium",
        "nothing was printed on medium 'paper' before",
    ),
    "printed but not pressed": (
        [(PAPER_STEP, "{kind: check, station: bench, setup_min: 2")],
        "{kind: print",
        "/methods/1/operations/0/medium",
        "medium 'paper' is never tacked or pressed afterwards",
    ),
    "no setting inside the window": (
        [("temp_min_c: 180, temp_max_c: 204, best_temp_c: 200",
          "temp_min_c: 200, temp_max_c: 204, best_temp_c: 200")],
        PAPER_STEP,
        "/methods/1/operations/1",
        "must be set to 204 C at least, and the press window allows 200 C",
    ),
    "press cannot reach the window": (
        [("ceiling_c: 220", "ceiling_c: 183")],
        PAPER_STEP,
        "/methods/1/operations/1",
        "must be set to 184 C at least, and the press's ceiling allows 183 C",
    ),
    # Dye paper is laid face down, so it is printed mirrored: common practice, no source.
    "print that would read backwards": (
        [("medium: paper, mirrored: true", "medium: paper, mirrored: false")],
        "{kind: print",
        "/methods/1/operations/0/mirrored",
        "'print' of method 'dye' is not mirrored, and medium 'paper' is worked from its back",
    ),
    "cut from the face, yet mirrored": (
        [("worked_from: back", "worked_from: face")],
        "{kind: cut",
        "/methods/0/operations/0/mirrored",
        "'cut' of method 'film' is mirrored, and medium 'film' is worked from its face",
    ),
    # Only smooth film made for it carries film: common practice, no source (five trade texts).
    "film on film that carries none": (
        [TWO_FILMS, ("station: bench, medium: film, setup_min: 0, each_min: 0", TOP_FILM)],
        "machine: press, medium: top",
        "/methods/0/operations/4",
        "method 'film' lays film 'top' on film 'film', which carries no layer",
    ),
    "more layers than the policy has": (
        [("regime: eu\n", "regime: eu\n  layers_max: 1\n"), CARRIES, TWO_FILMS,
         ("station: bench, medium: film, setup_min: 0, each_min: 0", TOP_FILM)],
        "machine: press, medium: top",
        "/methods/0/operations/4",
        "method 'film' lays 2 films one on another, and layers_max is 1",
    ),
    "dye into film that holds none": (
        [("withstands_c: 170", "withstands_c: 210"), DYE_ON_FILM],
        PAPER_STEP,
        "/methods/1/operations/3",
        "method 'dye' dyes film 'film', of whose face 0 % holds dye; dye_faded_percent is 50",
    ),
    # Dye is transparent: on a dark surface nothing is seen; common practice, no source.
    "dye onto film that is dark in every colour": (
        [("withstands_c: 170", "withstands_c: 210\n    dye_share: 1"),
         ('"#f6f6f4"', '"#303030"'), DYE_ON_FILM],
        PAPER_STEP,
        "/methods/1/operations/3",
        "whose lightest colour has L* 19.9: dye cannot show below medium_lightness 50",
    ),
    "carrier that stays on": (
        [("      - {kind: peel, station: bench, medium: film, setup_min: 0, each_min: 0}\n", "")],
        PRESS_STEP,
        "/methods/0/operations/2",
        "method 'film' never peels the carrier off film 'film'",
    ),
    "dye pressed onto the carrier": (
        [("withstands_c: 170", "withstands_c: 210\n    dye_share: 1"),
         (DYE_ON_FILM[0], DYE_ON_FILM[1].replace("peel, station: bench, medium: film",
                                                 "dry, station: bench"))],
        "machine: press, medium: film, setup_min: 1",
        "/methods/1/operations/1",
        "method 'dye' never peels the carrier off film 'film'",
    ),
}  # fmt: skip
