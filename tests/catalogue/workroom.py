"""A small invented catalogue as one YAML text, with edits that put one fault into it."""

from __future__ import annotations

from pathlib import Path

from service.catalogue.faults import CatalogueFault, CatalogueFaults
from service.catalogue.loading import load_catalogue

WORKROOM = """\
shop: {name: The Small Workroom, invented: true}
policy:
  label_regime: eu
  dye_full_percent: 95
  dye_pale_percent: 65
  max_pieces_per_order: 500
  supplied_placements:
    - {id: front, name: Front, from_edge: collar, drop_mm: 60, width_share_of_half_chest: 0.6,
       max_width_mm: 300, max_height_mm: 350}
    - {id: back, name: Back, from_edge: collar, drop_mm: 60, width_share_of_half_chest: 0.6,
       max_width_mm: 300, max_height_mm: 350}
calendar:
  time_zone: Europe/Berlin
  working_weekdays: [0, 1, 2, 3, 4]
  cut_off: "12:00"
  closures: [2026-12-24, 2026-12-31]
prices:
  currency: EUR
  overhead_share: 0.25
  margin_share: 0.35
  spoilage_share: 0.03
  consumables_per_piece: 0.105
  artwork_check_min: 12
  breaks:
    - {from_pieces: 1, discount_share: 0}
    - {from_pieces: 24, discount_share: 0.15}
stations:
  - {id: desk, name: Desk, minutes_per_day: 400, labour_rate_per_hour: 20, machine_rate_per_hour: 1}
  - {id: bench, name: Bench, minutes_per_day: 400, labour_rate_per_hour: 20,
     machine_rate_per_hour: 1}
printers:
  - id: dye-printer
    name: Dye printer
    station: desk
    ink: dye
    max_width_mm: 610
    colour_profile: sRGB
    ink_ml_m2: 14
    ink_price_per_ml: 0.16
plotters:
  - id: plotter
    name: Plotter
    station: desk
    max_width_mm: 600
    blade_offset_mm: 0.25
presses:
  - id: press
    name: Press
    station: bench
    platen_width_mm: 400
    platen_length_mm: 500
    temp_error_k: 4
    ceiling_c: 220
media:
  - id: film
    name: Film
    family: cut_film
    width_mm: 500
    thickness_um: 80
    carrier: true
    worked_from: back
    stays_on_cloth: true
    opaque: true
    press: {temp_min_c: 150, temp_max_c: 165, best_temp_c: 155, dwell_min_s: 10, dwell_max_s: 15,
            best_dwell_s: 12, pressure: medium, peel: warm}
    withstands_c: 170
    smallest_feature_mm: 1.0
    bonds_to: [cotton, polyester]
    colours:
      - {id: white, name: White, srgb: "#f6f6f4"}
      - {id: black, name: Black, srgb: "#1a1a1c"}
    wash_limit_c: 40
    iron_dots: 1
    gap_mm: 4
    margin_mm: 10
    price_per_m: 9.40
    supplier_lead_days: 2
  - id: paper
    name: Paper
    family: dye_paper
    width_mm: 600
    thickness_um: 100
    carrier: false
    worked_from: back
    stays_on_cloth: false
    opaque: false
    press: {temp_min_c: 180, temp_max_c: 204, best_temp_c: 200, dwell_min_s: 30, dwell_max_s: 60,
            best_dwell_s: 60, pressure: medium, peel: hot}
    withstands_c: 220
    prints_with: [dye]
    smallest_feature_mm: 0.35
    wash_limit_c: 40
    iron_dots: 2
    gap_mm: 10
    margin_mm: 8
    price_per_m: 0.85
    supplier_lead_days: 2
blanks:
  - id: blend-tee
    name: Blend tee
    style: tee
    fibre_content:
      - {fibre: polyester, percent: 65}
      - {fibre: cotton, percent: 35}
    face_fibre_content:
      - {fibre: polyester, percent: 100}
    weight_g_m2: 150
    wearer: adult
    care: {wash_c: 40, iron_dots: 2}
    supplier_lead_days: 2
    colours:
      - id: white
        name: White
        srgb: "#f7f7f5"
        gtins:
          S: "9521234001010"
          M: "9521234001027"
    sizes:
      - {size: S, half_chest_mm: 457, body_length_mm: 711, cost: 2.60}
      - {size: M, half_chest_mm: 508, body_length_mm: 737, cost: 2.70}
    placements:
      - id: front
        name: Front
        from_edge: collar
        drop_mm: 65
        areas:
          S: {width_mm: 270, height_mm: 330}
          M: {width_mm: 300, height_mm: 356}
methods:
  - id: film
    name: Film
    feel: smooth
    operations:
      - {kind: cut, station: desk, machine: plotter, medium: film, mirrored: true, setup_min: 10,
         each_min: 1}
      - {kind: weed, station: bench, medium: film, setup_min: 0, each_min: 2}
      - {kind: press, station: bench, machine: press, medium: film, setup_min: 2, each_min: 1}
      - {kind: peel, station: bench, medium: film, setup_min: 0, each_min: 0}
  - id: dye
    name: Dye
    feel: nothing
    operations:
      - {kind: print, station: desk, machine: dye-printer, medium: paper, mirrored: true,
         setup_min: 10, each_min: 1}
      - {kind: press, station: bench, machine: press, medium: paper, setup_min: 2, each_min: 1}
"""


def edited(*edits: tuple[str, str]) -> str:
    """The workroom with each ``(old, new)`` replaced at its first place; ``old`` must be there."""
    text = WORKROOM
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def line_of(text: str, snippet: str) -> int:
    """The line, from 1, on which ``snippet`` first stands."""
    return text[: text.index(snippet)].count("\n") + 1


def faults_of(folder: Path, text: str) -> tuple[CatalogueFault, ...]:
    """The faults of loading ``text`` as one file; none if it loads."""
    file = folder / "workroom.yaml"
    file.write_text(text, encoding="utf-8")
    try:
        load_catalogue(file)
    except CatalogueFaults as refused:
        return refused.faults
    return ()
